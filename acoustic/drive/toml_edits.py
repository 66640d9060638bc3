"""Changing single values of a TOML text and leaving the rest as its writer left it.

Only the piece of text that holds a value is written anew; comments, blank lines, order and
everything not named stay, sign for sign. Where that cannot be, nothing is changed and the
place is told. Every text given back was read again and holds what was asked for.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from tree_sitter import Node

from acoustic.drive.faults import KeyPath
from acoustic.drive.line_numbers import TomlPlaces, find_places

_MOST_EDITS = 200  # in one go; more than a person types between two looks


_Step: TypeAlias = Callable[[str, KeyPath, Any, bool], str]


class EditError(ValueError):
    """A change that would lose a comment, or has no place in the text as it is written."""


@dataclass(frozen=True, slots=True)
class Edited:
    """A text with values changed, and the places that had to be left as they were."""

    text: str
    refused: tuple[KeyPath, ...]


def with_values(text: str, wanted: Mapping[str, Any]) -> Edited:
    """Change a text so that it holds `wanted`.

    Parameters
    ----------
    text : str
        TOML that can be read.
    wanted : mapping
        All keys and values, as `tomllib` gives them; lists of tables as long as in `text`.
    """
    text = _with_plain_changes(text, wanted)
    edited = _with_each(text, wanted, _changed)
    if not _holds(edited, wanted):  # a change made another impossible: look after each
        edited = _with_each(text, wanted, _checked)
    return edited


def with_row(text: str, path: KeyPath) -> str:
    """Add an empty table to the list at `path`, which is made if need be.

    Raises
    ------
    EditError
        If the list is written so that it cannot grow without losing a comment.
    """
    wanted = copy.deepcopy(tomllib.loads(text))
    _value_at(wanted, path[:-1]).setdefault(path[-1], []).append({})
    places = find_places(text)
    if path in places.values:
        changed = _with_entry(text, places.values[path])
    elif path not in places.lists and len(path) > 1:
        changed = _with_added(text, places, path, [{}])
    else:
        end = max((places.ends[one] for one in places.ends if one[: len(path)] == path), default=-1)
        header = f"[[{'.'.join(_key(one) for one in path if isinstance(one, str))}]]"
        changed = _inserted(text, end, f"\n{header}\n")
    return _agreed(changed, wanted)


def without_row(text: str, path: KeyPath) -> str:
    """Take a table out of the list it stands in; comments before and behind it stay.

    Raises
    ------
    EditError
        If that cannot be done without losing a comment.
    """
    wanted = copy.deepcopy(tomllib.loads(text))
    *front, number = path
    holder = _value_at(wanted, tuple(front))
    if not isinstance(number, int) or not isinstance(holder, list) or number >= len(holder):
        raise EditError("there is no such row")
    del holder[number]
    places = find_places(text)
    if path in places.values:
        changed = _without_entry(text, places.values[tuple(front)], number)
    else:
        changed = text
        for one in sorted(places.starts, key=lambda one: -places.starts[one]):
            if one[: len(path)] == path:
                changed = _cut_lines(changed, places.starts[one], places.ends[one])
        if not holder:
            del _value_at(wanted, tuple(front[:-1]))[front[-1]]
    return _agreed(changed, wanted)


# ------------------------------------------------------------------ what differs


def _differences(held: Any, wanted: Any, path: KeyPath) -> Iterator[KeyPath]:
    """Places where two values differ, as far down as both have them."""
    if isinstance(held, dict) and isinstance(wanted, Mapping):
        for key in (*wanted, *(key for key in held if key not in wanted)):
            if key in held and key in wanted:
                yield from _differences(held[key], wanted[key], (*path, key))
            else:
                yield (*path, key)
    elif _rows(held) and _rows(wanted) and len(held) == len(wanted):
        for number, (one, other) in enumerate(zip(held, wanted, strict=True)):
            yield from _differences(one, other, (*path, number))
    elif not _same(held, wanted):
        yield path


def _rows(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


def _same(one: Any, other: Any) -> bool:
    """Whether two values mean the same; 55 is 55.0, but 1 is not true."""
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


_GONE = object()


def _value_at(values: Any, path: KeyPath) -> Any:
    for key in path:
        if isinstance(values, Mapping):
            values = values.get(str(key), _GONE)
        else:
            values = values[int(key)] if isinstance(values, list) else _GONE
    return values


# ------------------------------------------------------------------ single changes


def _with_plain_changes(text: str, wanted: Mapping[str, Any]) -> str:
    """Change all values that only become others, in one go; the rest is for single changes."""
    places, held = find_places(text), tomllib.loads(text)
    paths = [p for p in _differences(held, wanted, ()) if p in places.values]
    changed = text
    for path in sorted(paths, key=lambda p: -places.values[p].start_byte):
        value = _value_at(wanted, path)
        if value is not _GONE and not _has_comment(places.values[path]):
            changed = _with_changed(changed, places, path, value)
    left = set(_differences(tomllib.loads(changed), wanted, ()))
    return changed if left <= set(_differences(held, wanted, ())) else text


def _with_each(text: str, wanted: Mapping[str, Any], step: _Step) -> Edited:
    """Make one change after the other, and note those that cannot be made."""
    held = tomllib.loads(text)
    refused: list[KeyPath] = []
    paths = list(_differences(held, wanted, ()))
    for path in paths[:_MOST_EDITS]:
        try:
            text = step(text, path, _value_at(wanted, path), _value_at(held, path) is _GONE)
        except EditError:
            refused.append(path)
    return Edited(text, (*refused, *paths[_MOST_EDITS:]))


def _holds(edited: Edited, wanted: Mapping[str, Any]) -> bool:
    """Whether a text can be read and differs only where it was refused."""
    try:
        held = tomllib.loads(edited.text)
    except ValueError:
        return False
    return set(_differences(held, wanted, ())) <= set(edited.refused)


def _changed(text: str, path: KeyPath, value: Any, new: bool) -> str:
    places = find_places(text)
    if value is _GONE:
        return _without_value(text, places, path)
    change = _with_added if new else _with_changed
    return change(text, places, path, value)


def _checked(text: str, path: KeyPath, value: Any, new: bool) -> str:
    wanted = copy.deepcopy(tomllib.loads(text))
    holder, key = _value_at(wanted, path[:-1]), path[-1]
    if value is _GONE:
        del holder[key]
    else:
        holder[key] = value
    return _agreed(_changed(text, path, value, new), wanted)


def _with_changed(text: str, places: TomlPlaces, path: KeyPath, value: Any) -> str:
    node = places.values.get(path)
    if node is None or _has_comment(node):
        raise EditError(f"{path}: holds comments, or is a table of its own")
    long = isinstance(value, list) and node.start_point[0] != node.end_point[0]
    return _spliced(text, node.start_byte, node.end_byte, _long(value) if long else _toml(value))


def _with_added(text: str, places: TomlPlaces, path: KeyPath, value: Any) -> str:
    *front, key = path
    holder = places.values.get(tuple(front))
    pair = f"{_key(key)} = {_toml(value)}"
    if holder is not None:
        return _with_pair(text, holder, pair)
    if not front and isinstance(value, Mapping):
        body = "".join(f"{_key(one)} = {_toml(inner)}\n" for one, inner in value.items())
        return _inserted(text, -1, f"\n[{_key(key)}]\n{body}")
    if tuple(front) not in places.ends:
        raise EditError(f"{path}: its table is not written in one place")
    if not front and places.ends[()] < 0:
        first = min(places.starts.values(), default=len(text.encode()))
        return _spliced(text, first, first, f"{pair}\n\n")
    return _inserted(text, places.ends[tuple(front)], f"{pair}\n")


def _without_value(text: str, places: TomlPlaces, path: KeyPath) -> str:
    """Take a key out; a comment beside it stays, in a line of its own."""
    pair, holder = places.pairs.get(path), places.values.get(path[:-1])
    if pair is None:
        if path not in places.starts:
            raise EditError(f"{path}: has no place of its own")
        return _cut_lines(text, places.starts[path], places.ends[path])
    value = places.values[path]
    if _has_comment(value):
        raise EditError(f"{path}: holds comments")
    if holder is not None:
        kept = [_said(one) for one in holder.children if one.type == "pair" and one != pair]
        return _spliced(text, holder.start_byte, holder.end_byte, _braced(kept))
    comment = next((_said(one) for one in pair.children if one.type == "comment"), "")
    if comment:
        return _spliced(text, pair.start_byte, pair.end_byte, comment)
    return _cut_lines(text, pair.start_byte, pair.end_byte)


def _with_pair(text: str, holder: Node, pair: str) -> str:
    if holder.type != "inline_table":
        raise EditError("no table")
    kept = [_said(one) for one in holder.children if one.type == "pair"]
    return _spliced(text, holder.start_byte, holder.end_byte, _braced([*kept, pair]))


def _with_entry(text: str, array: Node) -> str:
    return _spliced(text, array.start_byte, array.end_byte, _entries(array, [*_parts(array), "{}"]))


def _without_entry(text: str, array: Node, number: int) -> str:
    parts = _parts(array)
    del parts[number]
    return _spliced(text, array.start_byte, array.end_byte, _entries(array, parts))


def _parts(array: Node) -> list[str]:
    if array.type != "array" or _has_comment(array):
        raise EditError("there are comments between its rows")
    return [_said(one) for one in array.children if one.type == "inline_table"]


def _entries(array: Node, parts: list[str]) -> str:
    if len(parts) > 1 or (parts and array.start_point[0] != array.end_point[0]):
        return "[\n" + "".join(f"  {part},\n" for part in parts) + "]"
    return f"[{', '.join(parts)}]"


# ------------------------------------------------------------------ pieces of text


def _agreed(text: str, wanted: Mapping[str, Any]) -> str:
    """The text, if it can be read and holds what it should."""
    try:
        held = tomllib.loads(text)
    except ValueError as error:
        raise EditError(f"the change does not fit into the text: {error}") from None
    if next(_differences(held, wanted, ()), None) is not None:
        raise EditError("the change does not fit into the text")
    return text


def _spliced(text: str, start: int, end: int, piece: str) -> str:
    raw = text.encode()
    return (raw[:start] + piece.encode() + raw[end:]).decode()


def _inserted(text: str, end: int, lines: str) -> str:
    """Put whole lines behind the line in which `end` lies; at the end of all if it is -1."""
    raw = text.encode()
    line_end = raw.find(b"\n", end) if 0 <= end < len(raw) else -1
    if line_end < 0:
        text = text if text.endswith("\n") or not text else f"{text}\n"
        return text + (lines.lstrip("\n") if text.endswith("\n\n") else lines)
    return _spliced(text, line_end + 1, line_end + 1, lines)


def _cut_lines(text: str, start: int, end: int) -> str:
    """Take whole lines out, and one blank line with them where two would meet."""
    raw = text.encode()
    first = raw.rfind(b"\n", 0, start) + 1
    last = raw.find(b"\n", max(end - 1, start))
    last = len(raw) if last < 0 else last + 1
    if raw[:first].endswith(b"\n\n") and raw[last:].startswith(b"\n"):
        last += 1
    return (raw[:first] + raw[last:]).decode()


def _said(node: Node) -> str:
    return (node.text or b"").decode()


def _has_comment(node: Node) -> bool:
    return node.type == "comment" or any(map(_has_comment, node.children))


def _braced(pairs: list[str]) -> str:
    return f"{{ {', '.join(pairs)} }}" if pairs else "{}"


def _key(key: str | int) -> str:
    text = str(key)
    bare = text and text.isascii() and text.replace("-", "").replace("_", "").isalnum()
    return text if bare else _toml(text)


def _long(values: list[Any]) -> str:
    return "[\n" + "".join(f"  {_toml(one)},\n" for one in values) + "]"


def _toml(value: Any) -> str:
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the one control character JSON leaves as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, Mapping):
        return _braced([f"{_key(key)} = {_toml(inner)}" for key, inner in value.items()])
    if isinstance(value, int | float):
        return str(value)
    raise EditError(f"{value!r} is not written by a form")
