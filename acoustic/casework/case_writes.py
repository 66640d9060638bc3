"""Writing into a case: opening it, taking in recordings, keeping answers and events.

Whatever a function here returns is on the disk by then. Nobody else writes meanwhile.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from acoustic.casework.case_file import (
    CASE_FILE,
    LAYOUT_FILE,
    CaseFile,
    parse_case_file,
    render_case_file,
)
from acoustic.casework.case_folder import (
    HISTORY_FILE,
    LINKS,
    RECORDINGS,
    SCREENINGS,
    names_in,
    no_case_message,
    read_case_file,
    read_history,
)
from acoustic.casework.history import (
    Event,
    EventData,
    GateAnswer,
    History,
    Note,
    RecordingAdded,
    ScreeningMade,
    TakenBack,
    next_event,
    recordings_of,
    render_event,
)
from acoustic.casework.lasting_files import (
    INCOMING,
    GrowingFile,
    read_digest,
    read_whole,
    write_away_leftovers,
    write_folder_to_disk,
    write_lasting,
    write_lasting_copy,
    write_locked,
)
from acoustic.casework.layout_change import layout_digest, layout_note
from acoustic.drive.layout_file import parse_drive, read_drive
from acoustic.errors import CaseError
from acoustic.recording.containers import HEAD_BYTES, sniff_container
from acoustic.recording.taken import Taken

_SHORT_DIGITS = 16
_SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")


@dataclass(frozen=True, slots=True)
class Added:
    """A recording was taken in, or was there already.

    Attributes
    ----------
    event : Event
        The event that added it, now or earlier.
    already : bool
        True if the case held it; nothing was changed then.
    sentence : str
        What became of it, for people.
    """

    event: Event
    already: bool
    sentence: str


def write_new_case(folder: Path, file: CaseFile, layout: Path) -> None:
    """Open a case in a new folder; nothing that exists is ever overwritten.

    Parameters
    ----------
    folder : Path
        Must not exist, or be empty.
    file : CaseFile
        Its `layout` is set to the copy in the folder.
    layout : Path
        Layout of the drive; checked, then copied.

    Raises
    ------
    CaseError, DriveError
        Nothing is left behind then.
    """
    _require_free(folder)
    read_drive(layout)
    text = render_case_file(file.model_copy(update={"layout": LAYOUT_FILE}))
    parse_case_file(text)
    made: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(dir=folder.parent, prefix=INCOMING))
        made.chmod(0o755)
        for name in (RECORDINGS, SCREENINGS):
            (made / name).mkdir()
        write_lasting(made / LAYOUT_FILE, read_whole(layout))
        write_lasting(made / HISTORY_FILE, b"")
        write_lasting(made / CASE_FILE, text.encode("utf-8"))
        made.rename(folder)
        write_folder_to_disk(folder.parent)
    except OSError as error:
        reason = error.strerror or error
        raise CaseError(f"{folder}: the case cannot be made here ({reason}).") from None
    finally:
        if made is not None:
            shutil.rmtree(made, ignore_errors=True)


def write_layout(folder: Path, text: str, seen: str, time: datetime) -> Event | None:
    """Put another layout in the place of a case's own.

    Once a case was screened its answers rest on the layout; a change is then entered in the
    history as a note, before the layout itself is written, so that none goes untold.

    Parameters
    ----------
    folder : Path
        Of the case.
    text : str
        The new layout; checked first.
    seen : str
        SHA-256 of the layout that was changed, in hex digits, as `layout_digest` gives it.
    time : datetime

    Returns
    -------
    Event or None
        The note; None where none was called for.

    Raises
    ------
    DriveError
        Listing every fault of the new layout.
    CaseError
        If somebody else changed the layout since it was seen, or it cannot be written.
    """
    new = parse_drive(text)
    with _write_in_turn(folder) as (file, history):
        path = folder / read_case_file(folder).layout
        old = read_whole(path)
        if layout_digest(old) != seen:
            raise CaseError(
                f"{path.name}: was changed by somebody else since you began. Nothing was saved. "
                "Open the layout again in a second window and bring both together."
            )
        content = text.encode("utf-8")
        if content == old:
            return None
        event = None
        if any(isinstance(one.data, ScreeningMade) for one in history.standing):
            event = _write_next(file, history, Note(layout_note(old, new)), time)
        write_lasting(path, content)
        return event


def _require_free(folder: Path) -> None:
    if folder.is_dir() and not any(folder.iterdir()):
        return
    if (folder / CASE_FILE).exists():
        raise CaseError(
            f"{folder}: there is a case here already, which is left as it is. To see it: acoustic "
            f"case show {folder}. For a new one name another folder."
        )
    if folder.exists() or folder.is_symlink():
        raise CaseError(f"{folder}: exists already. Name a folder that does not exist yet.")


def write_recording(
    folder: Path, clip: Path, taken: Taken, time: datetime, gate: GateAnswer | None = None
) -> Added:
    """Take a recording into a case: stored once by content, then entered in the history.

    When this returns, file and event are on the disk. The same content a second time changes
    nothing, unless the stored file was lost or damaged: then it is put back.

    Parameters
    ----------
    folder : Path
        Of the case.
    clip : Path
        Sound file; it stays where it is.
    taken : Taken
    time : datetime
        Now, with its time zone.
    gate : GateAnswer, optional
        What the check at the engine said of it, to be kept with it.

    Raises
    ------
    CaseError
        If it cannot be read or stored, or the folder is no case.
    """
    _require_sound(clip)
    sha256 = read_digest(clip)
    with _write_in_turn(folder) as (file, history):
        held = [(e, a) for e, a in recordings_of(history.standing) if a.sha256 == sha256]
        if held:
            earlier, added = held[0]
            whole = _write_stored(folder, clip, Path(added.stored).name, sha256)
            file.write_through()  # whoever entered it may have been cut short before
            return Added(earlier, True, _already(clip, earlier, added, whole))
        stored = _stored_name(folder, clip, sha256)
        _write_stored(folder, clip, stored, sha256)
        size = (folder / RECORDINGS / stored).stat().st_size
        added = RecordingAdded(sha256, f"{RECORDINGS}/{stored}", clip.name, size, taken, gate)
        event = _write_next(file, history, added, time)
    return Added(event, False, f"{clip.name}: added as number {event.id}.")


def write_screening(folder: Path, answer: str, made: ScreeningMade, time: datetime) -> Event:
    """Keep a screening: its whole answer as a file, then its summary in the history.

    Parameters
    ----------
    folder : Path
        Of the case.
    answer : str
        The answer as JSON.
    made : ScreeningMade
        Its `answer` is set to the file.
    time : datetime
    """
    with _write_in_turn(folder) as (file, history):
        place = folder / SCREENINGS
        place.mkdir(exist_ok=True)
        made = replace(made, answer=_write_answer(place, answer.encode("utf-8")))
        return _write_next(file, history, made, time)


def write_event(folder: Path, data: EventData, time: datetime) -> Event:
    """Enter anything else in the history; on the disk when this returns.

    Raises
    ------
    CaseError
        If the folder is no case, or `data` takes back what is not there.
    """
    if isinstance(data, RecordingAdded | ScreeningMade):
        raise TypeError("Use write_recording and write_screening for what has a file.")
    with _write_in_turn(folder) as (file, history):
        if isinstance(data, TakenBack) and data.event not in {e.id for e in history.standing}:
            raise CaseError(
                f"{folder}: there is no event {data.event} that could be taken back. acoustic case "
                "show lists them with their numbers."
            )
        return _write_next(file, history, data, time)


def write_event_with(
    folder: Path, data: EventData, file: tuple[str, bytes], time: datetime
) -> Event:
    """Enter an event whose file, named from the case folder, is on the disk before it."""
    name, content = file
    with _write_in_turn(folder) as (growing, history):
        place = folder / name
        place.parent.mkdir(exist_ok=True)
        write_lasting(place, content)
        write_folder_to_disk(folder)
        return _write_next(growing, history, data, time)


@dataclass(frozen=True, slots=True)
class MadeElsewhere:
    """An event that somebody sent, with the time they made it; a screening with its answer."""

    time: datetime
    data: EventData
    answer: bytes = b""


def write_made_elsewhere(
    folder: Path, choose: Callable[[bytes, History], Sequence[MadeElsewhere]]
) -> tuple[Event, ...]:
    """Enter what others made behind what is there, all of it or nothing.

    Parameters
    ----------
    folder : Path
        Of the case.
    choose : callable
        Given the history as it stands while nobody else writes, says what to enter.
    """
    with _write_in_turn(folder) as (file, history):
        chosen = choose(read_whole(folder / HISTORY_FILE), history)
        place = folder / SCREENINGS
        place.mkdir(exist_ok=True)
        events: list[Event] = []
        for number, one in enumerate(chosen, start=history.last_id + 1):
            data = one.data
            if isinstance(data, ScreeningMade):
                data = replace(data, answer=_write_answer(place, one.answer))
            events.append(Event(number, one.time.astimezone(UTC), data))
        if events:
            start = b"\n" if history.ends_torn else b""
            file.write_added(start + b"".join(map(render_event, events)))
        return tuple(events)


@contextmanager
def _write_in_turn(folder: Path) -> Iterator[tuple[GrowingFile, History]]:
    """Hold the case against other writers; give its history as it is by then."""
    if not (folder / CASE_FILE).is_file():
        raise CaseError(no_case_message(folder))
    with write_locked(folder / HISTORY_FILE) as file:
        for name in ("", RECORDINGS, SCREENINGS, LINKS):
            write_away_leftovers(folder / name)
        yield file, read_history(folder)


def _write_answer(place: Path, answer: bytes) -> str:
    """Keep an answer under the next number; gives where, from the case folder."""
    name = f"{1 + max(_numbers(names_in(place)), default=0):04d}.json"
    write_lasting(place / name, answer)
    return f"{SCREENINGS}/{name}"


def _write_next(file: GrowingFile, history: History, data: EventData, time: datetime) -> Event:
    event = next_event(history, data, time)
    file.write_added((b"\n" if history.ends_torn else b"") + render_event(event))
    return event


def _require_sound(clip: Path) -> None:
    """Refuse what is plainly no sound; whether it is fit is not decided here."""
    if clip.is_dir():
        raise CaseError(f"{clip}: this is a folder. Name the sound files in it.")
    if not clip.is_file():
        raise CaseError(f"{clip}: there is no such file. Check the name and the folder.")
    head = _read_head(clip)
    if not head:
        raise CaseError(f"{clip.name}: the file is empty (0 bytes). Send the original again.")
    if sniff_container(head) == "text":
        raise CaseError(f"{clip.name}: this is a text file, not sound. Give the clip itself.")


def _read_head(clip: Path) -> bytes:
    try:
        with clip.open("rb") as file:
            return file.read(HEAD_BYTES)
    except OSError as error:
        raise CaseError(f"{clip}: cannot be read ({error.strerror or error}).") from None


def _stored_name(folder: Path, clip: Path, sha256: str) -> str:
    """Where the content is or will be, whatever the ending it was once stored with."""
    short = sha256[:_SHORT_DIGITS]
    there = [name for name in names_in(folder / RECORDINGS) if name.startswith(short)]
    suffix = clip.suffix.lower()
    ending = suffix if _SUFFIX.fullmatch(suffix) else ".sound"
    return there[0] if there else short + ending


def _write_stored(folder: Path, clip: Path, name: str, sha256: str) -> bool:
    """Store the content under its name; True if it was there, whole."""
    path = folder / RECORDINGS / name
    path.parent.mkdir(exist_ok=True)
    if path.is_file() and read_digest(path) == sha256:
        write_folder_to_disk(path.parent)  # a cut may have come before its name was safe
        return True
    write_lasting_copy(clip, path, sha256)
    return False


def _already(clip: Path, earlier: Event, added: RecordingAdded, whole: bool) -> str:
    day = earlier.time.date().isoformat()
    held = f"as number {earlier.id} ({added.original}, {day})"
    if whole:
        return f"{clip.name}: is in the case already, {held}. Nothing was changed."
    return f"{clip.name}: is in the case {held}; its stored file was lost or damaged: put back."


def _numbers(names: Iterable[str]) -> list[int]:
    return [int(stem) for stem, _ in map(os.path.splitext, names) if stem.isdigit()]
