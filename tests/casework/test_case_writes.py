"""Writing into a case: once, whole, in turn, and never over something."""

import hashlib
import os
import shutil
from pathlib import Path

import pytest

from acoustic.casework import lasting_files
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import (
    write_event,
    write_layout,
    write_new_case,
    write_recording,
    write_screening,
)
from acoustic.casework.history import (
    GateAnswer,
    Note,
    ScreeningMade,
    TakenBack,
    screening_made,
)
from acoustic.casework.lasting_files import INCOMING
from acoustic.casework.layout_change import layout_digest
from acoustic.errors import CaseError, DriveError
from acoustic.recording.audio_file import read_recording
from acoustic.recording.taken import Taken
from acoustic.screening import screen

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "rear_six.toml"


def stored(folder):
    """Names of everything among the recordings, also what is out of sight."""
    return sorted(path.name for path in (folder / "recordings").iterdir())


def test_a_new_case_holds_what_was_said_and_the_layout(folder, case_file):
    """The layout byte for byte."""
    case = read_case(folder)
    assert case.file == case_file
    assert (folder / "layout.toml").read_bytes() == LAYOUT.read_bytes()
    assert case.recordings == ()
    assert case.remarks == ()


def test_a_case_is_never_opened_over_something(folder, tmp_path, case_file):
    """Over a case, a folder with a file, or a file; an empty folder may be used."""
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").touch()
    for place in (folder, tmp_path / "full", tmp_path / "full" / "x"):
        with pytest.raises(CaseError):
            write_new_case(place, case_file, LAYOUT)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    (tmp_path / "empty").mkdir()
    write_new_case(tmp_path / "empty", case_file, LAYOUT)
    assert read_case(tmp_path / "empty").file == case_file


def test_a_case_that_cannot_be_opened_leaves_nothing(tmp_path, case_file):
    """Neither with a wrong layout nor with a wrong word."""
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('name = "x"')
    with pytest.raises(DriveError):
        write_new_case(tmp_path / "new", case_file, wrong)
    with pytest.raises(CaseError, match="odometer_km"):
        negative = case_file.model_copy(update={"odometer_km": -3.0})
        write_new_case(tmp_path / "new", negative, LAYOUT)
    assert [path.name for path in tmp_path.iterdir()] == ["wrong.toml"]


def test_a_recording_is_stored_by_its_content(folder, clip, now):
    """The name is the beginning of its SHA-256, by Python's own hashlib; the clip stays."""
    one = clip("Idler ONE.WAV")
    gate = GateAnswer(True, ("long enough",))
    added = write_recording(folder, one, Taken("guide idler", rpm=1500.0), now, gate)
    digest = hashlib.sha256(one.read_bytes()).hexdigest()
    (recording,) = read_case(folder).recordings
    assert stored(folder) == [f"{digest[:16]}.wav"]
    assert recording.path.read_bytes() == one.read_bytes()
    assert recording.taken == Taken("guide idler", rpm=1500.0)
    assert (recording.added.original, recording.added.gate) == ("Idler ONE.WAV", gate)
    assert (recording.event_id, added.event.id, added.already) == (1, 1, False)


def test_the_same_content_is_noticed_whatever_its_name(folder, clip, now):
    """It says what it is already; nothing is written."""
    write_recording(folder, clip("one.wav"), Taken("alternator"), now)
    before = (folder / "history.jsonl").read_bytes()
    added = write_recording(folder, clip("two.m4a"), Taken("tensioner"), now)
    assert added.already
    assert added.event.data.taken == Taken("alternator")
    assert "in the case already, as number 1 (one.wav, 2026-11-25)" in added.sentence
    assert (folder / "history.jsonl").read_bytes() == before
    assert len(stored(folder)) == 1


