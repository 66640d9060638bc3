"""Packed files made by hand to do harm: each is refused, and nothing is left behind."""

import hashlib
import io
import json
import stat
import struct
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustic.casework.case_file import render_case_file
from acoustic.casework.case_mail import write_merged, write_opened_case
from acoustic.casework.case_writes import write_event
from acoustic.casework.history import Event, Note, Opinion, Outcome, ScreeningMade, render_event
from acoustic.errors import AcousticError, CaseError

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "rear_six.toml"


@pytest.fixture
def whole(case_file, now):
    """Give the files of a case that is as it should be."""
    sound = b"RIFF" + b"a" * 500
    return {
        "case.toml": render_case_file(case_file).encode(),
        "history.jsonl": render_event(Event(1, now, Note("first"))),
        "layout.toml": LAYOUT.read_bytes(),
        f"recordings/{hashlib.sha256(sound).hexdigest()[:16]}.wav": sound,
    }


@pytest.fixture
def refused(tmp_path):
    """Give a function that opens bytes as a case: they must be refused, without a trace."""

    def check(raw, match, merge_into=None):
        pack, outside = tmp_path / "in" / "came.zip", tmp_path / "outside.txt"
        pack.parent.mkdir(exist_ok=True)
        pack.write_bytes(raw)
        outside.write_text("mine")
        before = sorted(tmp_path.rglob("*"))
        with pytest.raises(CaseError, match=match) as told:
            write_opened_case(pack, tmp_path / "desk")
        assert str(told.value).startswith("came.zip: ")
        assert sorted(tmp_path.rglob("*")) == before
        assert outside.read_text() == "mine"

    return check


