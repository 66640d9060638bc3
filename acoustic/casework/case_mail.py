"""A case and answers to it by mail: packed, opened beside its place, answered, merged.

What is opened is first unpacked into a folder of its own beside the place asked for, read as
a case, forced to the disk, and only then given its name: nothing half there is ever seen, and
nothing that is there is ever overwritten.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from acoustic import __version__
from acoustic.casework.case_file import CASE_FILE
from acoustic.casework.case_folder import (
    HISTORY_FILE,
    LINKS,
    RECORDINGS,
    SCREENINGS,
    Case,
    names_in,
    read_case,
    read_case_file,
)
from acoustic.casework.case_writes import write_event, write_made_elsewhere
from acoustic.casework.history import (
    Event,
    History,
    Opinion,
    ScreeningMade,
    parse_history,
    recordings_of,
)
from acoustic.casework.lasting_files import (
    INCOMING,
    read_digest,
    read_undisturbed,
    read_whole,
    write_folder_to_disk,
    write_lasting,
)
from acoustic.casework.pack_answer import (
    LONGEST_TEXT,
    Answer,
    find_opinion,
    new_entries,
    newest_screening,
    own_events,
    parse_answer,
    render_answer,
)
from acoustic.casework.pack_archive import (
    Content,
    read_pack,
    require_free,
    write_pack,
    write_unpacked,
)
from acoustic.casework.pack_words import changes_in_words, contents_in_words, require_own_places
from acoustic.casework.packing import (
    ANSWER_FILE,
    ANSWER_LIMITS,
    CASE_LIMITS,
    Manifest,
    PackedFile,
    allowed_in,
    kind_of,
    line_digests,
    shown,
    sort_key,
)
from acoustic.errors import AcousticError, CaseError

RECEIVED_FILE = "received.json"
"""Kept in a case that was unpacked: how much of its history came with it."""


class Received(BaseModel):
    """How much of a case came packed: its events, when it was packed, from which file."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    schema_: Literal["case-received/1"] = Field(default="case-received/1", alias="schema")
    events: Annotated[int, Field(ge=0)]
    packed: datetime
    file: str


@dataclass(frozen=True, slots=True)
class Opened:
    """What came of opening a packed case.

    Attributes
    ----------
    contents : tuple of str
        What is in it, in sentences.
    changes : tuple of str
        What it changes against a case that was there; empty if there was none.
    unpacked : bool
        False if a case was there already: nothing was written then.
    """

    contents: tuple[str, ...]
    changes: tuple[str, ...]
    unpacked: bool


def write_packed_case(folder: Path, place: Path, time: datetime) -> tuple[Manifest, list[str]]:
    """Pack a case into one new file; gives its manifest and what was left out, in sentences.

    Raises
    ------
    CaseError
        If the folder is no case, or the file cannot be made.
    """
    require_free(place)
    case = read_case(folder)
    with read_undisturbed(folder / HISTORY_FILE):
        history = read_whole(folder / HISTORY_FILE)
        names, left_out = _packable(case, parse_history(history))
        texts = {
            HISTORY_FILE: history,
            CASE_FILE: read_whole(folder / CASE_FILE),
            case.file.layout: read_whole(folder / case.file.layout),
        }

    def describe(files: tuple[PackedFile, ...]) -> Manifest:
        return Manifest(
            what="case", title=case.file.title, packed=time, version=__version__, files=files
        )

    contents = [Content(name, texts.get(name, folder / name)) for name in names]
    return write_pack(place, contents, describe, CASE_LIMITS), left_out


