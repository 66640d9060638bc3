"""A case and a list of cases as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo

from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.casework.case_index import CaseRow
from acoustic.casework.history import (
    AnswerShown,
    CheckDone,
    Event,
    EventData,
    LaterKind,
    LinkMade,
    Note,
    Opinion,
    Outcome,
    RecordingAdded,
    ScreeningMade,
    TakenBack,
)
from acoustic.output.wording import wrapped
from acoustic.recording.taken import Taken

INDENT = "  "
_HEADLINE_CHARACTERS = 160


def taken_in_full(taken: Taken) -> str:
    """How a recording was taken, in words.

    Examples
    --------
    >>> taken_in_full(Taken("idler", contact=True, rpm=1500, loads=("steering",), take=2))
    'idler, resting on it, 1500 rpm, steering on, before, take 2'
    """
    place = taken.point or "in front of the drive"
    held = ("resting on it" if taken.point else "resting on a fixed part") if taken.contact else ""
    speed = "speed to be heard" if taken.rpm is None else f"{taken.rpm:g} rpm"
    loads = " and ".join(taken.loads)
    off = taken.switched_off_s
    words = (
        place,
        held or ("in the air" if taken.point else ""),
        speed,
        f"{loads} on" if loads else "no loads on",
        taken.stage,
        f"take {taken.take}",
        f"by {taken.device}" if taken.device else "",
        "" if off is None else f"switched off at {off:g} s",
    )
    return ", ".join(word for word in words if word)


def render_case(case: Case, width: int = 80, zone: tzinfo | None = None) -> str:
    """Render a case: what it is, its recordings, what happened, what is to be said of it.

    `zone` is the time zone of the times shown; that of the machine if left out.
    """
    blocks = [
        ("CASE", _head(case, width)),
        ("RECORDINGS", _recordings(case.recordings, width)),
        ("WHAT HAPPENED", _events(case.history.events, width, zone)),
        ("TO MEND", _bullets(case.remarks, width)),
    ]
    shown = [f"{heading}\n" + "\n".join(lines) for heading, lines in blocks if lines]
    return "\n\n".join(shown) + "\n"


def render_case_rows(rows: Sequence[CaseRow], width: int = 80) -> str:
    """Render a list of cases, one block each, and how many are open."""
    if not rows:
        return "No such case.\n"
    lines: list[str] = []
    for row in rows:
        state = "closed" if row.closed else "open"
        lines += wrapped(f"{row.opened or 'no date'}  {state:<6}  {row.title}", width, "", " " * 20)
        count = f"{row.recordings} recording{'' if row.recordings == 1 else 's'}"
        found = f"found: {row.outcome}" if row.outcome else ""
        rest = ", ".join(word for word in (row.folder, row.vehicle, count, found) if word)
        lines += wrapped(row.problem or rest, width, " " * 20, " " * 20)
    still = sum(not row.closed for row in rows)
    lines += ["", f"{len(rows)} case{'' if len(rows) == 1 else 's'}, {still} open."]
    return "\n".join(lines) + "\n"


def render_entries(events: Sequence[Event], width: int = 80, zone: tzinfo | None = None) -> str:
    """Render some of what happened, as `render_case` shows it."""
    return "\n".join(_events(events, width, zone)) + "\n"


def _head(case: Case, width: int) -> list[str]:
    file = case.file
    closed = any(isinstance(event.data, Outcome) for event in case.events)
    service = ", ".join(
        f"{thing} at {km:g} km" for thing, km in file.last_service_km if km is not None
    )
    sentences = (
        f"{file.title} (opened {file.opened.isoformat()}, {'closed' if closed else 'open'})",
        f"Complaint: {file.complaint}" if file.complaint else "",
        f"Vehicle: {file.vehicle}" if file.vehicle else "",
        f"Odometer: {file.odometer_km:g} km" if file.odometer_km is not None else "",
        f"Last changed: {service}" if service else "",
        f"Layout: {case.drive.name} ({file.layout})",
        f"Notes: {file.notes}" if file.notes else "",
    )
    return [line for s in sentences if s for line in wrapped(s, width, INDENT, INDENT * 2)]


def _recordings(recordings: Sequence[StoredRecording], width: int) -> list[str]:
    lines: list[str] = []
    for one in recordings:
        text = f"{taken_in_full(one.taken)} ({one.added.original})"
        if one.added.gate is not None and not one.added.gate.usable:
            text += ": not usable"
        lines += wrapped(text, width, f"{one.event_id:>5}  ", " " * 7)
    return lines or [f"{INDENT}None yet. To add some: acoustic case add FOLDER CLIP..."]


def _events(events: Sequence[Event], width: int, zone: tzinfo | None) -> list[str]:
    gone = {event.data.event for event in events if isinstance(event.data, TakenBack)}
    lines: list[str] = []
    for event in events:
        back = " (taken back)" if event.id in gone else ""
        text = f"{_time_text(event.time, zone)}  {event.kind}{back}: {event_text(event.data)}"
        lines += wrapped(text, width, f"{event.id:>5}  ", " " * 7)
    return lines


def _time_text(time: datetime, zone: tzinfo | None) -> str:
    return time.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _utc(time: datetime) -> str:
    return f"{time.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def event_text(data: EventData) -> str:
    """What happened, in a few words."""
    match data:
        case RecordingAdded():
            return data.original
        case ScreeningMade():
            said = data.headline[:_HEADLINE_CHARACTERS] or data.verdict
            return f"{said} ({', '.join(word for word in (data.answer, data.by) if word)})"
        case CheckDone():
            return _joined(f"{data.check}, {data.part}: {data.result}", data.note, data.by)
        case Opinion():
            return _joined(data.text, "", data.by)
        case Outcome():
            found = ", ".join(w for w in (data.part, data.mechanism) if w) or "nothing found"
            return _joined(found, data.text, data.by)
        case Note():
            return _joined(data.text, "", data.by)
        case LinkMade():
            return _joined(
                data.label or "for a customer", f"Open until {_utc(data.until)}", data.by
            )
        case AnswerShown():
            report = " and a report" if data.report else ""
            return _joined(f"opinion number {data.opinion}{report}", "", data.by)
        case TakenBack():
            return _joined(f"number {data.event}", data.why, "")
        case LaterKind():
            return "of a later version of this program; kept as it is."


def _joined(text: str, more: str, by: str) -> str:
    return f"{text}{f'. {more}' if more else ''}{f' ({by})' if by else ''}"


def _bullets(sentences: Sequence[str], width: int) -> list[str]:
    return [line for s in sentences for line in wrapped(s, width, f"{INDENT}- ", INDENT * 2)]
