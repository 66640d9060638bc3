"""All cases under one folder: listed and searched, by an index that may be thrown away.

The folders are the record; ``case-index.sqlite`` only spares reading all of them each time.
Before every answer the cases that changed since are read again, so the index is never out
of date, and when it is gone, damaged or of another version it is built anew.
"""

from __future__ import annotations

import os
import sqlite3
import unicodedata
from collections.abc import Iterator
from contextlib import closing
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Any

from acoustic.casework.case_file import CASE_FILE
from acoustic.casework.case_folder import HISTORY_FILE, Case, read_case, read_case_file
from acoustic.casework.history import Outcome
from acoustic.errors import AcousticError, CaseError

INDEX_FILE = "case-index.sqlite"
_VERSION = 1
_DEEPEST = 4
"""Folders below the root that are looked into: year, customer, vehicle, case."""

_WAIT_S = 10.0


@dataclass(frozen=True, slots=True)
class CaseRow:
    """One case in a list.

    Attributes
    ----------
    folder : str
        From the root, with forward slashes.
    title, opened, vehicle : str
        `opened` as 2026-11-25; empty if the case file cannot be read.
    closed : bool
        True once an outcome is entered.
    recordings : int
    outcome : str
        Part that was found, or ``"nothing found"``; empty while open.
    problem : str
        Why the case cannot be read, or empty.
    """

    folder: str
    title: str
    opened: str
    vehicle: str
    closed: bool
    recordings: int
    outcome: str
    problem: str


_COLUMNS = tuple(one.name for one in fields(CaseRow))
_TABLE = f"CREATE TABLE cases ({', '.join(_COLUMNS)}, stamp, wording, PRIMARY KEY (folder))"


def read_cases(root: Path, words: str = "") -> tuple[CaseRow, ...]:
    """List the cases under a folder, newest first; the index is brought up to date first.

    Parameters
    ----------
    root : Path
        Folder of many cases, up to four folders deep.
    words : str
        Only cases in which each of these words stands: in title, complaint, vehicle, notes,
        parts, outcome or what was noted. Capitals do not matter.

    Raises
    ------
    CaseError
        If there is no such folder.
    """
    if not root.is_dir():
        raise CaseError(f"{root}: there is no such folder. Name the folder that holds the cases.")
    try:
        with closing(_write_index(root, root / INDEX_FILE)) as index:
            return _found(index, words)
    except sqlite3.OperationalError:  # cannot be written or is held for long: do without
        with closing(_write_index(root, None)) as index:
            return _found(index, words)
    except sqlite3.DatabaseError:  # no index, or a damaged one
        for end in ("", "-wal", "-shm"):
            (root / f"{INDEX_FILE}{end}").unlink(missing_ok=True)
        with closing(_write_index(root, root / INDEX_FILE)) as index:
            return _found(index, words)


def _write_index(root: Path, place: Path | None) -> sqlite3.Connection:
    """Open the index, in memory without a place, and bring it up to date."""
    index = sqlite3.connect(place or ":memory:", timeout=_WAIT_S, isolation_level=None)
    try:
        index.execute("PRAGMA journal_mode = WAL")
        index.execute("PRAGMA synchronous = FULL")
        if index.execute("PRAGMA user_version").fetchone() != (_VERSION,):
            index.execute("BEGIN IMMEDIATE")
            index.execute("DROP TABLE IF EXISTS cases")
            index.execute(_TABLE)
            index.execute(f"PRAGMA user_version = {_VERSION}")
            index.execute("COMMIT")
        known = dict(index.execute("SELECT folder, stamp FROM cases").fetchall())
        there = {name: _stamp(root / name) for name in read_case_folders(root)}
        changed = [name for name, stamp in there.items() if known.get(name) != stamp]
        gone = [name for name in known if name not in there]
        rows = [(*_read_row(root, name), there[name]) for name in changed]
        if rows or gone:
            _write_rows(index, rows, gone)
    except BaseException:
        index.close()
        raise
    return index


def _write_rows(
    index: sqlite3.Connection, rows: list[tuple[CaseRow, str, str]], gone: list[str]
) -> None:
    marks = ", ".join("?" * (len(_COLUMNS) + 2))
    index.execute("BEGIN IMMEDIATE")
    index.executemany("DELETE FROM cases WHERE folder = ?", [(name,) for name in gone])
    index.executemany(
        f"INSERT OR REPLACE INTO cases VALUES ({marks})",  # noqa: S608 - question marks only
        [(*astuple(row), stamp, wording) for row, wording, stamp in rows],
    )
    index.execute("COMMIT")


def _found(index: sqlite3.Connection, words: str) -> tuple[CaseRow, ...]:
    wanted = _plain(words).split()
    where = " AND ".join(["instr(wording, ?) > 0"] * len(wanted)) or "1"
    query = (
        f"SELECT {', '.join(_COLUMNS)} FROM cases WHERE {where} "  # noqa: S608 - names of our own
        "ORDER BY opened DESC, folder"
    )
    return tuple(_row(values) for values in index.execute(query, wanted))


def _row(values: tuple[Any, ...]) -> CaseRow:
    named = dict(zip(_COLUMNS, values, strict=True))
    return CaseRow(**{**named, "closed": bool(named["closed"])})


def read_case_folders(root: Path) -> Iterator[str]:
    """Folders of cases from the root, those kept out of sight left out."""
    for place, folders, files in os.walk(root):
        here = Path(place).relative_to(root)
        if CASE_FILE in files:
            folders.clear()
            yield here.as_posix()
        folders[:] = [name for name in folders if name[0] != "." and len(here.parts) < _DEEPEST]


def _stamp(folder: Path) -> str:
    """What changes whenever a file of the case does, the recordings left out."""
    marks = []
    for path in sorted([*folder.glob("*.toml"), folder / HISTORY_FILE]):
        try:
            state = path.stat()
        except OSError:
            continue
        marks.append(f"{path.name} {state.st_mtime_ns} {state.st_size}")
    return "; ".join(marks)


def _read_row(root: Path, name: str) -> tuple[CaseRow, str]:
    """The row of a case and the words to find it by; a damaged case is listed with its trouble."""
    folder = root / name
    title, opened, vehicle = folder.name or name, "", ""
    try:
        file = read_case_file(folder)
        title, opened, vehicle = file.title, file.opened.isoformat(), file.vehicle
        case = read_case(folder)
    except AcousticError as error:
        problem = str(error).splitlines()[0]
        row = CaseRow(name, title, opened, vehicle, False, 0, "", problem)
        return row, _plain(f"{name} {title} {vehicle}")
    outcomes = [event.data for event in case.events if isinstance(event.data, Outcome)]
    found = ", ".join(one.part or "nothing found" for one in outcomes)
    row = CaseRow(name, title, opened, vehicle, bool(outcomes), len(case.recordings), found, "")
    return row, _wording(name, case)


def _wording(name: str, case: Case) -> str:
    file, told = case.file, []
    for event in case.events:
        told += [str(getattr(event.data, key, "")) for key in ("text", "note", "part", "mechanism")]
    own = (file.title, file.complaint, file.vehicle, file.notes, *file.sounds_like)
    parts = [part.name for part in case.drive.parts.values()]
    return _plain(" ".join([name, *own, *file.comes_when, case.drive.name, *parts, *told]))


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()