def _packable(case: Case, history: History) -> tuple[list[str], list[str]]:
    """Names of the files of a case in their order, and what is left out and why."""
    if not allowed_in("case", case.file.layout):
        raise CaseError(
            f"{case.folder}: the layout {case.file.layout!r} must be named so that every system "
            f"takes it, and end in .toml. Rename it, also in {CASE_FILE}."
        )
    require_own_places(history)  # nothing is packed that could not be unpacked
    stored = {added.stored: added.sha256 for _, added in recordings_of(history.events)}
    answers = {e.data.answer for e in history.events if isinstance(e.data, ScreeningMade)}
    names, left_out = [CASE_FILE, HISTORY_FILE, case.file.layout], []
    there = set(_files_in(case.folder))
    for name in sorted(there - {*names, RECEIVED_FILE, LINKS}):
        if name not in {*stored, *answers}:
            left_out.append(
                f"{name}: left out, it is not of the case: its history does not name it."
            )
        elif not allowed_in("case", name):
            left_out.append(
                f"{name}: left out, it does not end like a sound file. Give the recording its true "
                "ending, such as .m4a, and add it again."
            )
        elif name in stored and read_digest(case.folder / name) != stored[name]:
            left_out.append(f"{name}: left out, it was damaged. Add the recording again.")
        else:
            names.append(name)
    missing = sorted({*stored, *answers} - there)
    left_out += [f"{name}: is missing here, so it cannot go along." for name in missing if name]
    return sorted(names, key=sort_key), left_out


def _files_in(folder: Path) -> Iterator[str]:
    for name in names_in(folder):
        if name in {RECORDINGS, SCREENINGS} and not (folder / name).is_symlink():
            yield from (f"{name}/{inside}" for inside in names_in(folder / name))
        else:
            yield name


def write_opened_case(pack: Path, folder: Path) -> Opened:
    """Open a packed case from anybody into a new folder.

    Where a case is already, nothing is written: it is said what the packed one changes.

    Raises
    ------
    CaseError, DriveError
        If it is damaged or unsafe, or the folder holds something else. Nothing is left behind.
    """
    here = read_case(folder) if (folder / CASE_FILE).is_file() else None
    if here is None and folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CaseError(f"{folder}: exists already. Name a folder that does not exist yet.")
    with _write_beside(folder) as made:
        with read_pack(pack, "case", CASE_LIMITS) as opened:
            write_unpacked(opened, made)
        theirs = _read_strangers_case(made, pack.name)
        spare = _write_away_spare_layouts(made, theirs.file.layout)
        contents = contents_in_words(opened.manifest, theirs, (*opened.left_out, *spare))
        if here is not None:
            return Opened(contents, tuple(_read_changes(here, theirs)), False)
        events = len(line_digests(read_whole(made / HISTORY_FILE)))
        received = Received(events=events, packed=opened.manifest.packed, file=pack.name[:200])
        write_lasting(made / RECEIVED_FILE, received.model_dump_json(by_alias=True).encode())
        for name in (RECORDINGS, SCREENINGS):
            (made / name).mkdir(exist_ok=True)
        write_folder_to_disk(made)
        made.rename(folder)
        write_folder_to_disk(folder.parent)
    return Opened(contents, (), True)


@contextmanager
def _write_beside(folder: Path) -> Iterator[Path]:
    """Give an empty folder beside the one asked for; it is gone afterwards, unless renamed."""
    made: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(dir=folder.parent, prefix=INCOMING))
        made.chmod(0o755)
        yield made
    except OSError as error:
        reason = error.strerror or error
        raise CaseError(f"{folder}: the case cannot be unpacked here ({reason}).") from None
    finally:
        if made is not None:
            shutil.rmtree(made, ignore_errors=True)


def _write_away_spare_layouts(made: Path, layout: str) -> list[str]:
    """Remove files named like a layout that the case does not name; gives their names."""
    spare = [name for name in names_in(made) if kind_of(name) == "layout" and name != layout]
    for name in spare:
        (made / name).unlink()
    return [shown(name) for name in spare]


def _read_strangers_case(made: Path, name: str) -> Case:
    """Read what was unpacked as a case; trouble is told with the name of the packed file."""
    try:
        for needed in (CASE_FILE, HISTORY_FILE):
            if not (made / needed).is_file():
                raise CaseError(f"there is no {needed} in it.")
        case = read_case(made)
        require_own_places(case.history)
    except AcousticError as error:
        words = str(error).replace(str(made), "the case in it")
        raise type(error)(f"{name}: {words} Nothing was unpacked.") from None
    except RecursionError:
        raise CaseError(
            f"{name}: a file in it is nested too deeply. Nothing was unpacked."
        ) from None
    return case


