"""Customers' links: what opens, what does not, and what is never kept."""

import math
import re
import shutil
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest

from acoustic.casework.case_folder import read_case, read_history
from acoustic.casework.case_mail import write_opened_case, write_packed_case
from acoustic.casework.case_writes import write_event, write_new_case, write_recording
from acoustic.casework.customer_links import (
    LONGEST_DAYS,
    LinkWish,
    answer_for,
    days_from,
    read_link,
    read_links,
    write_link,
    write_shown_answer,
    write_withdrawn,
)
from acoustic.casework.history import AnswerShown, LinkMade, Note, Opinion, TakenBack
from acoustic.errors import CaseError
from acoustic.recording.taken import Taken

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "rear_six.toml"
DAY = timedelta(days=1)
PAGE = b"<!doctype html>\n<p>Report</p>"


@pytest.fixture
def made(folder, now):
    """Give the secret and the number of a link that holds a day."""
    secret, event = write_link(folder, LinkWish(now + DAY, "Ms Reader"), now)
    return secret, event.id


def state(folder, secret, now):
    """Say how it stands with the link of a secret."""
    found = read_link(folder.parent, secret)
    return found and found.link.state(now)


def test_a_secret_cannot_be_guessed_and_is_kept_nowhere(folder, now):
    """43 signs of 64 kinds are 258 bits; no file of the case holds one."""
    made = [write_link(folder, LinkWish(now + DAY), now)[0] for _ in range(50)]
    assert len(set(made)) == 50
    assert {len(secret) for secret in made} == {43}
    assert math.log2(64**43) >= 128
    assert len(set("".join(made))) >= 60  # of the 64 signs; 2150 drawn
    kept = b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())
    names = "".join(path.name for path in folder.rglob("*"))
    assert not any(secret.encode() in kept or secret in names for secret in made)


def test_a_link_opens_its_own_case_until_its_end(folder, made, now, case_file):
    """To the second; another case beside it is not found by it."""
    write_new_case(folder.parent / "other", case_file, LAYOUT)
    secret, number = made
    found = read_link(folder.parent, secret)
    assert (found.folder, found.link.number, found.link.asked.label) == (
        folder, number, "Ms Reader",
    )  # fmt: skip
    assert state(folder, secret, now + DAY - timedelta(seconds=1)) == "open"
    assert state(folder, secret, now + DAY) == "expired"


@pytest.mark.parametrize(
    "typed", ["", "x", "A" * 43, "../" * 15, "%00" + "A" * 40, "é" * 43, "A" * 42 + "\n"]
)
def test_another_secret_opens_nothing(folder, made, typed):
    """Short, wrong, with signs that mean something to a disk."""
    assert read_link(folder.parent, typed) is None


def test_a_withdrawn_link_is_closed_at_once_and_for_good(folder, made, now):
    """The history says so; a second time is told; nothing opens it again."""
    secret, number = made
    write_withdrawn(folder, number, "lost phone", now)
    assert state(folder, secret, now) == "withdrawn"
    events = read_history(folder).events
    assert isinstance(events[0].data, LinkMade)
    assert events[1].data == TakenBack(number, "lost phone")
    with pytest.raises(CaseError, match="withdrawn before"):
        write_withdrawn(folder, number, "", now)
    with pytest.raises(CaseError, match="no event 2"):
        write_event(folder, TakenBack(2), now)


def test_undo_ends_a_link_too(folder, made, now):
    """Taking back its event is the same."""
    secret, number = made
    write_event(folder, TakenBack(number), now)
    assert state(folder, secret, now) == "withdrawn"


def test_only_a_link_can_be_withdrawn(folder, made, now):
    """A note is none; the known numbers are named."""
    note = write_event(folder, Note("a"), now)
    with pytest.raises(CaseError, match=rf"no link with the number {note.id}. Its links are 1."):
        write_withdrawn(folder, note.id, "", now)


def test_a_cut_between_file_and_event_opens_nothing(folder, made, now):
    """The file is first: without its line in the history it is as if it were not there."""
    secret, _ = made
    (folder / "history.jsonl").write_bytes(b"")
    assert state(folder, secret, now) is None
    assert read_links(folder) == ()


def test_a_link_does_not_go_along_by_mail(folder, made, now, clip):
    """Packed and opened elsewhere the case tells of the link, and the link opens nothing."""
    write_recording(folder, clip("a.wav"), Taken(), now)
    _, left_out = write_packed_case(folder, folder.parent / "bus.zip", now)
    assert left_out == []
    desk = folder.parent / "desk" / "bus"
    write_opened_case(folder.parent / "bus.zip", desk)
    assert not (desk / "links").exists()
    (link,) = read_links(desk)
    assert link.state(now) == "elsewhere"
    assert read_link(desk.parent, made[0]) is None
    assert state(folder, made[0], now) == "open"