def promise(files, **changed):
    """Give the bytes of a manifest that says the truth about these files, but for `changed`."""
    rows = [
        {"name": name, "size_bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in files.items()
    ]
    values = {
        "schema": "case-pack/1", "what": "case", "title": "Bus 2",
        "packed": "2026-11-25T09:30:00Z", "version": "0.1.0", "files": rows,
    }  # fmt: skip
    return json.dumps({**values, **changed}).encode()


def pack_of(files, manifest=None, more=(), method=zipfile.ZIP_DEFLATED):
    """Give the bytes of a zip of these files; `more` are (name or ZipInfo, bytes)."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", method) as archive:
        archive.writestr("manifest.json", promise(files) if manifest is None else manifest)
        for name, data in [*files.items(), *more]:
            archive.writestr(name, data)
    return made.getvalue()


def in_the_list(raw, name, offset, form, value):
    """Change a figure in the zip's list of entries: `offset` from the start of one's row."""
    at = raw.index(b"PK\x01\x02")
    while raw[at + 46 : at + 46 + len(name)] != name.encode():
        at = raw.index(b"PK\x01\x02", at + 1)
    size = struct.calcsize(form)
    return raw[: at + offset] + struct.pack(form, value) + raw[at + offset + size :]


PACKED_SIZE, SIZE, FLAGS, METHOD, START = 20, 24, 8, 10, 42
"""Where they stand in a row of the list (APPNOTE 6.3.10, 4.3.12)."""


def test_an_honest_pack_by_hand_is_opened(whole, tmp_path):
    """What all the others are changed from; also as an ordinary zip program packs it."""
    (tmp_path / "a.zip").write_bytes(pack_of(whole))
    assert write_opened_case(tmp_path / "a.zip", tmp_path / "a").unpacked
    extra = [("recordings/", b""), ("notes/bill.pdf", b"%PDF"), ("spare.toml", b"x = 1")]
    (tmp_path / "b.zip").write_bytes(pack_of(whole, more=extra))
    opened = write_opened_case(tmp_path / "b.zip", tmp_path / "b")
    assert "Left out, as a case has no such files: notes/bill.pdf, spare.toml." in opened.contents
    assert not (tmp_path / "b" / "spare.toml").exists()


def test_a_known_name_the_case_does_not_use_is_left_out(whole, tmp_path):
    """A second layout and a runnable, promised honestly, are not kept."""
    files = {**whole, "second.toml": b"x = 1", "run.exe": b"MZ"}
    (tmp_path / "a.zip").write_bytes(pack_of(files))
    opened = write_opened_case(tmp_path / "a.zip", tmp_path / "a")
    assert "Left out, as a case has no such files: run.exe, second.toml." in opened.contents
    assert not (tmp_path / "a" / "second.toml").exists()
    assert not (tmp_path / "a" / "run.exe").exists()


@pytest.mark.parametrize(
    "name",
    ["../outside.txt", "recordings/../../outside.txt", "/outside.txt", "C:\\outside.txt",
     "..\\outside.txt", "recordings/nul", "COM1.toml"],
)  # fmt: skip
@pytest.mark.parametrize("promised", [True, False])
def test_no_name_leads_outside(whole, refused, name, promised):
    """Whether the manifest names it too or not."""
    if promised:
        refused(pack_of({**whole, name: b"gotcha"}), "Nothing was unpacked")
    else:
        refused(pack_of(whole, more=[(name, b"gotcha")]), "Nothing was unpacked")
    refused(pack_of(whole, promise({**whole, name: b"gotcha"})), "Nothing was unpacked|missing")


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO, stat.S_IFDIR])
def test_links_and_devices_are_refused(whole, refused, kind):
    """By what the list says of their kind, whatever they are named."""
    link = zipfile.ZipInfo("layout.toml")
    link.create_system, link.external_attr = 3, (kind | 0o777) << 16
    target = b"/etc/passwd"
    files = {name: data for name, data in whole.items() if name != "layout.toml"}
    manifest = promise({**files, "layout.toml": target})
    refused(pack_of(files, manifest, [(link, target)]), "is a link or a device")


def test_two_files_of_one_name_are_refused(whole, refused):
    """The same name, and one that differs by capitals only."""
    with pytest.warns(UserWarning, match="Duplicate name"):
        twice = pack_of(whole, more=[("case.toml", b"title = 'other'")])
    refused(twice, "one and the same file")
    refused(pack_of(whole, more=[("CASE.toml", b"title = 'other'")]), "one and the same file")


def test_a_bomb_by_ratio_is_stopped_while_it_unpacks(whole, refused):
    """5 MB of nothing in 5 kB, promised honestly."""
    bomb = b"RIFF" + bytes(5_000_000)
    name = f"recordings/{hashlib.sha256(bomb).hexdigest()[:16]}.wav"
    raw = pack_of({**whole, name: bomb})
    assert len(raw) < 20_000
    refused(raw, "unpacks to more than it says")


def test_a_lying_size_helps_nobody(whole, refused):
    """Promised small, listed small, listed large, listed beyond the file."""
    bomb = bytes(5_000_000)
    lie = promise({**whole, "history.jsonl": b"x"})
    raw = pack_of({**whole, "history.jsonl": bomb}, lie)
    refused(raw, "unpacks to more than it says")
    refused(in_the_list(raw, "history.jsonl", SIZE, "<I", 1), "is damaged")
    refused(in_the_list(raw, "history.jsonl", SIZE, "<I", 2**32 - 2), "unpacks to more")
    refused(in_the_list(raw, "history.jsonl", PACKED_SIZE, "<I", 2**31), "lie over each other")
    huge = json.loads(promise(whole))
    huge["files"][1]["size_bytes"] = 10**12
    refused(pack_of(whole, json.dumps(huge)), "more than 16.0 MB")


def test_a_bomb_in_the_manifest_takes_no_memory(whole, refused):
    """100 MB of blanks before it: given up after 4 MB, measured."""
    raw = pack_of(whole, b" " * 100_000_000 + promise(whole))
    tracemalloc.start()
    refused(raw, "larger than 4 MB")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20_000_000


def test_files_that_lie_over_each_other_are_refused(whole, refused):
    """CPython's own example of a full overlap, and one made of a good pack.

    The bytes are those of ``test_full_overlap`` in CPython's Lib/test/test_zipfile.py
    (pull request 113914).
    """
    row = (
        b"PK\x01\x02\x14\x00\x14\x00\x00\x00\x08\x00\xa0lH\x05\xe2\x1e8\xbb\x10\x00\x00\x00\t\x04"
        b"\x00\x00\x01\x00" + bytes(16)
    )
    theirs = (
        b"PK\x03\x04\x14\x00\x00\x00\x08\x00\xa0lH\x05\xe2\x1e8\xbb\x10\x00\x00\x00\t\x04\x00\x00"
        b"\x01\x00\x00\x00a\xed\xc0\x81\x08\x00\x00\x00\xc00\xd6\xfbK\\d\x0b`"
        + row + b"a" + row + b"b"
        + b"PK\x05\x06\x00\x00\x00\x00\x02\x00\x02\x00^\x00\x00\x00/\x00\x00\x00\x00\x00"
    )  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(theirs)) as archive:
        assert [info.header_offset for info in archive.infolist()] == [0, 0]
    refused(theirs, "lie over each other")
    refused(in_the_list(pack_of(whole), "layout.toml", START, "<I", 40), "lie over each other")


def test_ten_thousand_files_are_refused(whole, refused):
    """Also where the count at the end lies, and where a 64-bit count stands beside it."""
    raw = pack_of(whole, more=[(f"x{n}", b"") for n in range(10_000)], method=zipfile.ZIP_STORED)
    refused(raw, "files or more")
    refused(raw[:-14] + struct.pack("<HH", 5, 5) + raw[-10:], "files or more")
    good = pack_of(whole)
    locator = b"PK\x06\x07" + bytes(16)
    refused(good[:-22] + locator + good[-22:], "more than its list")


def test_what_was_damaged_on_the_way_is_refused(whole, refused):
    """One byte of a file, a missing file, a wrong digest."""
    raw = pack_of(whole, method=zipfile.ZIP_STORED)
    at = raw.index(b"aaaa")
    refused(raw[:at] + b"b" + raw[at + 1 :], "is damaged|is not what the manifest says")
    refused(pack_of(whole, promise({**whole, "case.toml": b"title = 1"})), "unpacks to more")
    same_size = {**whole, "case.toml": whole["case.toml"].replace(b"growls", b"whines")}
    refused(pack_of(same_size, promise(whole)), "is not what the manifest says")
    less = {name: data for name, data in whole.items() if name != "history.jsonl"}
    refused(pack_of(less, promise(whole)), r"'history.jsonl' is missing")
    refused(pack_of(less), r"no history\.jsonl in it")


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.999])
def test_a_pack_cut_short_is_refused(whole, refused, share):
    """From nothing at all to all but the last bytes."""
    raw = pack_of(whole)
    refused(raw[: int(share * len(raw))], "is no packed case, or breaks off")


def test_what_is_no_plain_zip_is_refused(whole, refused):
    """Text, sound, something before, something behind, a remark, a password, another method."""
    raw = pack_of(whole)
    for other in (b"Dear Sir,\n", b"RIFF" + bytes(5000), raw + b"#!/bin/sh\n"):
        refused(other, "is no packed case")
    refused(b"#!/bin/sh\n" + raw, "more than its list")
    refused(raw[:-2] + b"\x04\x00zip!", "is no packed case")
    refused(in_the_list(raw, "case.toml", FLAGS, "<H", 1), "password")
    refused(in_the_list(raw, "case.toml", METHOD, "<H", 12), "compressed in a way")
    refused(pack_of(whole, b"{}"), r"manifest\.json cannot be read")
    bare = io.BytesIO()
    with zipfile.ZipFile(bare, "w") as archive:
        archive.writestr("case.toml", whole["case.toml"])
    refused(bare.getvalue(), r"no manifest\.json in it")


def test_a_history_that_names_other_files_is_refused(whole, refused, now):
    """What a screening names is read later on: it must lie inside."""
    for place in ("/etc/passwd", "../x.json", "screenings/../../x", "screenings\\x", "a.json"):
        made = ScreeningMade("suspects", answer=place)
        forged = {**whole, "history.jsonl": render_event(Event(1, now, made))}
        refused(pack_of(forged), "names a place outside")
    many = b'{"id": 1}\n' + render_event(Event(10**12, now, Note("x")))
    refused(pack_of({**whole, "history.jsonl": many}), "beyond any case")


def test_files_of_people_are_checked_as_ever(whole, refused):
    """A bad case file, one nested without end, a layout outside; told with the pack's name."""
    for text, match in (
        (b"title = 1\n", r"case\.toml"),
        (b"a = " + b"[" * 50_000, r"case\.toml"),
        (whole["case.toml"].replace(b'"layout.toml"', b'"../x.toml"'), "name of a file"),
    ):
        refused(pack_of({**whole, "case.toml": text}), match)


def test_nothing_half_is_left_when_the_disk_fails(whole, tmp_path, monkeypatch):
    """The last step, giving it its name, fails: as if it had never been tried."""
    (tmp_path / "a.zip").write_bytes(pack_of(whole))

    def full(self, target):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "rename", full)
        with pytest.raises(CaseError, match="No space left"):
            write_opened_case(tmp_path / "a.zip", tmp_path / "a")
    assert [path.name for path in tmp_path.iterdir()] == ["a.zip"]