def _read_changes(here: Case, theirs: Case) -> list[str]:
    histories = [line_digests(read_whole(one.folder / HISTORY_FILE)) for one in (here, theirs)]
    layouts = [read_whole(one.folder / one.file.layout) for one in (here, theirs)]
    return changes_in_words(here, theirs, (histories[0], histories[1]), (layouts[0], layouts[1]))


def write_packed_answer(folder: Path, place: Path, opinion: Opinion, time: datetime) -> Manifest:
    """Enter an opinion in a case that came packed, and pack it with the newest screening.

    The screening is the newest made here since the case came. The same opinion a second time
    is entered only once.

    Raises
    ------
    CaseError
        If the case did not come packed, or came without any event to know it by.
    """
    if not opinion.by.strip() or not opinion.text.strip():
        raise CaseError("An answer needs a name and a text: --by NAME --text TEXT.")
    if len(opinion.text) > LONGEST_TEXT or len(opinion.by) > 200:
        raise CaseError(f"An answer is at most {LONGEST_TEXT} signs long, a name 200.")
    require_free(place)
    title, received = read_case_file(folder).title, _read_received(folder)
    own = own_events(read_whole(folder / HISTORY_FILE), received.events)
    event = find_opinion(own, opinion) or write_event(folder, opinion, time)
    screening = newest_screening(own)
    contents = [Content(ANSWER_FILE, render_answer(event, screening, opinion.by))]
    if screening is not None:
        answer = screening[1].answer
        contents.append(Content(answer, folder / SCREENINGS / Path(answer).name))
    events = line_digests(read_whole(folder / HISTORY_FILE))[: received.events]

    def describe(files: tuple[PackedFile, ...]) -> Manifest:
        return Manifest(
            what="answer", title=title, packed=time, version=__version__, files=files,
            by=opinion.by, events=events,
        )  # fmt: skip

    return write_pack(place, contents, describe, ANSWER_LIMITS)


def _read_received(folder: Path) -> Received:
    raw = read_whole(folder / RECEIVED_FILE)
    if not raw:
        raise CaseError(
            f"{folder}: did not come as a packed file, so nobody waits for an answer. To keep an "
            f"opinion in it: acoustic case opinion {folder} TEXT --by NAME."
        )
    try:
        received = Received.model_validate_json(raw)
    except ValidationError:
        raise CaseError(
            f"{folder / RECEIVED_FILE}: is damaged. Unpack the case again into another folder."
        ) from None
    if received.events == 0:
        raise CaseError(
            f"{folder}: nothing had happened in this case when it was packed, so an answer could "
            "not be told from one to another case. Ask for it again with a recording in it."
        )
    return received


def read_answer(pack: Path) -> Answer:
    """Read an adviser's answer.

    Raises
    ------
    CaseError
        If it is damaged, unsafe, or holds anything but opinions and screenings.
    """
    with read_pack(pack, "answer", ANSWER_LIMITS) as opened:
        files = {file.name: b"".join(opened.read_pieces(file)) for file in opened.files}
        return parse_answer(opened.manifest, files.pop(ANSWER_FILE, b""), files)


def write_merged(pack: Path, folder: Path, time: datetime) -> tuple[Answer, tuple[Event, ...]]:
    """Enter an adviser's answer behind what a case holds; nothing in it is overwritten.

    Returns
    -------
    answer : Answer
    events : tuple of Event
        Those entered, a note of it last; empty if the case held the answer already.

    Raises
    ------
    CaseError
        If it belongs to another case, with what differs.
    """
    read_case_file(folder)
    answer = read_answer(pack)
    try:
        entered = write_made_elsewhere(
            folder,
            lambda history, parsed: new_entries(answer, history, parsed, (pack.name, time)),
        )
    except CaseError as error:
        raise CaseError(f"{pack.name}: {error}") from None
    return answer, entered
