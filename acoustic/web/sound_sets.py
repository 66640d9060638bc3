"""Sounds made to be heard in the page: what was asked for, what was made, until it is too old.

::

    CASE/.page/sounds/0123456789abcdef/asked.json    what is to be made; gone when it is
    CASE/.page/sounds/0123456789abcdef/made.json     what was made of it, or why not
    CASE/.page/sounds/0123456789abcdef/1.wav         a sound

The number is the beginning of the SHA-256 of all that the sounds follow from, so that what
was made of another layout or by another version is never taken for these. All of it can be
made again from the case: the sets asked for longest ago are let go.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from acoustic import __version__
from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.casework.lasting_files import read_digest, read_whole, write_lasting
from acoustic.errors import AcousticError, CaseError
from acoustic.output.case_sounds import CaseSounds, SoundKind
from acoustic.output.sound_file import ENDING, write_sound
from acoustic.web.plain_words import without_place
from acoustic.web.waiting import PAGE_FOLDER

_SOUNDS, _ASKED, _MADE = "sounds", "asked.json", "made.json"
_SHORT_DIGITS = 16
_NUMBER = re.compile(r"[0-9a-f]{16}")
_FILE = re.compile(r"[1-9]\.wav")
_MOST_KEPT, _MOST_WAITING = 12, 12


@dataclass(frozen=True, slots=True)
class SoundsAsked:
    """What sounds are asked for, and what they follow from.

    Attributes
    ----------
    recording : str
        SHA-256 of the recording.
    part : str
        To be taken out of it and made; empty to hear it beside `other`.
    other : str
        SHA-256 of the recording after the repair; empty for a part.
    layout : str
        SHA-256 of the layout; empty where nothing follows from it.
    version : str
        Of the program.
    """

    recording: str
    part: str = ""
    other: str = ""
    layout: str = ""
    version: str = __version__

    @property
    def number(self) -> str:
        """What the set goes by in addresses."""
        told = TypeAdapter(SoundsAsked).dump_json(self)
        return hashlib.sha256(told).hexdigest()[:_SHORT_DIGITS]


@dataclass(frozen=True, slots=True)
class SoundMade:
    """A sound that was made: its file in the set, a name to save it by, and what it is."""

    file: str
    name: str
    kind: SoundKind
    title: str
    words: str
    seconds: float


@dataclass(frozen=True, slots=True)
class SoundSet:
    """What came of asking for sounds.

    Attributes
    ----------
    asked : SoundsAsked
    time : datetime
        When, with its time zone.
    sounds : tuple of SoundMade
    missing : str
        Why some are not there; empty if all are.
    trouble : str
        Why none could be made; empty if some were.
    """

    asked: SoundsAsked
    time: datetime
    sounds: tuple[SoundMade, ...] = ()
    missing: str = ""
    trouble: str = ""


def part_asked(case: Case, one: StoredRecording, part: str) -> SoundsAsked:
    """Asking for a recording, a part out of it, the rest, and the part made."""
    layout = read_digest(case.folder / case.file.layout)
    return SoundsAsked(one.added.sha256, part=part, layout=layout)


def pair_asked(before: StoredRecording, after: StoredRecording) -> SoundsAsked:
    """Asking for before and after at one loudness."""
    return SoundsAsked(before.added.sha256, other=after.added.sha256)


def write_sounds_asked(case: Path, asked: SoundsAsked) -> None:
    """Keep that a set is to be made, anew if it is there; on the disk when this returns.

    Raises
    ------
    CaseError
        If too many wait already, or it cannot be kept.
    """
    waiting = read_sounds_asked(case)
    if asked in waiting:
        return
    if len(waiting) >= _MOST_WAITING:
        raise CaseError(
            f"{_MOST_WAITING} sets of sounds of this case wait to be made. Ask again when they "
            "are done."
        )
    _let_oldest_go(case)
    place = _place(case, asked.number)
    try:
        place.mkdir(parents=True, exist_ok=True)
        write_lasting(place / _ASKED, TypeAdapter(SoundsAsked).dump_json(asked))
        (place / _MADE).unlink(missing_ok=True)
    except OSError as error:
        raise CaseError(
            f"It cannot be kept that sounds are wanted ({error.strerror or error}). Make room on "
            "the disk of the cases, then ask again."
        ) from None


def read_sounds_asked(case: Path) -> tuple[SoundsAsked, ...]:
    """Sets of a case that wait to be made, the one asked for first in front."""
    waiting = []
    for folder in _folders(case):
        asked = _read_asked(folder / _ASKED)
        if asked is not None and asked.number == folder.name:
            waiting.append((_changed_ns(folder / _ASKED), asked))
    return tuple(asked for _, asked in sorted(waiting, key=lambda pair: pair[0]))


def read_sound_set(case: Path, asked: SoundsAsked) -> SoundSet | None:
    """What came of asking; None if it was not made."""
    made = _read_made(_place(case, asked.number) / _MADE)
    return made if made is not None and made.asked == asked else None


def read_sound_sets(case: Path, recording: str) -> tuple[SoundSet, ...]:
    """Sets made of a recording, by its SHA-256, that hold sounds."""
    found = [made for folder in _folders(case) if (made := _read_made(folder / _MADE)) is not None]
    return tuple(made for made in found if made.asked.recording == recording and made.sounds)


def write_sound_set(case: Path, asked: SoundsAsked, made: CaseSounds) -> None:
    """Keep the sounds of a set, then that they are there.

    Raises
    ------
    CaseError, OutputError
        If they cannot be written.
    """
    place = _place(case, asked.number)
    rows = []
    for number, one in enumerate(made.sounds, start=1):
        sound, file = one.sound, f"{number}{ENDING}"
        write_sound(place / file, sound.samples, sound.rate_hz, f"{one.title}. {sound.words}")
        seconds = sound.samples.shape[0] / sound.rate_hz
        name = f"{sound.name}{ENDING}"
        rows.append(SoundMade(file, name, one.kind, one.title, sound.words, seconds))
    _write_made(case, SoundSet(asked, datetime.now(UTC), tuple(rows), made.missing))


def write_none_made(case: Path, asked: SoundsAsked, error: AcousticError) -> None:
    """Keep why a set could not be made, without where the case lies on this machine."""
    said = without_place(str(error), case)
    _write_made(case, SoundSet(asked, datetime.now(UTC), trouble=said))


def sound_asked(case: Path, number: str, file: str) -> tuple[Path, SoundMade] | None:
    """A sound by what an address says; None unless it is one that was made, in this case."""
    if not _NUMBER.fullmatch(number) or not _FILE.fullmatch(file):
        return None
    made = _read_made(_place(case, number) / _MADE)
    row = next((one for one in made.sounds if one.file == file), None) if made else None
    path = _place(case, number) / file
    if row is None or not path.is_file() or not path.resolve().is_relative_to(case.resolve()):
        return None
    return path, row


def _write_made(case: Path, made: SoundSet) -> None:
    place = _place(case, made.asked.number)
    write_lasting(place / _MADE, TypeAdapter(SoundSet).dump_json(made))
    (place / _ASKED).unlink(missing_ok=True)


def _let_oldest_go(case: Path) -> None:
    """Keep one fewer than may be kept; those that wait stay."""
    made = [folder for folder in _folders(case) if not (folder / _ASKED).exists()]
    for folder in sorted(made, key=_changed_ns)[: max(0, len(made) - _MOST_KEPT + 1)]:
        shutil.rmtree(folder, ignore_errors=True)


def _changed_ns(path: Path) -> int:
    """When it was changed last; 0 if it went meanwhile."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def _place(case: Path, number: str) -> Path:
    return case / PAGE_FOLDER / _SOUNDS / number


def _folders(case: Path) -> Iterator[Path]:
    place = case / PAGE_FOLDER / _SOUNDS
    if place.is_dir():
        yield from (path for path in place.iterdir() if _NUMBER.fullmatch(path.name))


def _read_asked(path: Path) -> SoundsAsked | None:
    try:
        return TypeAdapter(SoundsAsked).validate_json(read_whole(path))
    except (ValidationError, CaseError):
        return None


def _read_made(path: Path) -> SoundSet | None:
    try:
        return TypeAdapter(SoundSet).validate_json(read_whole(path))
    except (ValidationError, CaseError):
        return None