def test_what_is_there_is_never_unpacked_over(whole, tmp_path):
    """A folder with something else in it, a file, a link to nowhere."""
    (tmp_path / "a.zip").write_bytes(pack_of(whole))
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    (tmp_path / "file").write_text("mine")
    for name in ("mine", "file"):
        with pytest.raises(CaseError, match="exists already"):
            write_opened_case(tmp_path / "a.zip", tmp_path / name)
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["letter.txt"]


@pytest.fixture
def answered(folder, tmp_path, now):
    """Give a function that merges a forged answer into a case with one event."""
    write_event(folder, Note("first"), now)
    digest = hashlib.sha256((folder / "history.jsonl").read_bytes().strip()).hexdigest()

    def merge(events, by="Ada", files=None, given_to=(digest,)):
        lines = b"".join(map(render_event, events))
        content = {"answer.jsonl": lines, **(files or {})}
        said = promise(content, what="answer", by=by, events=given_to)
        (tmp_path / "a.zip").write_bytes(pack_of(content, said))
        before = (folder / "history.jsonl").read_bytes()
        try:
            return write_merged(tmp_path / "a.zip", folder, now)[1]
        except CaseError:
            assert (folder / "history.jsonl").read_bytes() == before
            assert list((folder / "screenings").iterdir()) == []
            raise

    return merge


