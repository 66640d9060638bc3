"""The file of a case that people edit: ``case.toml``, from its text and back.

Faults are told as for a layout: all at once, with their lines.
"""

from __future__ import annotations

import json
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from acoustic.drive.faults import Fault, KeyPath, report_of
from acoustic.drive.line_numbers import find_line_numbers
from acoustic.drive.typed_file import fault_of, toml_of
from acoustic.errors import CaseError, SettingsError
from acoustic.tables.sound_words import Complaint, find_word

CASE_FILE, LAYOUT_FILE = "case.toml", "layout.toml"

Line = Annotated[str, Field(max_length=200)]
Story = Annotated[str, Field(max_length=20_000)]
Kilometres = Annotated[float, Field(ge=0, le=10_000_000)]
_STRICT = ConfigDict(
    extra="forbid", frozen=True, strict=True, str_strip_whitespace=True, allow_inf_nan=False
)


class LastService(BaseModel):
    """[last_service_km]: at which reading of the odometer each thing was last changed. [km]"""

    model_config = _STRICT

    belt: Kilometres | None = None
    tensioner: Kilometres | None = None
    coupling: Kilometres | None = None


class CaseFile(BaseModel):
    """What a person writes down of a case.

    `complaint` is in the customer's own words; `sounds_like` and `comes_when` are words the
    tables know for the sound. `layout` is the name of a file in the case folder.
    """

    model_config = _STRICT

    schema_: Literal["case/1"] = Field("case/1", alias="schema")
    title: Annotated[str, Field(min_length=1, max_length=200)]
    opened: date
    complaint: Story = ""
    sounds_like: list[Line] = []
    comes_when: list[Line] = []
    vehicle: Line = ""
    odometer_km: Kilometres | None = None
    labour_rate_per_hour: float | None = Field(None, gt=0, le=100_000)
    currency: Annotated[str, Field(max_length=12)] = ""
    layout: Annotated[str, Field(min_length=1, max_length=200)] = LAYOUT_FILE
    notes: Story = ""
    last_service_km: LastService = LastService()

    @property
    def words(self) -> Complaint | None:
        """Words for the sound as evidence; None if none are given."""
        said = self.sounds_like or self.comes_when
        return Complaint(self.sounds_like, self.comes_when) if said else None


_VALUES = frozenset(f.alias or name for name, f in CaseFile.model_fields.items()) - {
    "last_service_km"
}


def parse_case_file(text: str, name: str = CASE_FILE) -> CaseFile:
    """What stands in the text of a case file.

    Raises
    ------
    CaseError
        Listing every fault by line.
    """
    if not text.strip():
        raise CaseError(f"{name}: is empty. It needs at least a title and the day it was opened.")
    try:
        raw = toml_of(text, name, "the file of a case")
    except ValueError as error:
        raise CaseError(str(error)) from None
    faults: list[Fault] = []
    case = None
    try:
        case = CaseFile.model_validate(raw)
    except ValidationError as error:
        faults = [fault_of(one, _keys_at, _MISSING) for one in error.errors(include_url=False)]
    faults += [*_word_faults(raw), *_layout_faults(raw), *_distance_faults(raw)]
    if case is None or faults:
        values = _VALUES | {key for key, value in raw.items() if not isinstance(value, dict)}
        raise CaseError(report_of(faults, name, find_line_numbers(text).line_of, values))
    return case


def render_case_file(case: CaseFile) -> str:
    """Text of a case file, with a word on each key, to be edited by hand."""
    lines = [
        "# The case as people write it down. Edit it at any time; what was recorded and found",
        "# stands in history.jsonl, which only grows.",
        "",
    ]
    for name, comment in _COMMENTS.items():
        value = getattr(case, "schema_" if name == "schema" else name)
        typed = f"{name} = {_as_toml(value)}" if value is not None else f"# {name} ="
        lines.append(f"{typed}{f'  # {comment}' if comment else ''}")
    lines += ["", "[last_service_km]  # odometer when last changed, as far as known"]
    for thing in LastService.model_fields:
        km = getattr(case.last_service_km, thing)
        lines.append(f"# {thing} =" if km is None else f"{thing} = {_as_toml(km)}")
    return "\n".join(lines) + "\n"


_MISSING = {"opened": "the day it was opened (opened = 2026-11-25)"}

_COMMENTS = {
    "schema": "",
    "title": "",
    "opened": "",
    "complaint": "in the customer's own words",
    "sounds_like": 'such as ["growl"]',
    "comes_when": 'such as ["cold"]',
    "vehicle": "",
    "odometer_km": "",
    "labour_rate_per_hour": "",
    "currency": "",
    "layout": "file in this folder",
    "notes": "",
}


def _keys_at(path: KeyPath) -> list[str]:
    model: type[BaseModel] = LastService if path == ("last_service_km",) else CaseFile
    return [one.alias or name for name, one in model.model_fields.items()]


def _word_faults(raw: dict[str, Any]) -> list[Fault]:
    faults = []
    kinds: tuple[tuple[str, Literal["sound", "when"]], ...] = (
        ("sounds_like", "sound"), ("comes_when", "when"),
    )  # fmt: skip
    for key, of in kinds:
        said = raw.get(key)
        for number, word in enumerate(said if isinstance(said, list) else []):
            try:
                find_word(str(word), of)
            except SettingsError as error:
                faults.append(Fault((key, number), str(error)))
    return faults


def _layout_faults(raw: dict[str, Any]) -> list[Fault]:
    name = raw.get("layout", LAYOUT_FILE)
    if isinstance(name, str) and (set(name) & set("/\\:\0") or name in {".", ".."}):
        said = "must be the name of a file in this folder. Copy the layout into it."
        return [Fault(("layout",), f'= "{name}": {said}')]
    return []


def _distance_faults(raw: dict[str, Any]) -> list[Fault]:
    now, service = raw.get("odometer_km"), raw.get("last_service_km")
    if type(now) not in (int, float) or not isinstance(service, dict):
        return []
    return [
        Fault(
            ("last_service_km", thing),
            f"= {km:g}: is more than odometer_km = {now:g}. Correct one of them.",
        )
        for thing, km in service.items()
        if type(km) in (int, float) and km > now
    ]


def _as_toml(value: Any) -> str:
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the one control character JSON leaves as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(_as_toml(one) for one in value)}]"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)
