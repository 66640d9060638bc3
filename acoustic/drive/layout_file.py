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
from acoustic.tables.knowledge import Knowledge

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
    text = _read_text(path)
    layout, lines = _parsed(text, path.name)
    drive, faults = resolve_drive(layout, knowledge)
    if drive is None:
        raise DriveError(report_of(faults, path.name, lines.line_of))
    return drive


def parse_layout(text: str, name: str = "layout") -> Layout:
    """Read the text of a layout file, without resolving what it describes.

    Raises
    ------
    DriveError
        Listing every key and value that cannot be used, by line.
    """
    return _parsed(text, name)[0]


def parse_drive(text: str, name: str = "layout", knowledge: Knowledge | None = None) -> Drive:
    """Read the text of a layout file into the drive it describes.

    Raises
    ------
    DriveError
        Listing every fault by line.
    """
    layout, lines = _parsed(text, name)
    drive, faults = resolve_drive(layout, knowledge)
    if drive is None:
        raise DriveError(report_of(faults, name, lines.line_of))
    return drive


def layout_json_schema() -> dict[str, Any]:
    """JSON Schema of a layout file, for editors that complete and check while typing."""
    return Layout.model_json_schema(by_alias=True)


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


def _parsed(text: str, name: str) -> tuple[Layout, LineNumbers]:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DriveError(_syntax_message(text, name, str(error))) from None
    except RecursionError:
        raise DriveError(f"{name}: is nested too deeply to be a layout.") from None
    lines = find_line_numbers(text)
    try:
        return Layout.model_validate(raw), lines
    except ValidationError as error:
        faults = [_fault_of(dict(one)) for one in error.errors(include_url=False)]
        raise DriveError(report_of(faults, name, lines.line_of)) from None


def _syntax_message(text: str, name: str, message: str) -> str:
    match = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", message)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    line = text.count("\n") + 1
    column = ""
    if match and match.group(1):
        line, column = int(match.group(1)), f", column {match.group(2)}"
    typed = text.splitlines()[line - 1].strip() if line <= len(text.splitlines()) else ""
    shown = f" The line reads: {typed[:80]}" if typed else ""
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
        what = "has no such table yet; add it" if _is_table(path) else "is missing; add it"
        return Fault(tuple(front) if front else path, f"{key} {what}.")
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


def _is_table(path: KeyPath) -> bool:
    return path in {("engine",), ("component",)}
