"""Recordings that came in and wait to be looked over: on the disk before anybody is told so.

::

    CASE/.page/waiting/0123456789abcdef/idler.m4a    the sound, under the name it came with
    CASE/.page/waiting/0123456789abcdef/asked.json   how it was taken
    CASE/.page/refused/0123456789abcdef.json         why one was not taken in

The number is the beginning of the SHA-256 of the sound: the same clip sent twice, because
the first answer was lost on the way, waits once.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, TypeVar

from pydantic import TypeAdapter, ValidationError

from acoustic.casework.lasting_files import (
    INCOMING,
    read_whole,
    write_folder_to_disk,
    write_lasting,
)
from acoustic.errors import CaseError
from acoustic.recording.taken import Taken

PAGE_FOLDER = ".page"
"""Folder in a case for what the page asked for and has not got yet; no part of the record."""

_WAITING, _REFUSED, _ASKED = "waiting", "refused", "asked.json"
_MOST_WAITING = 200
_LEAST_FREE_BYTES = 500_000_000
_SHORT_DIGITS = 16
_CHUNK_BYTES = 1 << 20
_LONGEST_NAME = 100
_UNFIT_SIGNS = re.compile(r'[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069"*/:<>?\\|]')

_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class ClipAsked:
    """What came with a clip.

    Attributes
    ----------
    original : str
        Name of the file as it came.
    taken : Taken
    time : datetime
        When it came, with its time zone.
    processing : tuple of str
        What the browser said it did to the sound: ``"noise suppression"`` and the like.
    numbered : bool
        Whether somebody told the number of the take.
    """

    original: str
    taken: Taken
    time: datetime
    processing: tuple[str, ...] = ()
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class WaitingClip:
    """A clip that waits: its number, its file, what came with it."""

    id: str
    path: Path
    asked: ClipAsked


@dataclass(frozen=True, slots=True)
class RefusedClip:
    """A clip that was not taken in, and why."""

    id: str
    original: str
    time: datetime
    why: str


def clip_id(sha256: str) -> str:
    """The number a clip goes by in addresses."""
    return sha256[:_SHORT_DIGITS]


def safe_name(name: str) -> str:
    r"""The last part of a file's name without signs that mean something to a disk or a reader.

    >>> safe_name("..\\..\\etc/pass wd.m4a")
    'pass wd.m4a'
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", name))[-1]
    plain = _UNFIT_SIGNS.sub("", last).strip().lstrip(".")
    stem, dot, ending = plain.rpartition(".")
    stem, ending = (stem, dot + ending[:12]) if stem else (plain, "")
    short = stem.encode("utf-8", "ignore")[:_LONGEST_NAME].decode("utf-8", "ignore")
    return (short + ending) or "recording"


def write_waiting(case: Path, sound: BinaryIO, asked: ClipAsked) -> WaitingClip:
    """Keep a clip that came in; on the disk, with how it was taken, when this returns.

    Parameters
    ----------
    case : Path
        Folder of the case.
    sound : file
        From its beginning.
    asked : ClipAsked

    Raises
    ------
    CaseError
        If too many wait already, the disk is nearly full, or it is empty or cannot be kept.
    """
    place = _made(case / PAGE_FOLDER / _WAITING)
    if shutil.disk_usage(place).free < _LEAST_FREE_BYTES:
        raise CaseError(
            "The disk of the cases is nearly full, so nothing more is taken in. Make room on it, "
            "then send the recording again."
        )
    if len(_folders(place)) >= _MOST_WAITING:
        raise CaseError(
            f"{_MOST_WAITING} recordings of this case wait to be looked over. Send this one when "
            "they are done."
        )
    made = Path(tempfile.mkdtemp(dir=place, prefix=INCOMING))
    try:
        sha256 = _write_sound(made / safe_name(asked.original), sound)
        content = TypeAdapter(ClipAsked).dump_json(asked)
        write_lasting(made / _ASKED, content)
        here = place / clip_id(sha256)
        if not here.exists():
            made.rename(here)
            write_folder_to_disk(place)
        (case / PAGE_FOLDER / _REFUSED / f"{here.name}.json").unlink(missing_ok=True)
    except OSError as error:
        raise CaseError(
            f"The recording cannot be kept ({error.strerror or error}). Make room on the disk of "
            "the cases, then send it again."
        ) from None
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return WaitingClip(here.name, here / safe_name(asked.original), asked)


def read_waiting(case: Path) -> tuple[WaitingClip, ...]:
    """Clips of a case that wait, oldest first; what a cut left half kept is not among them."""
    found = []
    for folder in _folders(case / PAGE_FOLDER / _WAITING):
        asked = _read_row(folder / _ASKED, ClipAsked)
        if asked is not None:
            found.append(WaitingClip(folder.name, folder / safe_name(asked.original), asked))
    return tuple(sorted(found, key=lambda one: (one.asked.time, one.id)))


def write_done(clip: WaitingClip) -> None:
    """Let go of a clip that was taken in or refused."""
    shutil.rmtree(clip.path.parent, ignore_errors=True)


def write_refused(case: Path, clip: WaitingClip, why: str, time: datetime) -> None:
    """Keep why a clip was not taken in, and let go of the clip."""
    place = _made(case / PAGE_FOLDER / _REFUSED)
    row = RefusedClip(clip.id, clip.asked.original, time, why)
    write_lasting(place / f"{clip.id}.json", TypeAdapter(RefusedClip).dump_json(row))
    write_done(clip)


def read_refused(case: Path) -> tuple[RefusedClip, ...]:
    """Clips of a case that were not taken in, newest first."""
    place = case / PAGE_FOLDER / _REFUSED
    files = sorted(place.glob("*.json")) if place.is_dir() else []
    rows = [row for file in files if (row := _read_row(file, RefusedClip)) is not None]
    return tuple(sorted(rows, key=lambda row: row.time, reverse=True))


def write_seen(case: Path) -> None:
    """Let go of the notes on refused clips: somebody has read them."""
    shutil.rmtree(case / PAGE_FOLDER / _REFUSED, ignore_errors=True)


def _write_sound(path: Path, sound: BinaryIO) -> str:
    digest = hashlib.sha256()
    size = 0
    with path.open("wb") as file:
        while chunk := sound.read(_CHUNK_BYTES):
            digest.update(chunk)
            file.write(chunk)
            size += len(chunk)
        file.flush()
        os.fsync(file.fileno())
    if not size:
        raise CaseError(f"{path.name}: the file is empty (0 bytes). Send the original again.")
    return digest.hexdigest()


def _read_row(path: Path, kind: type[_Row]) -> _Row | None:
    try:
        row: _Row = TypeAdapter(kind).validate_json(read_whole(path))
    except (ValidationError, CaseError):
        return None
    return row


def _folders(place: Path) -> list[Path]:
    if not place.is_dir():
        return []
    return [path for path in place.iterdir() if path.is_dir() and path.name[0] != "."]


def _made(place: Path) -> Path:
    place.mkdir(parents=True, exist_ok=True)
    return place
