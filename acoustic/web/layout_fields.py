"""A layout as a form whose fields are made from the data model of the layout file.

The text of the layout file is what is edited; the form only shows it. Every key the model
knows becomes a field, the counts of a component those of its kind in the tables, and a key
that nobody knows a field of its own, so that it can be seen and taken out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Literal, TypeAlias, Union, get_args, get_origin
from urllib.parse import quote

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from acoustic.drive.faults import KeyPath
from acoustic.drive.layout import ComponentLayout, Layout
from acoustic.tables.knowledge import Knowledge
from acoustic.tables.rows import Kind, Quantity
from acoustic.web.layout_values import Sort, shown_value

_UNITS = {
    "mm": "mm", "deg": "°", "rpm": "rpm", "percent": "%", "n": "N", "hours": "h", "km": "km",
}  # fmt: skip
_STORIES = frozenset({"note"})
_KIND = "kind"
NAMES, BEARINGS = "names", "bearings"
_SUGGESTED = {
    "on": NAMES, "from": NAMES, "inner_shaft": NAMES, "outer_shaft": NAMES,
    "designation": BEARINGS,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class FormField:
    """One value: where it stands, how it is called, what it is and what it says now.

    `choices` are (value, words); `suggested` names a list of suggestions; `redraws` is True
    where other fields depend on it; `kept` sorts are shown, not edited.
    """

    path: KeyPath
    label: str
    hint: str
    sort: Sort
    text: str
    choices: tuple[tuple[str, str], ...] = ()
    suggested: str = ""
    redraws: bool = False

    @property
    def id(self) -> str:
        """Name of the field in the form and in the page."""
        return mark_of(self.path)


@dataclass(frozen=True, slots=True)
class FormGroup:
    """A table: its fields and what stands in it; `optional` if it may be left out whole."""

    path: KeyPath
    title: str
    hint: str
    items: tuple[FormItem, ...]
    optional: bool = False
    there: bool = True

    @property
    def id(self) -> str:
        """Its mark in the page."""
        return mark_of(self.path)


@dataclass(frozen=True, slots=True)
class FormRows:
    """A list of tables. `empty` is None where leaving it out and having none are the same."""

    path: KeyPath
    title: str
    hint: str
    one: str
    rows: tuple[FormGroup, ...]
    empty: bool | None = None

    @property
    def id(self) -> str:
        """Its mark in the page."""
        return mark_of(self.path)


FormItem: TypeAlias = FormField | FormGroup | FormRows


def mark_of(path: KeyPath) -> str:
    """Name a place in a page: ``("belt", 0, "path")`` is ``at/belt/0/path``."""
    return "/".join(["at", *(quote(str(key), safe="") for key in path)])


def has_mark(path: KeyPath) -> str:
    """Name of the box that says an optional table is there, or a list is empty."""
    return mark_of(path).replace("at/", "has/", 1)


def form_of(text: str, knowledge: Knowledge) -> FormGroup:
    """The whole form of a layout's text, which must be TOML."""
    return _group(tomllib.loads(text), (), Layout, _About("The drive", ""), knowledge)


def marks_in(group: FormGroup) -> Iterator[tuple[KeyPath, str]]:
    """Yield every place of a form with its mark, the whole form first."""
    yield group.path, group.id
    for item in group.items:
        if isinstance(item, FormGroup):
            yield from marks_in(item)
        else:
            yield item.path, item.id
        if isinstance(item, FormRows):
            for row in item.rows:
                yield from marks_in(row)


def rows_in(group: FormGroup) -> dict[KeyPath, FormRows]:
    """All lists of tables in a form, by their place."""
    found: dict[KeyPath, FormRows] = {}
    for item in group.items:
        if isinstance(item, FormGroup):
            found |= rows_in(item)
        elif isinstance(item, FormRows):
            found[item.path] = item
            for row in item.rows:
                found |= rows_in(row)
    return found


# ------------------------------------------------------------------ from model to fields


@dataclass(frozen=True, slots=True)
class _About:
    title: str
    hint: str
    optional: bool = False
    there: bool = True


def _group(
    held: Mapping[str, Any],
    path: KeyPath,
    model: type[BaseModel],
    about: _About,
    knowledge: Knowledge,
) -> FormGroup:
    items: list[FormItem] = []
    known = {"schema"}
    own = model.__annotations__  # what a pulley has of its own stands before what all have
    for name, info in sorted(model.model_fields.items(), key=lambda one: one[0] not in own):
        key = info.alias or name
        if key in known:
            continue
        known.add(key)
        items.append(_item(held, (*path, key), info, knowledge))
        if model is ComponentLayout and key == _KIND:
            kind = knowledge.kind(str(held.get(_KIND, "")))
            counts = list(_counts(held, path, kind))
            items += counts
            known |= {str(field.path[-1]) for field in counts}
    for key, value in held.items():
        if key not in known:
            hint = "nobody knows this key here; empty the field to take it out"
            items.append(_scalar((*path, key), value, _label(key), hint))
    return FormGroup(path, about.title, about.hint, tuple(items), about.optional, about.there)


def _item(
    held: Mapping[str, Any], path: KeyPath, info: FieldInfo, knowledge: Knowledge
) -> FormItem:
    key = str(path[-1])
    plain, optional = _plain(info.annotation)
    value, hint = held.get(key), info.description or ""
    if isinstance(plain, type) and issubclass(plain, BaseModel):
        there = isinstance(value, dict)
        if value is not None and not there:
            return _kept(path, value)
        about = _About(_label(key), hint, optional, there)
        return _group(value or {}, path, plain, about, knowledge)
    inner = _plain(get_args(plain)[0])[0] if get_origin(plain) is list else None
    if isinstance(inner, type) and issubclass(inner, BaseModel):
        return _rows(value, path, inner, (hint, optional), knowledge)
    return _field(path, info, plain, value, knowledge)


