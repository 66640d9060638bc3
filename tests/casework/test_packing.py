"""What may be in a packed file, judged from names, lists and bytes alone."""

import hashlib
import re
from datetime import UTC, datetime
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.casework.packing import (
    CASE_LIMITS,
    Counted,
    Manifest,
    PackedFile,
    PackLimits,
    allowed_in,
    count_alike,
    kind_of,
    line_digests,
    name_fault,
    parse_manifest,
    render_manifest,
    require_bearable,
    require_plain_end,
    require_safe_names,
    shown,
    sort_key,
)
from acoustic.errors import CaseError

SHA = hashlib.sha256(b"x").hexdigest()


def manifest(*files, **changed):
    """Give a manifest of these files, (name, bytes) each."""
    packed = tuple(PackedFile(name=name, size_bytes=size, sha256=SHA) for name, size in files)
    values = {"what": "case", "title": "Bus 2", "packed": datetime(2026, 11, 25, tzinfo=UTC)}
    return Manifest(**{**values, "version": "0.1.0", "files": packed, **changed})


@pytest.mark.parametrize(
    "name",
    [
        "../case.toml", "a/../../b.toml", "..", "/case.toml", "\\case.toml", "C:case.toml",
        "c:/case.toml", "\\\\server\\share\\x", "recordings\\..\\..\\x", "recordings//x.m4a",
        "./case.toml", "", "nul", "recordings/CON.m4a", "lpt1.toml", "COM¹.toml",
        "aux .toml", "case.toml ", "case.toml.", "case.toml:stream", "a\0.toml", "a\n.toml",
        "a\x1b[2J.toml", "a\u202emlot.toml", "x" * 201 + ".toml", "a*.toml", "\ud800.toml",
    ],
)  # fmt: skip
def test_a_name_that_is_no_plain_name_is_refused(name):
    """Ways out, roots, drives, devices (Microsoft, "Naming Files"), signs nobody can see."""
    assert name_fault(name)
    with pytest.raises(CaseError, match="Nothing was unpacked"):
        require_safe_names([name])


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("case.toml", "case file"), ("history.jsonl", "history"), ("Große Linie.toml", "layout"),
        ("recordings/0123456789abcdef.m4a", "recording"), ("screenings/0001.json", "screening"),
        ("answer.jsonl", "answer"), ("recordings/0123456789abcdef.exe", ""),
        ("recordings/idler.m4a", ""), ("deep/case.toml", ""), (".hidden.toml", ""),
        ("run.sh", ""), ("received.json", ""), ("screenings/0001.html", ""),
    ],
)  # fmt: skip
def test_only_the_files_of_a_case_are_known(name, kind):
    """Each by its place, name and ending; everything else is unknown."""
    assert kind_of(name) == kind
    assert not name_fault(name)
    assert allowed_in("case", name) == (kind not in {"", "answer"})


@given(st.text(alphabet=st.sampled_from("ab.:/\\ ~\0\nC1conulpt¹"), max_size=12))
def test_a_name_let_through_stays_inside_on_every_system(name):
    """Judged by Python's own path rules for Windows and others, whatever the name."""
    if name_fault(name):
        return
    windows, other = PureWindowsPath("D:/cases") / name, PurePosixPath("/cases") / name
    assert windows.parts[:2] == ("D:\\", "cases")
    assert other.parts[:2] == ("/", "cases")
    assert ".." not in windows.parts and ".." not in other.parts
    assert not any(PureWindowsPath(part).is_reserved() for part in name.split("/"))
    assert len(windows.parts) == len(other.parts) == 2 + len(name.split("/"))


@pytest.mark.parametrize(
    "pair",
    [
        ("case.toml", "case.toml"), ("case.toml", "CASE.TOML"), ("straße.toml", "STRASSE.toml"),
        ("größe.toml", "gro\u0308ße.toml"), ("recordings/a", "Recordings/A"), ("a.toml", "a.toml/"),
    ],
)  # fmt: skip
def test_two_names_that_some_system_takes_for_one_are_refused(pair):
    """Twice, in capitals, in another composition of the same letters, as file and folder."""
    require_safe_names([pair[0], "other.toml"])
    with pytest.raises(CaseError, match="one and the same file"):
        require_safe_names(pair)


def test_a_manifest_survives_its_text_and_later_keys_do_not():
    """Back from its own text; a strange schema says that it may be a later version's."""
    made = manifest(("case.toml", 3), by="Ada", what="answer", events=(SHA,))
    assert parse_manifest(render_manifest(made)) == made
    with pytest.raises(CaseError, match=r"schema.* later version"):
        parse_manifest(render_manifest(made).replace(b"case-pack/1", b"case-pack/2"))
    for raw in (b"", b"[]", b"{}", b"\xff", b"[" * 100_000, b'{"files": 1}'):
        with pytest.raises(CaseError, match=r"manifest\.json cannot be read"):
            parse_manifest(raw)


