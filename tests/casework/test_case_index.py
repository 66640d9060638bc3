"""The index: lists and finds, keeps up with the folders, and may be thrown away."""

import shutil
import sqlite3
from datetime import date
from pathlib import Path

import pytest

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_index import INDEX_FILE, read_cases
from acoustic.casework.case_writes import write_event, write_new_case
from acoustic.casework.history import Note, Outcome
from acoustic.errors import CaseError

LAYOUTS = Path(__file__).resolve().parents[2] / "samples" / "layouts"


@pytest.fixture
def root(tmp_path, now):
    """Give a folder of two cases, one of them closed."""
    first = CaseFile(title="Bus 1 growls", opened=date(2026, 11, 1), complaint="Größere Last")
    second = CaseFile(title="Bus 2", opened=date(2026, 11, 20), vehicle="lending van")
    write_new_case(tmp_path / "2026" / "bus 1", first, LAYOUTS / "front_four.toml")
    write_new_case(tmp_path / "bus 2", second, LAYOUTS / "rear_six.toml")
    write_event(tmp_path / "2026" / "bus 1", Outcome("guide idler", "inner race", "pitted"), now)
    return tmp_path


def names(root, words=""):
    """Give the folders found."""
    return [row.folder for row in read_cases(root, words)]


def test_cases_are_listed_newest_first(root):
    """With what is known of each."""
    second, first = read_cases(root)
    assert (first.folder, first.closed, first.outcome) == ("2026/bus 1", True, "guide idler")
    assert (second.folder, second.closed, second.vehicle) == ("bus 2", False, "lending van")


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("growls", ["2026/bus 1"]), ("GRÖSSERE", ["2026/bus 1"]), ("lending", ["bus 2"]),
        ("flat idler", ["2026/bus 1"]), ("pitted", ["2026/bus 1"]),
        ("bus", ["bus 2", "2026/bus 1"]), ("bus pitted", ["2026/bus 1"]),
        ("bus nothing", []), ("%", []),
    ],
)  # fmt: skip
def test_cases_are_found_by_words(root, words, found):
    """Title, complaint, vehicle, parts of the layout, outcome; all words must stand there."""
    assert names(root, words) == found


def test_the_index_keeps_up(root, now):
    """With a note, an edit, a case moved, a case gone."""
    assert names(root, "glazed") == []
    write_event(root / "bus 2", Note("belt glazed"), now)
    assert names(root, "glazed") == ["bus 2"]
    file = root / "bus 2" / "case.toml"
    file.write_text(file.read_text().replace("lending", "yellow lending"))
    assert names(root, "yellow") == ["bus 2"]
    (root / "bus 2").rename(root / "2026" / "moved")
    assert names(root, "yellow") == ["2026/moved"]
    shutil.rmtree(root / "2026" / "moved")
    assert names(root) == ["2026/bus 1"]


@pytest.mark.parametrize("damage", ["deleted", "garbage", "cut", "other version"])
def test_the_index_is_built_anew(root, damage):
    """The folders are the record."""
    whole = read_cases(root)
    place = root / INDEX_FILE
    if damage == "deleted":
        place.unlink()
    elif damage == "garbage":
        place.write_bytes(b"no index at all" * 1000)
    elif damage == "cut":
        place.write_bytes(place.read_bytes()[:5000])
    else:
        place.unlink()
        import sqlite3

        with sqlite3.connect(place) as other:
            other.execute("CREATE TABLE cases (folder)")
    assert read_cases(root) == whole
    assert place.exists()


def test_a_damaged_case_is_listed_with_its_trouble(root):
    """One bad file does not hide the others."""
    (root / "bus 2" / "case.toml").write_text('title = "Bus 2"\nopend = 3\n')
    rows = {row.folder: row for row in read_cases(root)}
    assert "case.toml:" in rows["bus 2"].problem
    assert rows["2026/bus 1"].problem == ""


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    """Rather than an empty list."""
    with pytest.raises(CaseError, match="no such folder"):
        read_cases(tmp_path / "none")


def test_the_index_is_safe_against_a_cut(root):
    """Its journal runs ahead (WAL), as SQLite itself tells."""
    read_cases(root)
    with sqlite3.connect(root / INDEX_FILE) as index:
        assert index.execute("PRAGMA journal_mode").fetchone() == ("wal",)