def _rows(
    value: Any, path: KeyPath, model: type[BaseModel], about: tuple[str, bool], knowledge: Knowledge
) -> FormItem:
    if value is not None and not (
        isinstance(value, list) and all(isinstance(one, dict) for one in value)
    ):
        return _kept(path, value)
    one = str(path[-1]).removesuffix("s")
    title = f"{one.capitalize()}s"
    rows = tuple(
        _group(row, (*path, i), model, _About(_row_title(one, i, row), ""), knowledge)
        for i, row in enumerate(value or ())
    )
    hint, optional = about
    empty = value == [] if optional else None
    return FormRows(path, title, hint, one, rows, empty)


def _row_title(one: str, number: int, row: Mapping[str, Any]) -> str:
    """Title of a row as messages call it, with what it is called itself."""
    said = [row[key] for key in ("name", "place") if isinstance(row.get(key), str)][:1]
    if isinstance(row.get(_KIND), str) and row[_KIND] not in said:
        said.append(row[_KIND])
    title = f"{one.capitalize()} {number + 1}"
    return f"{title}: {', '.join(said)}" if said else title


def _field(
    path: KeyPath, info: FieldInfo, plain: Any, value: Any, knowledge: Knowledge
) -> FormField:
    key = str(path[-1])
    hint = info.description or ""
    sort, choices = _sort_of(key, plain), tuple((str(one), str(one)) for one in get_args(plain))
    if key == _KIND and len(path) > 1 and path[0] == "component":
        sort, choices = "choice", _kind_choices(knowledge)
    if sort == "choice":
        choices = _with_own(choices, value, info)
    shown = shown_value(sort, value)
    if shown is None:
        return _kept(path, value)
    if not info.is_required() and info.default not in (None, "", False) and sort != "choice":
        hint = "; ".join(filter(None, [hint, f"left out: {shown_value('numbers', info.default)}"]))
    redraws = key == _KIND and path[0] == "component"
    suggested = _SUGGESTED.get(key, "")
    return FormField(path, _label(key), hint, sort, shown, choices, suggested, redraws)


def _sort_of(key: str, plain: Any) -> Sort:
    origin = get_origin(plain)
    if plain is bool:
        return "switch"
    if plain in (int, float):
        return "number"
    if origin is Literal:
        return "choice"
    if origin in (list, tuple):
        return "lines" if _plain(get_args(plain)[0])[0] is str else "numbers"
    return "story" if key in _STORIES else "text"


def _plain(annotation: Any) -> tuple[Any, bool]:
    """A type without its limits, and whether it may be left empty."""
    if get_origin(annotation) is Annotated:
        return _plain(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        inner = [one for one in get_args(annotation) if one is not type(None)]
        return _plain(inner[0])[0], len(inner) < len(get_args(annotation))
    return annotation, False


def _with_own(
    choices: Sequence[tuple[str, str]], value: Any, info: FieldInfo
) -> tuple[tuple[str, str], ...]:
    """Choices with the empty one, and with what is written if it is none of them."""
    empty = "choose" if info.is_required() else "not said"
    if info.default and not info.is_required():
        empty = f"left out: {info.default}"
    own = [] if value is None or str(value) in dict(choices) else [(str(value), str(value))]
    return (("", empty), *choices, *own)


def _kind_choices(knowledge: Knowledge) -> tuple[tuple[str, str], ...]:
    kinds = sorted((kind for kind in knowledge.kinds.values() if kind.listed), key=lambda k: k.id)
    return tuple((k.id, k.id if k.title == k.id else f"{k.id}: {k.title}") for k in kinds)


def _counts(held: Mapping[str, Any], path: KeyPath, kind: Kind | None) -> Iterator[FormField]:
    """Yield a field for each count that the kind of a component has in the tables."""
    for row in kind.quantity if kind is not None and kind.listed else ():
        shown = shown_value("number", held.get(row.name))
        if shown is None:
            yield _kept((*path, row.name), held[row.name])
        else:
            label, hint = _label(row.name), _count_hint(row)
            yield FormField((*path, row.name), label, hint, "number", shown)


def _count_hint(row: Quantity) -> str:
    said = f"{row.title}: from {row.low:g} to {row.high:g}"
    if row.default is None:
        return said
    rule = row.default.text.replace("_", " ").replace("*", "×")
    return f"{said}; left out: {rule}"


def _scalar(path: KeyPath, value: Any, label: str, hint: str) -> FormField:
    """A field for a value of which only the value is known."""
    shown = shown_value("text", value)
    if shown is None:
        return _kept(path, value)
    return FormField(path, label, hint, "text", shown)


def _kept(path: KeyPath, value: Any) -> FormField:
    said = str(value)
    shown = said if len(said) <= 80 else f"{said[:77]}…"
    return FormField(path, _label(str(path[-1])), "can be changed in the text only", "kept", shown)


def _label(key: str) -> str:
    """A key as words, its unit behind it.

    >>> _label("pitch_diameter_mm")
    'Pitch diameter [mm]'
    """
    front, _, last = key.rpartition("_")
    known = bool(front) and last in _UNITS
    words = (front if known else key).replace("_", " ")
    unit = f" [{_UNITS[last]}]" if known else ""
    return f"{words[:1].upper()}{words[1:]}{unit}"
