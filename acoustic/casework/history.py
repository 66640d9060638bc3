"""What happened in a case, event by event: each one line of JSON that is only ever added.

An event is never changed; what turned out wrong is taken back by a further event. Lines a
later version wrote are kept as they are.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any

from pydantic import AwareDatetime, TypeAdapter, ValidationError

from acoustic.recording.taken import Taken

if TYPE_CHECKING:
    from acoustic.verdict.suspects import Screening

SCHEMA = "case-event/1"


@dataclass(frozen=True, slots=True)
class GateAnswer:
    """What was said of a recording when it was added: usable or not, why, what to do again.

    With the crankshaft speed it was heard at, in turns a minute, and how many seconds of it
    can be used.
    """

    usable: bool
    reasons: tuple[str, ...] = ()
    again: tuple[str, ...] = ()
    rpm: float | None = None
    used_s: float | None = None


@dataclass(frozen=True, slots=True)
class RecordingAdded:
    """A recording was added.

    Attributes
    ----------
    sha256 : str
        Of its content, in hex digits.
    stored : str
        Where it is, from the case folder: ``"recordings/0123456789abcdef.m4a"``.
    original : str
        Name of the file as it came.
    size_bytes : int
    taken : Taken
    gate : GateAnswer or None
        None if it was not asked for.
    """

    sha256: str
    stored: str
    original: str
    size_bytes: int
    taken: Taken
    gate: GateAnswer | None = None


@dataclass(frozen=True, slots=True)
class ScreeningMade:
    """A screening was made and its answer kept.

    Attributes
    ----------
    verdict, headline : str
    faulty : mapping of str to float
        P(faulty) by part, as answered. [-]
    recordings : tuple of str
        SHA-256 of those it rests on.
    version : str
        Of the program.
    answer : str
        Where the whole answer is: ``"screenings/0001.json"``; set when it is written.
    by : str
        Who made it elsewhere and sent it; empty for one made with this case. Only those
        change what is believed here.
    layout : str
        SHA-256 of the layout file it rests on; empty where that was not noted.
    """

    verdict: str
    headline: str = ""
    faulty: Mapping[str, float] = field(default_factory=dict)
    recordings: tuple[str, ...] = ()
    version: str = ""
    answer: str = ""
    by: str = ""
    layout: str = ""


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A hand check was done: its id, on which part, what came of it, by whom."""

    check: str
    part: str
    result: str
    note: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Opinion:
    """What somebody thinks it is."""

    by: str
    text: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found when it was opened.

    `part` is empty if nothing was found; `mechanism` is an id of the tables, empty if it
    could not be told. The odometer in km.
    """

    part: str = ""
    mechanism: str = ""
    text: str = ""
    odometer_km: float | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else worth keeping."""

    text: str
    by: str = ""


@dataclass(frozen=True, slots=True)
class LinkMade:
    """A customer was given a link to send recordings by; taking this back withdraws it.

    Attributes
    ----------
    link : str
        Name of the link within the case; not its secret, which is kept nowhere.
    until : datetime
        When it ends, with its time zone.
    label : str
        Who and what it is for; the customer reads it, too.
    at_parts : bool
        Whether recordings at the parts are asked for, not only in front of the drive.
    by : str
        Who made it.
    """

    link: str
    until: AwareDatetime
    label: str = ""
    at_parts: bool = False
    by: str = ""


@dataclass(frozen=True, slots=True)
class AnswerShown:
    """An opinion, by its number, is shown to whoever has a link; with a report or without.

    `report` is where the report as it was then is kept, or empty; taking this back hides both.
    """

    link: str
    opinion: int
    report: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A former event does not hold: which, and why."""

    event: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class LaterKind:
    """An event of a kind this version does not know, kept as it was read."""

    kind: str
    data: Mapping[str, Any]
    schema: str


EventData = (
    RecordingAdded
    | ScreeningMade
    | CheckDone
    | Opinion
    | Outcome
    | Note
    | LinkMade
    | AnswerShown
    | TakenBack
    | LaterKind
)

_KINDS: Mapping[str, type] = {
    "recording added": RecordingAdded,
    "screening made": ScreeningMade,
    "check done": CheckDone,
    "opinion": Opinion,
    "outcome": Outcome,
    "note": Note,
    "link made": LinkMade,
    "answer shown": AnswerShown,
    "taken back": TakenBack,
}
_NAMES = {data: kind for kind, data in _KINDS.items()}


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened: number from 1 within the case, time in UTC, what."""

    id: int
    time: datetime
    data: EventData

    @property
    def kind(self) -> str:
        """Such as ``"recording added"``."""
        return self.data.kind if isinstance(self.data, LaterKind) else _NAMES[type(self.data)]