def test_an_answer_may_hold_an_opinion_and_a_screening_only(answered, now):
    """No outcome, no other's name, no missing or foreign file, nothing without a case."""
    opinion = Event(2, now, Opinion("Ada", "The idler."))
    outcome = Event(3, now, Outcome("idler"))
    screening = Event(3, now, ScreeningMade("x", answer="screenings/0001.json", by="Ada"))
    outside = Event(3, now, ScreeningMade("x", answer="../case.toml", by="Ada"))
    whole = {"screenings/0001.json": b"{}"}
    for events, changed, match in (
        ([opinion, outcome], {}, "more than an opinion"),
        ([opinion], {"by": "Berta"}, "another's name"),
        ([opinion, screening], {}, "is missing from it"),
        ([opinion, screening], {"files": {"screenings/0001.json": b"[" * 99999}}, "cannot be read"),
        ([opinion, outside], {"files": whole}, "is missing from it"),
        ([screening], {"files": whole}, "no opinion"),
        ([opinion], {"given_to": ()}, "to which case"),
        ([Event(2, now, Opinion("Ada", ""))], {}, "empty or longer"),
        ([Event(2, now, Opinion("Ada", "x" * 20_001))], {}, "empty or longer"),
    ):
        with pytest.raises(CaseError, match=match):
            answered(events, **changed)
    assert len(answered([opinion, screening], files=whole)) == 3


@given(data=st.data())
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_is_changed_it_is_refused_or_what_it_promises(data, whole, tmp_path_factory):
    """Bytes changed, cut out or put in anywhere: one of our errors and no trace, or a whole case.

    Whole: every file has the digest its manifest names.
    """
    tmp = tmp_path_factory.mktemp("mutated")
    raw = bytearray(pack_of(whole, method=data.draw(st.sampled_from([0, 8]))))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(raw) - 1))
        new = data.draw(st.binary(max_size=4))
        raw[at : at + data.draw(st.integers(0, 4))] = new
    (tmp / "a.zip").write_bytes(raw)
    try:
        write_opened_case(tmp / "a.zip", tmp / "a")
    except AcousticError:
        assert [path.name for path in tmp.iterdir()] == ["a.zip"]
        return
    with zipfile.ZipFile(tmp / "a.zip") as archive:
        promised = json.loads(archive.read("manifest.json"))["files"]
    digests = {row["name"]: row["sha256"] for row in promised}
    for path in (path for path in (tmp / "a").rglob("*") if path.is_file()):
        name = path.relative_to(tmp / "a").as_posix()
        if name != "received.json":
            assert hashlib.sha256(path.read_bytes()).hexdigest() == digests[name]
