"""The table of DEVELOPERS.md on OWASP's guidance, and the points that no other test holds."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from acoustic.casework.case_writes import write_recording
from acoustic.casework.customer_links import LinkWish, days_from, write_link
from acoustic.recording.taken import Taken
from acoustic.web.waiting import clip_id

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
NOTHING = "does not apply"


def rows():
    """Give the rows of both tables: point, what is done, what holds it."""
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    (section,) = re.findall(r"^## The page: which guidance.*?(?=^## )", guide, re.S | re.M)
    cells = [
        re.split(r"(?<!\\) \| ", line[2:-2]) for line in section.splitlines() if line[:2] == "| "
    ]
    return [row for row in cells if row[0] != "point"]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0])
def test_each_point_is_held_by_a_test_or_does_not_apply(row):
    """Every test named is in the file named."""
    assert len(row) == 3
    held = re.findall(r"`(test_\w+)::(test_\w+)`", row[2])
    assert held or row[2] == NOTHING
    for module, test in held:
        (file,) = (ROOT / "tests").rglob(f"{module}.py")
        assert f"\ndef {test}(" in file.read_text("utf-8"), (module, test)


def test_both_sheets_stand_in_the_table():
    """Some forty points, most of them held by a test."""
    held = [row for row in rows() if row[2] != NOTHING]
    assert len(rows()) >= 35
    assert len(held) >= 26


def kept(cases, name, content):
    """Take a recording in as if it had passed the gate; give its address."""
    clip = cases.parent / name
    clip.write_bytes(content)
    added = write_recording(cases / "bus", clip, Taken(), NOW).event.data
    return f"/case/bus/clip/{clip_id(added.sha256)}/sound"


def test_a_sound_named_like_a_page_is_served_as_no_page(visitor, cases):
    """Whatever its ending, a browser is told to take it for bytes."""
    answer = visitor.get(kept(cases, "evil.html", b"RIFF<script>alert(1)</script>"))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "script-src 'self'" in answer.headers["content-security-policy"]


def test_the_content_type_sent_along_is_never_read():
    """No module of the page asks for it; what a file is, its content says."""
    modules = sorted((ROOT / "acoustic" / "web").glob("*.py"))
    assert len(modules) >= 20
    assert [one.name for one in modules if "content_type" in one.read_text("utf-8")] == []


def test_nothing_that_is_kept_may_be_run(visitor, cases):
    """No file has the right to be executed; the page's own folder is for its user alone."""
    write_link(cases / "bus", LinkWish(days_from(NOW, 1)), NOW)
    kept(cases, "run.sh.m4a", b"RIFF")
    visitor.get("/")
    files = [path for path in cases.rglob("*") if path.is_file()]
    assert len(files) >= 5
    assert [path for path in files if path.stat().st_mode & 0o111] == []
    assert (cases / ".acoustic-page").stat().st_mode & 0o077 == 0


def test_a_visitor_cannot_be_guessed(visitor):
    """24 bytes from the system's generator, 32 signs of 64: 192 bits, twice never the same."""
    numbers = set()
    for _ in range(20):
        visitor.cookies.clear()
        numbers.add(visitor.get("/").cookies["visitor"])
    assert len(numbers) == 20
    assert {len(number) for number in numbers} == {32}
