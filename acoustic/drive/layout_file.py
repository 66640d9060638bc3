"""Reading a layout file: TOML with line numbers in every message, all faults at once.

The only module of this folder that touches the disk, in `read_drive`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from acoustic.drive.build import resolve_drive
from acoustic.drive.drive import Drive
from acoustic.drive.faults import Fault, KeyPath, did_you_mean, report_of
from acoustic.drive.layout import (
    BearingLayout,
    BeltLayout,
    ComponentLayout,
    DrivenBy,
    EngineLayout,
    Layout,
    PulleyBase,
    PulleyLayout,
    ShaftLayout,
)
from acoustic.drive.line_numbers import LineNumbers, find_line_numbers
from acoustic.errors import DriveError
from acoustic.tables.knowledge import Knowledge, load_knowledge

LARGEST_BYTES = 1_000_000

# The model behind each table of the file, by the keys that lead to it (numbers left out).
_MODELS: Mapping[tuple[str, ...], type[BaseModel]] = {
    (): Layout,
    ("engine",): EngineLayout,
    ("shaft",): ShaftLayout,
    ("shaft", "driven_by"): DrivenBy,
    ("shaft", "bearings"): BearingLayout,
    ("belt",): BeltLayout,
    ("pulley",): PulleyLayout,
    ("component",): ComponentLayout,
    ("component", "pulley"): PulleyBase,
    ("component", "bearings"): BearingLayout,
}


def read_drive(path: str | Path, knowledge: Knowledge | None = None) -> Drive:
    """Read a layout file into the drive it describes.

    Parameters
    ----------
    path : str or Path
        A TOML file in UTF-8, at most 1 MB.
    knowledge : Knowledge, optional
        The shipped tables if left out.

    Raises
    ------
    DriveError
        If the file cannot be read, or listing every fault in it by line.
    """
    path = Path(path)
    return parse_drive(_read_text(path), path.name, knowledge)


def parse_layout(text: str, name: str = "layout") -> Layout:
    """Read the text of a layout file, without resolving what it describes.

    Raises
    ------
    DriveError
        Listing every key and value that cannot be used, by line.
    """
    layout, faults, lines = _parsed(text, name)
    if layout is None or faults:
        raise DriveError(report_of(faults, name, lines.line_of))
    return layout


def parse_drive(text: str, name: str = "layout", knowledge: Knowledge | None = None) -> Drive:
    """Read the text of a layout file into the drive it describes.

    Raises
    ------
    DriveError
        Listing every fault by line.
    """
    layout, faults, lines = _parsed(text, name)
    drive = None
    if layout is not None:
        drive, more = resolve_drive(layout, knowledge)
        spoilt = {fault.path[:2] for fault in faults}
        faults += [fault for fault in more if fault.path[:2] not in spoilt]
    if drive is None or faults:
        raise DriveError(report_of(faults, name, lines.line_of))
    return drive


def layout_json_schema(knowledge: Knowledge | None = None) -> dict[str, Any]:
    """JSON Schema of a layout file, for editors that complete and check while typing.

    The counts of every kind of component are in it, each with the kinds that know it.
    """
    knowledge = knowledge if knowledge is not None else load_knowledge()
    schema = Layout.model_json_schema(by_alias=True)
    component = schema["$defs"]["ComponentLayout"]["properties"]
    kinds = [kind for kind in knowledge.kinds.values() if kind.listed]
    component["kind"]["enum"] = sorted([*(kind.id for kind in kinds), *knowledge.aliases])
    for kind in kinds:
        for quantity in kind.quantity:
            said = f"{kind.id}: {quantity.title}"
            known = component.setdefault(quantity.name, {"type": "number", "description": ""})
            known["description"] = "; ".join(filter(None, [known["description"], said]))
    return schema


def _read_text(path: Path) -> str:
    if path.is_dir():
        raise DriveError(f"{path.name}: is a folder. Name the layout file inside it.")
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise DriveError(f"{path}: there is no such file. Check the name of the layout.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise DriveError(f"{path}: cannot be read: {reason}.") from None
    if len(raw) > LARGEST_BYTES:
        raise DriveError(
            f"{path.name}: is larger than 1 MB, which no layout is. Was another file meant?"
        )
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise DriveError(
            f"{path.name}:{line}: is not UTF-8 text. Save the layout as plain text in UTF-8."
        ) from None


def _parsed(text: str, name: str) -> tuple[Layout | None, list[Fault], LineNumbers]:
    """Layout, faults and line numbers of a text.

    With faults in single keys the layout is what is left without those keys, so that
    faults of the whole can be told in the same go; None where too little is left.
    """
    if not text.strip():
        raise DriveError(f"{name}: is empty. A layout begins with a name and an [engine] table.")
    try:
        raw = tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, and numbers too long for Python
        raise DriveError(_syntax_message(text, name, str(error))) from None
    except RecursionError:
        raise DriveError(f"{name}: is nested too deeply to be a layout.") from None
    lines = find_line_numbers(text)
    try:
        return Layout.model_validate(raw), [], lines
    except ValidationError as error:
        wrong = [dict(one) for one in error.errors(include_url=False)]
        return _without(raw, wrong), [_fault_of(one) for one in wrong], lines


def _without(raw: dict[str, Any], wrong: list[dict[str, Any]]) -> Layout | None:
    """Layout without the keys that are wrong, if it is one."""
    for error in wrong:
        holder: Any = raw
        removal: tuple[dict[str, Any], str] | None = None
        for key in error["loc"]:
            if isinstance(holder, dict):
                removal = (holder, key)
                holder = holder.get(key)
            elif isinstance(holder, list) and isinstance(key, int) and key < len(holder):
                holder = holder[key]
            else:
                break
        if removal is not None:
            removal[0].pop(removal[1], None)
    # Nothing else of a layout hangs on these two.
    raw.setdefault("name", "unnamed")
    engine = raw.setdefault("engine", {})
    if isinstance(engine, dict):
        engine.setdefault("cylinders", 1)
    try:
        return Layout.model_validate(raw)
    except ValidationError:
        return None


def _syntax_message(text: str, name: str, message: str) -> str:
    match = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", message)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    line = text.count("\n") + 1
    column = ""
    if match and match.group(1):
        line, column = int(match.group(1)), f", column {match.group(2)}"
    typed = text.splitlines()[line - 1].strip() if line <= len(text.splitlines()) else ""
    shown = f" The line reads: {typed[:80]}" if typed else ""
    if "{" in typed and "}" not in typed:
        shown += " (a table in { } must stand on one line)"
    return f"{name}:{line}: not TOML{column}: {said}.{shown}"


# ------------------------------------------------------------------ wording of faults


def _fault_of(error: Mapping[str, Any]) -> Fault:
    path: KeyPath = tuple(error["loc"])
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        *_, key = path
        return Fault(path, f"there is no such key. {did_you_mean(str(key), _keys_at(path[:-1]))}")
    if kind == "missing":
        *front, key = path
        if isinstance(key, int):
            return Fault(tuple(front), f"has too few entries: number {key + 1} is missing.")
        what = {"engine": "the table [engine]", "component": "at least one [[component]]"}
        named = what.get(key, key) if not front else key
        return Fault(tuple(front), f"{named} is missing; add it.")
    shown = error.get("input")
    if isinstance(shown, dict | list) and len(str(shown)) > 60:
        shown = "this table" if isinstance(shown, dict) else "this list"
        return Fault(path, f"{shown} {_rule(kind, context, error['msg'])}")
    return Fault(path, f"= {_as_typed(shown)}: {_rule(kind, context, error['msg'])}")


def _rule(kind: str, context: Mapping[str, Any], message: str) -> str:
    """Say what a value must be, in place of the checker's own wording."""
    rules = {
        "greater_than": "must be greater than {gt:g}.",
        "greater_than_equal": "must be at least {ge:g}.",
        "less_than": "must be less than {lt:g}.",
        "less_than_equal": "must be at most {le:g}.",
        "literal_error": "must be one of {expected}.",
        "string_pattern_mismatch": 'must be ribs and profile, such as "6PK".',
        "too_short": "must have at least {min_length} entries.",
        "too_long": "must have at most {max_length} entries.",
        "finite_number": "must be a finite number.",
        "string_too_short": "must not be empty.",
        "string_too_long": "must have at most {max_length} characters.",
    }
    nouns = {
        "int": "a whole number without quotes",
        "float": "a number without quotes",
        "bool": "true or false",
        "string": "text in quotes",
        "list": "a list in [ ]",
        "tuple": "a list in [ ]",
        "model": "a table",
        "dict": "a table",
    }
    if kind in rules:
        return rules[kind].format(**context)
    noun = nouns.get(kind.partition("_")[0])
    return f"must be {noun}." if noun else f"{message}."


def _as_typed(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


def _keys_at(path: KeyPath) -> list[str]:
    model = _MODELS.get(tuple(key for key in path if isinstance(key, str)))
    if model is None:
        return []
    return [field.alias or name for name, field in model.model_fields.items()]
