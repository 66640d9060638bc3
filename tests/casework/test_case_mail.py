"""A case packed, moved, opened by an adviser, answered, merged: what arrives and what stays."""

import json
import zipfile
from dataclasses import replace
from datetime import timedelta

import pytest

from acoustic.casework.case_answer import read_belief
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_mail import (
    write_merged,
    write_opened_case,
    write_packed_answer,
    write_packed_case,
)
from acoustic.casework.case_writes import (
    write_event,
    write_new_case,
    write_recording,
    write_screening,
)
from acoustic.casework.history import Note, Opinion, ScreeningMade, TakenBack
from acoustic.errors import CaseError
from acoustic.recording.taken import Taken

OPINION = Opinion("Ada", "Bearing of the idler.")


@pytest.fixture
def bus(folder, clip, now):
    """Give the folder of a case with two recordings and a screening."""
    for name, content in (("idle.m4a", "a"), ("held.m4a", "b")):
        write_recording(folder, clip(name, content), Taken("idler", contact=True), now)
    write_screening(folder, '{"belief": null}', ScreeningMade("suspects", "An idler."), now)
    return folder


@pytest.fixture
def packed(bus, tmp_path, now):
    """Give the case packed into one file."""
    write_packed_case(bus, tmp_path / "bus.zip", now)
    return tmp_path / "bus.zip"


@pytest.fixture
def adviser(packed, tmp_path):
    """Give the folder of the adviser who got it."""
    assert write_opened_case(packed, tmp_path / "desk" / "bus 2").unpacked
    return tmp_path / "desk" / "bus 2"


def files_of(folder):
    """Every file of a folder with its content."""
    paths = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def test_what_is_unpacked_is_what_was_packed(bus, adviser):
    """Byte by byte, and one file more that says how much came; both are whole cases."""
    there, here = files_of(adviser), files_of(bus)
    received = json.loads(there.pop("received.json"))
    assert there == here
    assert received["events"] == 3
    one, other = read_case(bus), read_case(adviser)
    assert one.history == other.history
    assert other.remarks == ()


def test_the_same_case_packs_to_the_same_bytes(bus, adviser, packed, tmp_path, now):
    """Wherever it stands: a case moved to another folder packs as before."""
    write_packed_case(adviser, tmp_path / "again.zip", now)
    assert (tmp_path / "again.zip").read_bytes() == packed.read_bytes()
    with zipfile.ZipFile(packed) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
    assert names[:4] == ["manifest.json", "case.toml", "history.jsonl", "layout.toml"]
    assert [name.split("/")[0] for name in names[4:]] == ["recordings"] * 2 + ["screenings"]


def test_what_is_not_of_the_case_stays_here_and_is_said(bus, clip, tmp_path, now):
    """A bill, what no event names, a recording damaged, one lost, one that ends like no sound."""
    for name, content in (("lost.m4a", "l"), ("odd.exe", "o")):
        write_recording(bus, clip(name, content), Taken(), now)
    lost, odd = (one.path for one in read_case(bus).recordings[-2:])
    lost.unlink()
    (bus / "bill.pdf").write_bytes(b"money")
    (bus / "recordings" / "0123456789abcdef.m4a").write_bytes(b"nobody entered it")
    stored = read_case(bus).recordings[0].path
    stored.write_bytes(b"#" * stored.stat().st_size)
    _, left_out = write_packed_case(bus, tmp_path / "bus.zip", now)
    assert sorted(sentence.split(": ")[0] for sentence in left_out) == sorted(
        ["bill.pdf", "recordings/0123456789abcdef.m4a"]
        + [f"recordings/{one.name}" for one in (stored, lost, odd)]
    )
    opened = write_opened_case(tmp_path / "bus.zip", tmp_path / "there")
    assert any("To mend" in one and stored.name in one for one in opened.contents)


def test_a_file_that_is_there_is_not_packed_over(bus, clip, now):
    """The clip that was named by mistake is still what it was."""
    mine = clip("mine.m4a")
    before = mine.read_bytes()
    for place in (mine, mine.parent / "no folder" / "x.zip", bus):
        with pytest.raises(CaseError):
            write_packed_case(bus, place, now)
    assert mine.read_bytes() == before


