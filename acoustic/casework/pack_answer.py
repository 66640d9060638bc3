"""An adviser's answer to a packed case: what it holds, whether it belongs, what of it is new."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from acoustic.casework.case_writes import MadeElsewhere
from acoustic.casework.history import (
    Event,
    History,
    Note,
    Opinion,
    ScreeningMade,
    parse_history,
    render_event,
)
from acoustic.casework.packing import ANSWER_FILE, Manifest, count_alike, line_digests, shown
from acoustic.errors import CaseError

LONGEST_TEXT = 20_000
_LONGEST_HEADLINE = 2_000


@dataclass(frozen=True, slots=True)
class Answer:
    """What an adviser sent.

    Attributes
    ----------
    by, title : str
        Who, and the title of the case as they had it.
    given_to : tuple of str
        Digests of the events of the case as they had received it.
    entries : tuple of MadeElsewhere
        Opinions and screenings with the time they were made.
    """

    by: str
    title: str
    given_to: tuple[str, ...]
    entries: tuple[MadeElsewhere, ...]


def own_events(history: bytes, received: int) -> tuple[Event, ...]:
    """Events entered since a case was received, those taken back left out."""
    lines = [line for line in history.split(b"\n") if line.strip()]
    return parse_history(b"\n".join([*lines[received:], b""])).standing


def find_opinion(events: Sequence[Event], opinion: Opinion) -> Event | None:
    """The event that holds this opinion already."""
    return next((event for event in reversed(events) if event.data == opinion), None)


def newest_screening(events: Sequence[Event]) -> tuple[Event, ScreeningMade] | None:
    """The newest screening among events that was made here."""
    made = [
        (event, event.data)
        for event in events
        if isinstance(event.data, ScreeningMade) and event.data.answer and not event.data.by
    ]
    return made[-1] if made else None


def render_answer(opinion: Event, screening: tuple[Event, ScreeningMade] | None, by: str) -> bytes:
    """The lines an answer is made of."""
    lines = render_event(opinion)
    if screening is not None:
        event, made = screening
        lines = render_event(replace(event, data=replace(made, by=by))) + lines
    return lines


def parse_answer(manifest: Manifest, lines: bytes, answers: Mapping[str, bytes]) -> Answer:
    """What an adviser sent, from the files of the pack.

    Parameters
    ----------
    manifest : Manifest
    lines : bytes
        Content of ``answer.jsonl``.
    answers : mapping of str to bytes
        Answers of screenings, by their names in the pack.

    Raises
    ------
    CaseError
        If it holds anything but opinions and screenings of the one who answers.
    """
    if not manifest.by.strip() or not manifest.events:
        raise CaseError("this answer does not say who gave it, or to which case.")
    history = parse_history(lines, ANSWER_FILE)
    if history.remarks:
        raise CaseError(shown(history.remarks[0]))
    entries = tuple(_entry(event, manifest.by, answers) for event in history.events)
    if not any(isinstance(one.data, Opinion) for one in entries):
        raise CaseError("this answer holds no opinion.")
    return Answer(manifest.by, manifest.title, manifest.events, entries)


def _entry(event: Event, by: str, answers: Mapping[str, bytes]) -> MadeElsewhere:
    data = event.data
    if not isinstance(data, Opinion | ScreeningMade):
        raise CaseError(
            f"this answer holds more than an opinion and a screening: {shown(event.kind)[:40]}. "
            "Nothing was taken in."
        )
    if data.by != by:
        raise CaseError("this answer speaks in another's name. Nothing was taken in.")
    if isinstance(data, Opinion):
        if not data.text.strip() or len(data.text) > LONGEST_TEXT:
            raise CaseError(f"its opinion is empty or longer than {LONGEST_TEXT} signs.")
        return MadeElsewhere(event.time, data)
    raw = answers.get(data.answer)
    if raw is None or not _is_object(raw) or len(data.headline) > _LONGEST_HEADLINE:
        raise CaseError("the screening it names is missing from it or cannot be read.")
    return MadeElsewhere(event.time, data, raw)


def _is_object(raw: bytes) -> bool:
    try:
        return isinstance(json.loads(raw), dict)
    except (ValueError, RecursionError):
        return False


def new_entries(
    answer: Answer, history: bytes, parsed: History, note: tuple[str, datetime]
) -> tuple[MadeElsewhere, ...]:
    """What of an answer a case does not hold yet, and a note of where it came from.

    Empty if it holds all of it already, be it taken back.

    Parameters
    ----------
    answer : Answer
    history : bytes
        The history file of the case.
    parsed : History
        The same, read.
    note : (str, datetime)
        Name of the answer's file, and now.

    Raises
    ------
    CaseError
        If it answers another case, or another state of it; with what differs.
    """
    _require_same_case(answer, line_digests(history), parsed)
    held = {_identity(event.time, event.data) for event in parsed.events}
    new = [one for one in answer.entries if _identity(one.time, one.data) not in held]
    if not new:
        return ()
    name, now = note
    things = " and ".join(
        "screening" if isinstance(one.data, ScreeningMade) else "opinion" for one in new
    )
    when = f"{answer.entries[-1].time:%Y-%m-%d %H:%M} UTC"
    words = f"Taken in from {shown(name)}: {things} of {shown(answer.by)}, given {when}."
    return (*new, MadeElsewhere(now, Note(words)))


def _require_same_case(answer: Answer, here: Sequence[str], history: History) -> None:
    alike, given_to = count_alike(answer.given_to, here), len(answer.given_to)
    if alike == given_to:
        return
    title = f"It answers the case '{shown(answer.title)}' after {given_to} events"
    if alike == len(here):
        raise CaseError(
            f"{title}, but this one has only the first {alike} of them: it is an older copy, or "
            "another case. Merge the answer into the case that was packed."
        )
    if alike == 0:
        raise CaseError(
            f"{title}, which is not this one: already the first event differs. Nothing was taken "
            "in."
        )
    differs = history.events[alike] if alike < len(history.events) else None
    what = (
        f" (here: {shown(differs.kind)[:40]}, {differs.time:%Y-%m-%d %H:%M} UTC)" if differs else ""
    )
    raise CaseError(
        f"{title}. The first {alike} agree with this case, then event {alike + 1} differs{what}: "
        "somebody went on with another copy. Merge it into the copy that was packed."
    )


def _identity(time: datetime, data: object) -> object:
    if isinstance(data, ScreeningMade):
        return time, data.by, data.verdict, data.headline, data.recordings, data.version
    if isinstance(data, Opinion):
        return time, data.by, data.text
    return time, type(data)