@pytest.mark.parametrize("damage", ["lost", "shorter", "other"])
def test_a_stored_file_that_is_lost_or_damaged_is_put_back(folder, clip, now, damage):
    """By adding the same content again; the case says so before."""
    one = clip("one.wav")
    write_recording(folder, one, Taken(), now)
    (path,) = (folder / "recordings").iterdir()
    if damage == "lost":
        path.unlink()
    else:
        path.write_bytes(one.read_bytes()[:-1] + (b"" if damage == "shorter" else b"x"))
    if damage != "other":  # the content itself is not looked at each time a case is read
        assert "'one.wav'" in read_case(folder).remarks[0]
        assert read_case(folder).recordings == ()
    assert "put back" in write_recording(folder, one, Taken(), now).sentence
    assert path.read_bytes() == one.read_bytes()
    assert read_case(folder).remarks == ()


def test_a_recording_cut_short_before_its_event_is_told_and_adopted(folder, clip, now):
    """A whole file without an event, and a temporary one, as a kill leaves them."""
    one = clip("one.wav")
    digest = hashlib.sha256(one.read_bytes()).hexdigest()
    left = folder / "recordings" / f"{digest[:16]}.wav"
    left.write_bytes(one.read_bytes())
    (folder / "recordings" / f"{INCOMING}x").write_bytes(b"RI")
    (folder / "screenings" / "0001.json").write_text("{}")
    remarks = read_case(folder).remarks
    assert len(remarks) == 2
    assert all("cut short" in remark for remark in remarks)
    assert not write_recording(folder, left, Taken("alternator"), now).already
    assert stored(folder) == [left.name]
    assert len(read_case(folder).recordings) == 1


def test_a_recording_taken_back_can_be_added_otherwise(folder, clip, now):
    """As when the point was wrong; the sound is stored once all the same."""
    first = write_recording(folder, clip("one.wav"), Taken("alternator"), now)
    write_event(folder, TakenBack(first.event.id, "wrong point"), now)
    assert read_case(folder).recordings == ()
    assert not write_recording(folder, clip("one.wav"), Taken("tensioner"), now).already
    (recording,) = read_case(folder).recordings
    assert recording.taken.point == "tensioner"
    assert len(stored(folder)) == 1


def test_only_what_stands_can_be_taken_back(folder, now):
    """A number that is not there, or was taken back before."""
    event = write_event(folder, Note("a"), now)
    write_event(folder, TakenBack(event.id), now)
    for number in (event.id, 99):
        with pytest.raises(CaseError, match=f"no event {number}"):
            write_event(folder, TakenBack(number), now)


def test_screenings_are_numbered_and_never_overwritten(folder, now):
    """A number left by a write that was cut short is passed over."""
    (folder / "screenings" / "0003.json").write_text("{}")
    event = write_screening(folder, '{"verdict": "suspects"}', ScreeningMade("suspects"), now)
    assert event.data.answer == "screenings/0004.json"
    assert (folder / event.data.answer).read_text() == '{"verdict": "suspects"}'


def test_a_real_screening_is_kept_with_what_it_said(folder, now):
    """P(faulty) of every part as answered, and the recording it rests on."""
    clip = LAYOUT.parents[1] / "rear_six_pump_1900.opus"
    recording = read_recording(clip)
    screening = screen([recording], read_case(folder).drive)
    event = write_screening(folder, "{}", screening_made(screening), now)
    (kept,) = read_case(folder).events
    assert kept == event
    assert kept.data.recordings == (hashlib.sha256(clip.read_bytes()).hexdigest(),)
    assert kept.data.faulty == pytest.approx(
        {one.part: one.probability for one in screening.suspects}, abs=1e-6
    )


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [("words.wav", b"only words", "text file"), ("empty.wav", b"", "0 bytes")],
)
def test_what_is_no_sound_is_refused(folder, tmp_path, now, name, content, said):
    """Before anything is stored."""
    (tmp_path / name).write_bytes(content)
    with pytest.raises(CaseError, match=said):
        write_recording(folder, tmp_path / name, Taken(), now)
    assert stored(folder) == []


def test_a_clip_that_changes_while_it_is_copied_is_refused(folder, clip, now, monkeypatch):
    """As when it is still arriving from the phone."""
    monkeypatch.setattr("acoustic.casework.case_writes.read_digest", lambda _: "0" * 64)
    with pytest.raises(CaseError, match="changed while it was copied"):
        write_recording(folder, clip("one.wav"), Taken(), now)
    assert stored(folder) == []
    assert read_case(folder).events == ()