def test_a_case_that_is_here_is_only_compared_with(bus, packed, clip, now):
    """The same; older; gone on by both; another one. Never written to."""
    at_first = files_of(bus)
    assert write_opened_case(packed, bus).changes == ("Nothing differs.",)
    assert files_of(bus) == at_first
    write_event(bus, Note("went on"), now)
    assert write_opened_case(packed, bus).changes == ("1 event fewer than here: it is older.",)


def test_what_changed_is_said(bus, adviser, packed, clip, tmp_path, now):
    """A recording more, another odometer, another layout, seen from the one left behind."""
    write_recording(adviser, clip("third.m4a", "c"), Taken("idler"), now)
    for name, old, new in (("case.toml", "184000", "185000"), ("layout.toml", "name", "# x\nname")):
        text = (adviser / name).read_text("utf-8")
        assert old in text
        (adviser / name).write_text(text.replace(old, new, 1), "utf-8")
    write_packed_case(adviser, tmp_path / "later.zip", now)
    opened = write_opened_case(tmp_path / "later.zip", bus)
    assert not opened.unpacked
    assert opened.changes == (
        "1 event more than here: 1 recording added.",
        "Only there: third.m4a.",
        "case.toml, odometer_km: here 184000.0; there 185000.0.",
        "The layout of the drive differs.",
    )
    write_event(bus, Note("here"), now)
    changes = write_opened_case(tmp_path / "later.zip", bus).changes
    assert changes[0].startswith("Both agree up to event 3; after it 1 event only here and 1 only")


def test_another_case_is_told_from_this_one(packed, case_file, clip, tmp_path, now):
    """Same drive, another bus: said with both titles."""
    other = tmp_path / "bus 3"
    write_new_case(other, case_file.model_copy(update={"title": "Bus 3"}), tmp_path / LAYOUT_OF_BUS)
    write_recording(other, clip("other.m4a", "z"), Taken(), now)
    [said] = write_opened_case(packed, other).changes
    assert said.startswith("It is another case")
    assert "'Bus 3'" in said and "'Bus 2 growls'" in said


LAYOUT_OF_BUS = "bus 2/layout.toml"


def test_an_answer_goes_behind_what_the_sender_has(bus, adviser, tmp_path, now):
    """The adviser's newest screening and opinion, with their time; what was there stays."""
    write_screening(adviser, '{"first": 1}', ScreeningMade("suspects", "First."), now)
    later = now + timedelta(hours=3)
    write_screening(adviser, '{"second": 2}', ScreeningMade("suspects", "Second."), later)
    write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, later + timedelta(minutes=5))
    write_event(bus, Note("went on meanwhile"), now)
    before = files_of(bus)
    answer, entered = write_merged(tmp_path / "answer.zip", bus, later + timedelta(days=1))
    after = files_of(bus)
    assert after.pop("screenings/0002.json") == b'{"second": 2}'
    assert after.pop("history.jsonl").startswith(before.pop("history.jsonl"))
    assert after == before
    assert answer.by == "Ada"
    screening, opinion, note = read_case(bus).events[-3:]
    assert (screening, opinion, note) == entered
    assert screening.data == ScreeningMade(
        "suspects", "Second.", answer="screenings/0002.json", by="Ada"
    )
    assert (screening.time, opinion.time) == (later, later + timedelta(minutes=5))
    assert opinion.data == OPINION
    assert "answer.zip: screening and opinion of Ada" in note.data.text
    assert read_case(bus).remarks == ()


def test_an_adviser_s_screening_changes_no_odds_here(bus, adviser, tmp_path, now):
    """What is believed still comes from the sender's own screening."""
    belief = '{"belief": {"forged": true}}'
    write_screening(adviser, belief, ScreeningMade("suspects", faulty={"idler": 1.0}), now)
    write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, now)
    write_merged(tmp_path / "answer.zip", bus, now)
    assert read_belief(read_case(bus)) is None