def test_what_is_too_much_is_refused_before_it_is_unpacked():
    """Count, one text, one sound and all together, each just above what is allowed."""
    sound = "recordings/0123456789abcdef.m4a"
    require_bearable(manifest((sound, CASE_LIMITS.file_bytes)), CASE_LIMITS)
    many = [(f"screenings/{n:04d}.json", 1) for n in range(CASE_LIMITS.files)]
    several = [(sound.replace("0", str(n)), CASE_LIMITS.file_bytes) for n in range(4)]
    for files in (
        [(sound, CASE_LIMITS.file_bytes + 1)],
        [("history.jsonl", CASE_LIMITS.text_bytes + 1)],
        many,
        several,
    ):
        with pytest.raises(CaseError, match="more than"):
            require_bearable(manifest(*files), CASE_LIMITS)
    with pytest.raises(CaseError, match="one and the same"):
        require_bearable(manifest(("Manifest.json", 1)), CASE_LIMITS)


def test_a_file_is_counted_and_not_believed():
    """Stopped at the first byte above what is promised, or above 100 times its packed size."""
    limits = PackLimits(ratio=100.0, free_bytes=1000)
    promised = PackedFile(name="case.toml", size_bytes=1, sha256=SHA)
    fine = Counted(promised, 1, limits)
    assert fine.take(b"x") == b"x"
    fine.require_all()
    with pytest.raises(CaseError, match="unpacks to more"):
        Counted(promised, 1, limits).take(b"xy")
    large = PackedFile(name="case.toml", size_bytes=10**9, sha256=SHA)
    counted = Counted(large, 10, limits)
    counted.take(b"x" * 2000)
    with pytest.raises(CaseError, match="unpacks to more"):
        counted.take(b"x")
    for content in (b"", b"y"):
        with pytest.raises(CaseError, match="damaged or changed"):
            taken = Counted(promised, 1, limits)
            taken.take(content)
            taken.require_all()


def test_a_recording_must_be_sound_by_its_name_and_content():
    """Named by its digest, and no text."""
    named = f"recordings/{SHA[:16]}.m4a"
    right = Counted(PackedFile(name=named, size_bytes=1, sha256=SHA), 1, CASE_LIMITS)
    right.take(b"x")
    right.require_all()
    other = PackedFile(name="recordings/0123456789abcdef.m4a", size_bytes=1, sha256=SHA)
    counted = Counted(other, 1, CASE_LIMITS)
    counted.take(b"x")
    with pytest.raises(CaseError, match="not named by its content"):
        counted.require_all()
    with pytest.raises(CaseError, match="is a text"):
        Counted(other, 99, CASE_LIMITS).take(b"echo hello")


@given(st.binary(max_size=60))
def test_no_end_of_a_file_raises_anything_but_a_plain_sentence(end):
    """Random ends, with and without the mark of a zip."""
    for tail in (end, b"PK\x05\x06" + end[:18].ljust(18, b"\0")):
        try:
            require_plain_end(tail, len(tail), CASE_LIMITS)
        except CaseError as error:
            assert re.search(r"\.$", str(error))


def test_events_are_known_by_their_digests_in_order():
    """What is added changes no earlier digest; the first that differs ends what is alike."""
    first = line_digests(b"one\ntwo\n")
    assert first == tuple(hashlib.sha256(t).hexdigest() for t in (b"one", b"two"))
    longer = line_digests(b"one\ntwo\n\nthree\n")
    assert longer[:2] == first
    assert [count_alike(first, other) for other in (longer, first, (), ("x", first[1]))] == [
        2, 2, 0, 0,
    ]  # fmt: skip


def test_what_is_printed_steers_no_terminal():
    """Escape, bell, line ends and signs that turn the text around."""
    assert shown("a\x1b[31m\x07\r\nb\u202ec") == "a\ufffd[31m\ufffd  b\ufffdc"
    assert shown("größer, 轰") == "größer, 轰"


def test_the_order_is_fixed():
    """What is needed to judge the rest stands first."""
    order = [
        "case.toml", "history.jsonl", "answer.jsonl", "b.toml", "recordings/0123456789abcdef.m4a",
        "recordings/1123456789abcdef.m4a", "screenings/0001.json",
    ]  # fmt: skip
    assert sorted([*order[3:], *order[:3]], key=sort_key) == order
