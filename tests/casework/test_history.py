"""The history: every event comes back, and a torn or strange line hides no other."""

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest

from acoustic.casework.history import (
    AnswerShown,
    CheckDone,
    Event,
    GateAnswer,
    History,
    LaterKind,
    LinkMade,
    Note,
    Opinion,
    Outcome,
    RecordingAdded,
    ScreeningMade,
    TakenBack,
    next_event,
    parse_history,
    render_event,
)
from acoustic.recording.taken import Taken

NOW = datetime(2026, 11, 25, 9, 30, 0, 125000, tzinfo=UTC)
KINDS = [
    RecordingAdded("ab" * 32, "recordings/abab.m4a", "größe\n轰.m4a", 12,
                   Taken("idler", True, 1500.0, ("steering",), "after", 2, "phone", 24.5),
                   GateAnswer(False, ("too short",), ("record 20 s",))),
    ScreeningMade("suspects", "The idler.", {"idler": 0.9}, ("ab" * 32,), "0.1.0", "screenings/1"),
    CheckDone("spin by hand", "idler", "rough", "grates", "A."),
    Opinion("A.", "the idler"),
    Outcome("idler", "inner race", "pitted", 184100.0, "A."),
    Outcome(),
    Note("later"),
    LinkMade("ab" * 8, NOW + timedelta(days=7), "Bus 3", True, "Ada"),
    AnswerShown("ab" * 8, 4, "links/a.html", "Ada"),
    TakenBack(3, "wrong part"),
]  # fmt: skip


def lines_of(*data):
    """Give the bytes of a history of these."""
    history, raw = History(), b""
    for one in data:
        raw += render_event(next_event(history, one, NOW))
        history = parse_history(raw)
    return raw


def test_every_kind_comes_back_as_it_was():
    """Each on one line, numbered from one, at its time."""
    raw = lines_of(*KINDS)
    history = parse_history(raw)
    assert [event.data for event in history.events] == KINDS
    assert [event.id for event in history.events] == list(range(1, len(KINDS) + 1))
    assert {event.time for event in history.events} == {NOW}
    assert raw.count(b"\n") == len(KINDS)
    assert history.remarks == ()


def test_times_are_kept_in_utc():
    """An event of half past ten in a zone two hours ahead was at half past eight."""
    time = datetime(2026, 7, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))
    assert json.loads(render_event(Event(1, time, Note("a"))))["time"].startswith(
        "2026-07-01T08:30"
    )


def test_wherever_the_last_line_is_cut_the_others_stand():
    """Cut at every byte: what was before is read, the cut is told, the next event is found."""
    first, last = lines_of(*KINDS[:3]), render_event(Event(4, NOW, KINDS[0]))
    for length in range(1, len(last)):
        history = parse_history(first + last[:length])
        assert [event.data for event in history.events[:3]] == KINDS[:3]
        assert history.ends_torn
        whole = length == len(last) - 1  # only the line's end is missing: all of it can be read
        assert len(history.events) == 3 + whole
        assert ("breaks off" in " ".join(history.remarks)) is not whole
        following = render_event(next_event(history, Note("next"), NOW))
        again = parse_history(first + last[:length] + b"\n" + following)
        assert again.events[-1].data == Note("next")
        assert again.events[-1].id not in {event.id for event in again.events[:-1]}


@pytest.mark.parametrize(
    "line",
    [b"\0" * 40, b"\xff\xfe{}", b"[]", b'{"id": 2}', b'{"id": true, "kind": "note", "data": {}}',
     b'{"schema": "case-event/1", "id": 2, "kind": "note", "time": "2026-01-01", "data": {}}',
     b"[" * 100_000],
)  # fmt: skip
def test_a_damaged_line_is_told_and_hides_nothing(line):
    """Zeros after a power cut, other encodings, other JSON, nesting without end."""
    raw = lines_of(Note("a"))
    history = parse_history(raw + line + b"\n" + render_event(Event(3, NOW, Note("c"))))
    assert [event.data for event in history.events] == [Note("a"), Note("c")]
    (remark,) = history.remarks
    assert remark.startswith("history.jsonl:2: this line cannot be read")


def test_the_number_of_a_damaged_line_is_not_given_again():
    """Three lines, the last damaged: the next is the fourth."""
    assert parse_history(lines_of(Note("a"), Note("b")) + b"{damaged}\n").last_id == 3


def test_what_a_later_version_wrote_is_kept():
    """An unknown kind, and a known kind of another schema."""
    line = {"schema": "case-event/9", "id": 1, "time": NOW.isoformat(), "kind": "note",
            "data": {"words": 3}}  # fmt: skip
    strange = {**line, "id": 2, "schema": "case-event/1", "kind": "video added"}
    raw = b"".join(json.dumps(one).encode() + b"\n" for one in (line, strange))
    history = parse_history(raw)
    assert [event.data for event in history.events] == [
        LaterKind("note", {"words": 3}, "case-event/9"),
        LaterKind("video added", {"words": 3}, "case-event/1"),
    ]
    assert history.remarks == ()
    assert b"".join(map(render_event, history.events)).count(b"case-event/9") == 1


def test_what_was_taken_back_does_not_stand():
    """Neither the event nor the taking back; both stay in the history."""
    history = parse_history(lines_of(Note("a"), Note("b"), TakenBack(1)))
    assert [event.data for event in history.standing] == [Note("b")]
    assert len(history.events) == 3


def test_two_events_of_one_number_are_told():
    """As when two copies of a folder were joined by hand."""
    raw = lines_of(Note("a"))
    history = parse_history(raw + raw)
    assert len(history.events) == 2
    assert "a second event has the number 1" in history.remarks[0]