def test_no_link_comes_in_with_a_pack(folder, made, now, clip):
    """Its file put into a pack by hand is left out."""
    write_recording(folder, clip("a.wav"), Taken(), now)
    write_packed_case(folder, folder.parent / "bus.zip", now)
    (file,) = (folder / "links").glob("*.json")
    with zipfile.ZipFile(folder.parent / "bus.zip", "a") as archive:
        archive.write(file, f"links/{file.name}")
    opened = write_opened_case(folder.parent / "bus.zip", folder.parent / "desk" / "bus")
    assert f"Left out, as a case has no such files: links/{file.name}." in opened.contents
    assert read_link(folder.parent / "desk", made[0]) is None


def test_two_folders_that_hold_a_link_open_neither(folder, made, now):
    """A copy beside the case could be the one whose link was withdrawn."""
    shutil.copytree(folder, folder.parent / "copy")
    assert state(folder, made[0], now) is None


def test_a_damaged_file_opens_nothing(folder, made, now):
    """Whatever stands in it."""
    (file,) = (folder / "links").glob("*.json")
    for content in (b"", b"{", b"[]", b'{"schema": "case-link/1", "link": "../../case"}'):
        file.write_bytes(content)
        assert state(folder, made[0], now) is None
        assert [link.state(now) for link in read_links(folder)] == ["elsewhere"]


@pytest.mark.parametrize("days", [0, -1, LONGEST_DAYS + 0.01, math.nan, math.inf])
def test_a_link_ends_within_bounds(folder, now, days):
    """Not at once, not after a year."""
    with pytest.raises(CaseError, match="A link cannot hold"):
        days_from(now, days)
    assert days_from(now, LONGEST_DAYS) == now + LONGEST_DAYS * DAY
    with pytest.raises(CaseError, match="A link cannot hold"):
        write_link(folder, LinkWish(now + 91 * DAY), now)
    assert not (folder / "links").exists()


def test_an_answer_is_shown_once_it_is_released_and_until_it_is_hidden(folder, made, now, tmp_path):
    """Nothing before; opinion and report as they were; nothing after either is taken back."""
    _, number = made
    name = read_links(folder)[0].asked.link
    opinion = write_event(folder, Opinion("Ada", "The idler."), now)
    assert answer_for(folder, read_history(folder), name) is None
    write_shown_answer(folder, number, (opinion.id, None), "Ada", now)
    answer = answer_for(folder, read_history(folder), name)
    assert (answer.opinion.text, answer.report) == ("The idler.", None)
    (tmp_path / "report.html").write_bytes(PAGE)
    shown = write_shown_answer(folder, number, (opinion.id, tmp_path / "report.html"), "", now)
    (tmp_path / "report.html").write_bytes(PAGE + b"later")
    answer = answer_for(folder, read_history(folder), name)
    assert answer.report.read_bytes() == PAGE
    assert answer_for(folder, read_history(folder), "0" * 16) is None
    write_event(folder, TakenBack(shown.id), now)
    assert answer_for(folder, read_history(folder), name).report is None
    write_event(folder, TakenBack(opinion.id), now)
    assert answer_for(folder, read_history(folder), name) is None
    assert read_case(folder).remarks == ()


def test_what_cannot_be_shown_is_refused(folder, made, now, tmp_path):
    """No opinion, no report, a link that is over."""
    _, number = made
    (tmp_path / "report.html").write_bytes(b"no page")
    with pytest.raises(CaseError, match="1 is no opinion"):
        write_shown_answer(folder, number, (number, None), "", now)
    opinion = write_event(folder, Opinion("Ada", "The idler."), now).id
    with pytest.raises(CaseError, match="is no report"):
        write_shown_answer(folder, number, (opinion, tmp_path / "report.html"), "", now)
    with pytest.raises(CaseError, match="is expired"):
        write_shown_answer(folder, number, (opinion, None), "", now + 2 * DAY)


def test_the_answer_of_a_forged_history_leads_nowhere(folder, made, now):
    """A report named outside the folder of links is not served."""
    name = read_links(folder)[0].asked.link
    opinion = write_event(folder, Opinion("Ada", "The idler."), now).id
    for place in ("case.toml", "../bus/case.toml", "links/../case.toml", f"links/{name}.jsonl"):
        write_event(folder, AnswerShown(name, opinion, place), now)
        assert answer_for(folder, read_history(folder), name).report is None


def test_files_are_named_so_that_nothing_can_be_read_off_them(folder, made):
    """64 hex digits: the SHA-256 of the secret."""
    (file,) = (folder / "links").iterdir()
    assert re.fullmatch(r"[0-9a-f]{64}\.json", file.name)