def test_the_same_answer_twice_is_noticed(bus, adviser, tmp_path, now):
    """Nothing is entered the second time, nor after it was taken back, nor packed anew."""
    write_screening(adviser, "{}", ScreeningMade("suspects", "One."), now)
    write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, now)
    _, entered = write_merged(tmp_path / "answer.zip", bus, now)
    assert len(entered) == 3
    write_event(bus, TakenBack(entered[1].id), now)
    before = files_of(bus)
    write_packed_answer(adviser, tmp_path / "again.zip", OPINION, now + timedelta(days=2))
    for name in ("answer.zip", "again.zip"):
        assert write_merged(tmp_path / name, bus, now)[1] == ()
    assert files_of(bus) == before
    write_packed_answer(adviser, tmp_path / "more.zip", replace(OPINION, text="No: the pump."), now)
    assert [e.kind for e in write_merged(tmp_path / "more.zip", bus, now)[1]] == ["opinion", "note"]


def test_an_answer_without_a_screening_holds_only_the_opinion(bus, adviser, tmp_path, now):
    """The sender's own screening is not sent back as the adviser's."""
    made = write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, now)
    assert [file.name for file in made.files] == ["answer.jsonl"]
    _, entered = write_merged(tmp_path / "answer.zip", bus, now)
    assert [event.kind for event in entered] == ["opinion", "note"]


def test_an_answer_to_another_case_is_refused_with_what_differs(
    bus, adviser, case_file, clip, tmp_path, now
):
    """Another case, an older copy, a copy that went another way; none is changed."""
    write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, now)
    other, older, apart = (tmp_path / name for name in ("other", "older", "apart"))
    for place in (other, older, apart):
        write_new_case(place, case_file, bus / "layout.toml")
    write_recording(other, clip("z.m4a", "z"), Taken(), now)
    lines = (bus / "history.jsonl").read_bytes().splitlines(keepends=True)
    (older / "history.jsonl").write_bytes(lines[0])
    (apart / "history.jsonl").write_bytes(lines[0])
    write_event(apart, Note("another way"), now)
    for place, differs in (
        (other, "already the first event differs"),
        (older, "only the first 1 of them: it is an older copy"),
        (apart, r"The first 1 agree .* event 2 differs \(here: note, 2026-11-25"),
    ):
        before = files_of(place)
        with pytest.raises(CaseError, match=differs) as told:
            write_merged(tmp_path / "answer.zip", place, now)
        assert "answer.zip: It answers the case 'Bus 2 growls' after 3 events" in str(told.value)
        assert files_of(place) == before


def test_who_cannot_answer_is_told_why(folder, bus, adviser, tmp_path, now):
    """A case of one's own; one without any event; an answer without words."""
    with pytest.raises(CaseError, match="acoustic case opinion"):
        write_packed_answer(bus, tmp_path / "a.zip", OPINION, now)
    for empty in (Opinion("", "x"), Opinion("Ada", " "), Opinion("Ada", "x" * 20_001)):
        with pytest.raises(CaseError, match=r"An answer (needs|is at most)"):
            write_packed_answer(adviser, tmp_path / "a.zip", empty, now)
    assert not (tmp_path / "a.zip").exists()


def test_a_case_in_which_nothing_happened_yet_cannot_be_answered(folder, tmp_path, now):
    """There would be nothing to know it by."""
    write_packed_case(folder, tmp_path / "bus.zip", now)
    write_opened_case(tmp_path / "bus.zip", tmp_path / "there")
    with pytest.raises(CaseError, match="with a recording in it"):
        write_packed_answer(tmp_path / "there", tmp_path / "a.zip", OPINION, now)


def test_each_kind_of_file_is_told_from_the_other(bus, adviser, packed, tmp_path, now):
    """A case is not merged, an answer not unpacked."""
    write_packed_answer(adviser, tmp_path / "answer.zip", OPINION, now)
    with pytest.raises(CaseError, match="acoustic bundle open"):
        write_merged(packed, bus, now)
    with pytest.raises(CaseError, match="acoustic bundle merge"):
        write_opened_case(tmp_path / "answer.zip", tmp_path / "x")
