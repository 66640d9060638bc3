"""Reading a layout file: TOML with line numbers in every message, all faults at once.

The only module of this folder that touches the disk, in `read_drive`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from acoustic.drive.build import resolve_drive
from acoustic.drive.drive import Drive
from acoustic.drive.faults import Fault, KeyPath, report_of
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
from acoustic.drive.typed_file import LARGEST_BYTES, fault_of, text_of, toml_of
from acoustic.errors import DriveError
from acoustic.tables.knowledge import Knowledge, load_knowledge

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
    checked = check_layout(text, name, knowledge)
    if checked.drive is None:
        raise DriveError(checked.report(name))
    return checked.drive


@dataclass(frozen=True, slots=True)
class CheckedLayout:
    """A layout's text looked through: the drive, or else every fault with its place.

    Attributes
    ----------
    drive : Drive or None
    faults : tuple of Fault
        In the order of the file.
    lines : LineNumbers
        Where each of them stands.
    """

    drive: Drive | None
    faults: tuple[Fault, ...]
    lines: LineNumbers

    def report(self, name: str) -> str:
        """Every fault in a line of its own."""
        return report_of(self.faults, name, self.lines.line_of)


def check_layout(text: str, name: str, knowledge: Knowledge | None = None) -> CheckedLayout:
    """Look through the text of a layout file, and hand back what is wrong by its place.

    Raises
    ------
    DriveError
        If it is empty or no TOML, so that nothing in it has a place.
    """
    layout, faults, lines = _parsed(text, name)
    drive = None
    if layout is not None:
        drive, more = resolve_drive(layout, knowledge)
        spoilt = {fault.path[:2] for fault in faults}
        faults += [fault for fault in more if fault.path[:2] not in spoilt]
    ordered = sorted(faults, key=lambda fault: lines.line_of(fault.path) or 0)
    return CheckedLayout(None if faults else drive, tuple(ordered), lines)


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
    try:
        return text_of(raw, path.name, "layout")
    except ValueError as error:
        raise DriveError(str(error)) from None


def _parsed(text: str, name: str) -> tuple[Layout | None, list[Fault], LineNumbers]:
    """Layout, faults and line numbers of a text.

    With faults in single keys the layout is what is left without those keys, so that
    faults of the whole can be told in the same go; None where too little is left.
    """
    if not text.strip():
        raise DriveError(f"{name}: is empty. A layout begins with a name and an [engine] table.")
    try:
        raw = toml_of(text, name, "a layout")
    except ValueError as error:
        raise DriveError(str(error)) from None
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


_MISSING = {"engine": "the table [engine]", "component": "at least one [[component]]"}


def _fault_of(error: Mapping[str, Any]) -> Fault:
    return fault_of(error, _keys_at, _MISSING)


def _keys_at(path: KeyPath) -> list[str]:
    model = _MODELS.get(tuple(key for key in path if isinstance(key, str)))
    if model is None:
        return []
    return [field.alias or name for name, field in model.model_fields.items()]
