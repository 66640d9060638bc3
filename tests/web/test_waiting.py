"""Clips that wait: on the disk before anybody is told so, once each, under safe names."""

import io
from datetime import UTC, datetime

import pytest

from acoustic.errors import CaseError
from acoustic.recording.taken import Taken
from acoustic.web.waiting import (
    ClipAsked,
    read_refused,
    read_waiting,
    safe_name,
    write_done,
    write_refused,
    write_seen,
    write_waiting,
)

NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


def asked(name="idler.m4a", **said):
    """Give what comes with a clip."""
    return ClipAsked(name, Taken(**said), NOW)


def test_a_clip_that_waits_is_found_again_as_it_came(tmp_path):
    """Sound, name and how it was taken, from the disk alone."""
    kept = write_waiting(tmp_path, io.BytesIO(b"sound"), asked(point="idler", loads=("lights",)))
    (again,) = read_waiting(tmp_path)
    assert again == kept
    assert again.path.read_bytes() == b"sound"
    assert again.asked.taken == Taken(point="idler", loads=("lights",))


def test_the_same_clip_sent_twice_waits_once(tmp_path):
    """The first answer may have been lost on the way."""
    first = write_waiting(tmp_path, io.BytesIO(b"sound"), asked())
    second = write_waiting(tmp_path, io.BytesIO(b"sound"), asked())
    assert first.id == second.id
    assert len(read_waiting(tmp_path)) == 1


def test_what_a_cut_left_half_kept_does_not_wait(tmp_path):
    """Nobody was told of it: a folder without its note, a temporary one, a torn note."""
    write_waiting(tmp_path, io.BytesIO(b"sound"), asked())
    place = tmp_path / ".page" / "waiting"
    (place / ".incoming-x").mkdir()
    (place / "0000000000000000").mkdir()
    (place / "1111111111111111").mkdir()
    (place / "1111111111111111" / "asked.json").write_text('{"original": "a.m4a", "tak')
    assert len(read_waiting(tmp_path)) == 1


def test_an_empty_file_is_refused_and_leaves_nothing(tmp_path):
    """A phone that was out of room sends such."""
    with pytest.raises(CaseError, match="empty"):
        write_waiting(tmp_path, io.BytesIO(b""), asked())
    assert list((tmp_path / ".page" / "waiting").iterdir()) == []


def test_so_many_wait_and_no_more(tmp_path, monkeypatch):
    """Nobody fills the disk of the workshop from a phone."""
    monkeypatch.setattr("acoustic.web.waiting._MOST_WAITING", 2)
    for sound in (b"a", b"b"):
        write_waiting(tmp_path, io.BytesIO(sound), asked())
    with pytest.raises(CaseError, match="2 recordings of this case wait"):
        write_waiting(tmp_path, io.BytesIO(b"c"), asked())


def test_a_refused_clip_is_told_until_it_is_read_or_sent_again(tmp_path):
    """With why; the sound itself is let go."""
    clip = write_waiting(tmp_path, io.BytesIO(b"no sound"), asked())
    write_refused(tmp_path, clip, "It is text.", NOW)
    assert read_waiting(tmp_path) == ()
    assert [(one.original, one.why) for one in read_refused(tmp_path)] == [
        ("idler.m4a", "It is text.")
    ]
    write_done(write_waiting(tmp_path, io.BytesIO(b"no sound"), asked()))
    assert read_refused(tmp_path) == ()
    write_refused(tmp_path, clip, "It is text.", NOW)
    write_seen(tmp_path)
    assert read_refused(tmp_path) == ()


@pytest.mark.parametrize(
    ("came", "kept"),
    [
        ("idler 800rpm.m4a", "idler 800rpm.m4a"),
        ("../../etc/passwd", "passwd"),
        ("D:\\sounds\\clip.wav", "clip.wav"),
        (".htaccess", "htaccess"),
        ("..", "recording"),
        ("", "recording"),
        ("a\x00b\r\nc.m4a", "abc.m4a"),
        ("\u202ea4m.exe", "a4m.exe"),
        ('<img src="x">.m4a', "img src=x.m4a"),
        ("Spannrolle_über.m4a", "Spannrolle_über.m4a"),
    ],
)
def test_a_name_is_cut_down_to_what_cannot_harm(came, kept):
    """No folder, no control sign, none that turns the writing; letters of any language stay."""
    assert safe_name(came) == kept


def test_a_name_of_any_length_fits_a_disk():
    """255 bytes are what disks take for a name; the ending stays."""
    name = safe_name("ü" * 400 + ".m4a")
    assert len(name.encode()) < 200
    assert name.endswith(".m4a")