@dataclass(frozen=True, slots=True)
class History:
    """Everything that happened, oldest first, and what is to be said of the file.

    Attributes
    ----------
    events : tuple of Event
    remarks : tuple of str
        Lines that could not be read, as plain sentences.
    last_id : int
        Highest number ever given, so that none is given twice.
    ends_torn : bool
        True if the last line does not end; what is added next must begin on a new line.
    """

    events: tuple[Event, ...] = ()
    remarks: tuple[str, ...] = ()
    last_id: int = 0
    ends_torn: bool = False

    @property
    def standing(self) -> tuple[Event, ...]:
        """Events that hold: not taken back, and no taking back themselves."""
        gone = {e.data.event for e in self.events if isinstance(e.data, TakenBack)}
        return tuple(
            e for e in self.events if e.id not in gone and not isinstance(e.data, TakenBack)
        )


def render_event(event: Event) -> bytes:
    """One line for the file, its end included."""
    data = event.data
    row = {
        "schema": data.schema if isinstance(data, LaterKind) else SCHEMA,
        "id": event.id,
        "time": event.time.astimezone(UTC).isoformat(timespec="milliseconds"),
        "kind": event.kind,
        "data": dict(data.data) if isinstance(data, LaterKind) else asdict(data),
    }
    # ASCII only: no sign of any language can be cut in half, and none ends a line.
    text = json.dumps(row, separators=(", ", ": "), default=datetime.isoformat)
    return text.encode("ascii") + b"\n"


def parse_history(raw: bytes, name: str = "history.jsonl") -> History:
    """Every event of a history file; a line that cannot be read becomes a remark."""
    events: list[Event] = []
    remarks: list[str] = []
    seen: set[int] = set()
    lines = raw.split(b"\n")
    ends_torn = bool(lines[-1])
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            event = _event_of(line)
        except ValueError as error:
            torn = ends_torn and number == len(lines)
            remarks.append(_remark(f"{name}:{number}", torn, str(error)))
            continue
        if event.id in seen:
            remarks.append(
                f"{name}:{number}: a second event has the number {event.id}. Both are kept; were "
                "two copies of this case joined by hand?"
            )
        seen.add(event.id)
        events.append(event)
    # A line that cannot be read had a number too, and others may name it.
    last_id = max(sum(1 for line in lines if line.strip()), *(event.id for event in events), 0)
    return History(tuple(events), tuple(remarks), last_id, ends_torn)


def _remark(place: str, torn: bool, reason: str) -> str:
    if torn:
        return (
            f"{place}: the last line breaks off; writing was cut short. Nothing that was "
            "confirmed is lost: do again what was not confirmed."
        )
    return f"{place}: this line cannot be read ({reason}) and is left out. It stays in the file."


def _event_of(line: bytes) -> Event:
    try:
        row = json.loads(line.decode("utf-8"))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise ValueError("it is damaged") from None
    if not isinstance(row, dict) or not isinstance(row.get("data"), dict):
        raise ValueError("it is no event")
    number, kind = row.get("id"), row.get("kind")
    if type(number) is not int or number < 1 or not isinstance(kind, str):
        raise ValueError("it has no number or kind")
    try:
        time = datetime.fromisoformat(str(row.get("time")))
    except ValueError:
        raise ValueError("its time cannot be read") from None
    if time.tzinfo is None:
        raise ValueError("its time names no time zone")
    return Event(number, time.astimezone(UTC), _data_of(row, kind))


def _data_of(row: Mapping[str, Any], kind: str) -> EventData:
    if kind not in _KINDS or row.get("schema") != SCHEMA:
        return LaterKind(kind, row["data"], str(row.get("schema")))
    try:
        data: EventData = _adapter(kind).validate_python(row["data"])
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(key) for key in first["loc"])
        raise ValueError(f"{kind}, {where}: {first['msg']}") from None
    return data


@cache
def _adapter(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(_KINDS[kind])


def next_event(history: History, data: EventData, time: datetime) -> Event:
    """The event that follows on a history."""
    return Event(history.last_id + 1, time.astimezone(UTC), data)


def recordings_of(events: Sequence[Event]) -> tuple[tuple[Event, RecordingAdded], ...]:
    """Recordings among events, with the event that added them."""
    return tuple((e, e.data) for e in events if isinstance(e.data, RecordingAdded))


def screening_made(screening: Screening, layout: str = "") -> ScreeningMade:
    """What the history keeps of a screening beside its whole answer.

    `layout` is the SHA-256 of the layout file it was made with.
    """
    return ScreeningMade(
        verdict=screening.verdict,
        headline=screening.headline,
        faulty={one.part: round(one.probability, 6) for one in screening.suspects},
        recordings=tuple(one.recording.sha256 for one in screening.heard),
        version=screening.version,
        layout=layout,
    )
