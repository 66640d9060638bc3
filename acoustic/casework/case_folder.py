"""A case as a folder: plain files that can be moved, mailed and read in twenty years.

::

    case.toml                      what people write down
    layout.toml                    what turns, as it was when the case was opened
    history.jsonl                  what happened, line by line
    recordings/0123456789abcdef.m4a   each sound once, named by its content
    screenings/0001.json           each answer, whole
    links/                         digests of customers' links, what came by each; never packed

No file names a place outside the folder. A recording is first stored, then entered in the
history: one that is stored and not entered was never confirmed, and is adopted when it is
added again.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from acoustic.casework.case_file import CASE_FILE, CaseFile, parse_case_file
from acoustic.casework.history import (
    Event,
    History,
    RecordingAdded,
    ScreeningMade,
    parse_history,
    recordings_of,
)
from acoustic.casework.lasting_files import read_undisturbed, read_whole
from acoustic.casework.layout_change import layout_digest
from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import parse_drive
from acoustic.drive.typed_file import text_of
from acoustic.errors import CaseError, DriveError
from acoustic.recording.taken import Taken
from acoustic.tables.knowledge import Knowledge

HISTORY_FILE = "history.jsonl"
RECORDINGS, SCREENINGS, LINKS = "recordings", "screenings", "links"


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """A recording of a case: its number in the history, where it is, how it was taken."""

    event_id: int
    path: Path
    added: RecordingAdded

    @property
    def taken(self) -> Taken:
        """How it was taken."""
        return self.added.taken


@dataclass(frozen=True, slots=True)
class Case:
    """A case as it stands on disk.

    Attributes
    ----------
    folder : Path
    file : CaseFile
    drive : Drive
    recordings : tuple of StoredRecording
        Those that hold and are there, in the order they were added.
    history : History
        Every event, also those taken back.
    remarks : tuple of str
        What is damaged, missing or left over, as plain sentences.
    layout_sha256 : str
        Of the file that says what turns.
    """

    folder: Path
    file: CaseFile
    drive: Drive
    recordings: tuple[StoredRecording, ...]
    history: History
    remarks: tuple[str, ...] = ()
    layout_sha256: str = ""

    @property
    def events(self) -> tuple[Event, ...]:
        """Events that hold, oldest first."""
        return self.history.standing


def read_case(folder: Path, knowledge: Knowledge | None = None) -> Case:
    """Read a case as it stands.

    Raises
    ------
    CaseError
        If the folder is no case, or its file cannot be used.
    DriveError
        If its layout cannot be used.
    """
    file = read_case_file(folder)
    layout = _read_layout(folder, file)
    drive = _drive_of(layout, file, knowledge)
    with read_undisturbed(folder / HISTORY_FILE):
        history = read_history(folder)
        recordings, remarks = _found_recordings(folder, history)
        left = _leftovers(folder, history)
        if not (folder / HISTORY_FILE).exists():
            left = [f"{HISTORY_FILE}: is missing, and with it what happened so far.", *left]
    remarks = [*history.remarks, *remarks, *left]
    digest = layout_digest(layout)
    return Case(folder, file, drive, recordings, history, tuple(remarks), digest)


def read_case_file(folder: Path) -> CaseFile:
    """Read what people wrote down of a case.

    Raises
    ------
    CaseError
        If the folder is no case, or listing every fault of the file by line.
    """
    path = folder / CASE_FILE
    if not path.is_file():
        raise CaseError(no_case_message(folder))
    try:
        return parse_case_file(text_of(read_whole(path), CASE_FILE, "case"))
    except ValueError as error:
        raise CaseError(str(error)) from None


def read_history(folder: Path) -> History:
    """Read everything that happened in a case."""
    return parse_history(read_whole(folder / HISTORY_FILE), HISTORY_FILE)


def _read_layout(folder: Path, file: CaseFile) -> bytes:
    path = folder / file.layout
    if not path.is_file():
        raise CaseError(
            f"{folder}: the layout {file.layout!r} named in {CASE_FILE} is not in the folder. Copy "
            "it into the folder, or correct the line 'layout ='."
        )
    return read_whole(path)


def _drive_of(layout: bytes, file: CaseFile, knowledge: Knowledge | None) -> Drive:
    try:
        text = text_of(layout, file.layout, "layout")
    except ValueError as error:
        raise DriveError(str(error)) from None
    return parse_drive(text, file.layout, knowledge)


def no_case_message(folder: Path) -> str:
    """What to say of a folder that is no case."""
    if not folder.exists():
        return f"{folder}: there is no such folder. Check the name of the case."
    if folder.is_file():
        return f"{folder}: this is a file. Name the folder of the case."
    return (
        f"{folder}: this is no case: there is no {CASE_FILE} in it. To open one: acoustic case new "
        "FOLDER --layout LAYOUT."
    )


def _found_recordings(
    folder: Path, history: History
) -> tuple[tuple[StoredRecording, ...], list[str]]:
    found, remarks = [], []
    for event, added in recordings_of(history.standing):
        path = folder / RECORDINGS / Path(added.stored).name
        if not path.is_file():
            remarks.append(
                f"{added.stored}: is missing; it came as {added.original!r}. Add that file again "
                "to put it back."
            )
        elif path.stat().st_size != added.size_bytes:
            remarks.append(
                f"{added.stored}: has {path.stat().st_size} bytes instead of {added.size_bytes}, "
                f"so it was damaged. Add {added.original!r} again to mend it."
            )
        else:
            found.append(StoredRecording(event.id, path, added))
    return tuple(found), remarks


def _leftovers(folder: Path, history: History) -> list[str]:
    """What a cut between storing and entering left; files taken back are still known."""
    known = {Path(added.stored).name for _, added in recordings_of(history.events)}
    cut = [
        f"{RECORDINGS}/{name}: was stored, but adding it was cut short. To take it in: acoustic "
        f"case add FOLDER FOLDER/{RECORDINGS}/{name}, with its options."
        for name in names_in(folder / RECORDINGS)
        if name not in known
    ]
    answers = {
        Path(event.data.answer).name
        for event in history.events
        if isinstance(event.data, ScreeningMade)
    }
    cut += [
        f"{SCREENINGS}/{name}: belongs to a screening cut short; screen again."
        for name in names_in(folder / SCREENINGS)
        if name not in answers
    ]
    return cut


def names_in(folder: Path) -> list[str]:
    """Names of the files in a folder, those kept out of sight left out."""
    if not folder.is_dir():
        return []
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