def test_an_event_that_could_not_be_written_whole_is_taken_off_again(folder, now, monkeypatch):
    """The disk is full after ten bytes: the history is as it was."""
    write_event(folder, Note("a"), now)
    before = (folder / "history.jsonl").read_bytes()
    write = os.write
    calls = []

    def full(handle, content):
        calls.append(handle)
        if len(calls) > 1:
            raise OSError(28, "No space left on device")
        return write(handle, bytes(content[:10]))

    monkeypatch.setattr(lasting_files.os, "write", full)
    with pytest.raises(CaseError, match="No space left"):
        write_event(folder, Note("b"), now)
    assert (folder / "history.jsonl").read_bytes() == before


def test_an_event_after_a_torn_line_stands_on_its_own_line(folder, now):
    """It does not grow onto what a power cut left."""
    write_event(folder, Note("a"), now)
    with (folder / "history.jsonl").open("ab") as file:
        file.write(b'{"schema": "case-ev')
    assert "breaks off" in read_case(folder).remarks[0]
    write_event(folder, Note("b"), now)
    assert [event.data for event in read_case(folder).events] == [Note("a"), Note("b")]


def test_a_folder_can_be_moved_and_copied(folder, clip, now, tmp_path):
    """No file in it names a place."""
    write_recording(folder, clip("one.wav"), Taken("alternator"), now)
    shutil.copytree(folder, tmp_path / "far" / "away")
    folder.rename(tmp_path / "moved")
    for place in (tmp_path / "far" / "away", tmp_path / "moved"):
        case = read_case(place)
        assert case.remarks == ()
        assert case.recordings[0].path.parent.parent == place
        text = "".join(p.read_text() for p in place.glob("*.[tj]*"))
        assert str(tmp_path) not in text


def test_two_that_write_at_once_lose_nothing(folder, now):
    """Four processes of ten notes each: forty events, forty numbers."""
    children = []
    for writer in range(4):
        child = os.fork()
        if child == 0:
            for number in range(10):
                write_event(folder, Note(f"{writer} {number}"), now)
            os._exit(0)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0, 0, 0]
    events = read_case(folder).events
    assert {event.id for event in events} == set(range(1, 41))
    assert {event.data.text for event in events} == {
        f"{w} {n}" for w in range(4) for n in range(10)
    }


def _with_another_layout(folder, now, old="access_hours = 4.5", new="access_hours = 5.5"):
    """Change one word of the case's layout; give the note and the text."""
    held = (folder / "layout.toml").read_bytes()
    text = held.decode().replace(old, new)
    return write_layout(folder, text, layout_digest(held), now), text


def test_a_changed_layout_is_noted_once_something_rests_on_it(folder, now):
    """Before a screening it is just written; after one the history says what came and went."""
    event, text = _with_another_layout(folder, now)
    assert event is None
    assert (folder / "layout.toml").read_text("utf-8") == text
    assert read_case(folder).events == ()
    write_screening(folder, "{}", ScreeningMade("nothing_found"), now)
    event, text = _with_another_layout(folder, now, "guide idler", "idler")
    assert isinstance(event.data, Note)
    assert "new: idler; gone: guide idler" in event.data.text
    assert read_case(folder).events[-1] == event


def test_the_same_layout_again_changes_nothing(folder, now):
    """No note, although something rests on it."""
    write_screening(folder, "{}", ScreeningMade("nothing_found"), now)
    event, _ = _with_another_layout(folder, now, "x" * 99, "")
    assert event is None
    assert len(read_case(folder).events) == 1


def test_a_layout_is_not_written_over_another_s_change(folder, now):
    """Nor a faulty one: what was there stays, and the history too."""
    held = (folder / "layout.toml").read_bytes()
    write_screening(folder, "{}", ScreeningMade("nothing_found"), now)
    with pytest.raises(CaseError, match="changed by somebody else"):
        write_layout(folder, held.decode() + "# mine", layout_digest(b"as it was"), now)
    with pytest.raises(DriveError):
        write_layout(folder, held.decode() + "x = 1", layout_digest(held), now)
    assert (folder / "layout.toml").read_bytes() == held
    assert len(read_case(folder).events) == 1
