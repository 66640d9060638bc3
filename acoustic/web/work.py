"""Work that takes longer than a page may: clips looked over, screenings, reports, sounds.

What is asked stands as a file in the case before anybody is told that it will be done, and
goes when it is done. So a server that was stopped or broke in the middle takes it up again
at the next start, and what is done twice is the same.
"""

from __future__ import annotations

import os
import threading
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, TypeAlias

from pydantic import TypeAdapter, ValidationError

from acoustic.casework.case_answer import as_gate_answer, is_answered
from acoustic.casework.case_file import CASE_FILE
from acoustic.casework.case_folder import Case, read_case
from acoustic.casework.case_writes import write_recording
from acoustic.casework.gate import turned_away
from acoustic.casework.lasting_files import write_lasting
from acoustic.casework.take_names import next_take
from acoustic.errors import AcousticError, RecordingError
from acoustic.recording.taken import Taken
from acoustic.web.apart_tasks import (
    LOOK_LIMITS,
    SCREEN_LIMITS,
    SOUND_LIMITS,
    Looked,
    look_over,
    make_report,
    make_sounds,
    screen_case,
)
from acoustic.web.plain_words import without_place
from acoustic.web.sound_sets import read_sounds_asked, write_none_made
from acoustic.web.strangers import (
    ApartLimits,
    Listener,
    Say,
    StoppedError,
    as_raised,
    load_ahead,
    run_apart,
)
from acoustic.web.waiting import (
    PAGE_FOLDER,
    WaitingClip,
    read_waiting,
    write_done,
    write_refused,
)

Kind: TypeAlias = Literal["clips", "screen", "report", "report with sounds", "sounds"]
REPORT_FILE = "report.html"
_LANES: tuple[tuple[Kind, ...], ...] = (
    ("clips",),
    ("screen", "report", "report with sounds"),
    ("sounds",),
)
_TOLD_BY_FILES: tuple[Kind, ...] = ("clips", "sounds")
"""Kinds whose wishes lie in the case by themselves, each with what came with it."""

_DEEPEST = 5
_NO_SENSE = "What came of looking it over makes no sense: the file may be made to do harm."
_OUR_MISTAKE = (
    "This is a mistake of the program; more about it stands where the page was started. Nothing "
    "that was sent is lost."
)
_MOST_TOGETHER = 10
"""Clips of one case that are looked over by one process."""


@dataclass(frozen=True, slots=True)
class WorkState:
    """How it stands with one piece of work.

    Attributes
    ----------
    kind : str
    step : str
        What is being done now; empty while it waits.
    trouble : str
        Why it came to nothing, the last time; empty while it waits or is done.
    """

    kind: Kind
    step: str = ""
    trouble: str = ""

    @property
    def under_way(self) -> bool:
        """Whether it waits or is being done."""
        return not self.trouble


class WorkQueue:
    """Does what is asked, in lanes, so that neither a clip nor a sound waits for a screening.

    Parameters
    ----------
    root : Path
        Folder that holds the cases.
    """

    def __init__(self, root: Path) -> None:
        self._root = root
        self._states: dict[tuple[Path, Kind], WorkState] = {}
        self._versions: dict[Path, int] = {}
        self._waiting: tuple[deque[tuple[Path, Kind]], ...] = tuple(deque() for _ in _LANES)
        self._changed = threading.Condition()
        self._stopped = False
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Take up what was asked before and begin to work."""
        for folder, kind in _asked_before(self._root):
            self._queue(folder, kind)
        for lane in range(len(_LANES)):
            thread = threading.Thread(target=self._work, args=(lane,), daemon=True)
            self._threads.append(thread)
            thread.start()
        threading.Thread(target=load_ahead, daemon=True).start()

    def stop(self) -> None:
        """End what is under way; it is done at the next start."""
        with self._changed:
            self._stopped = True
            self._changed.notify_all()
        for thread in self._threads:
            thread.join(timeout=10.0)

    def ask(self, folder: Path, kind: Kind) -> None:
        """Ask for work on a case; what was asked outlives this server when this returns."""
        if kind not in _TOLD_BY_FILES:
            _write_asked(folder, kind)
        self._queue(folder, kind)

    def states_of(self, folder: Path) -> tuple[WorkState, ...]:
        """Work of a case that waits, is under way or came to nothing."""
        with self._changed:
            return tuple(state for (where, _), state in self._states.items() if where == folder)

    def version_of(self, folder: Path) -> int:
        """A number that grows whenever something about the work of a case changes."""
        with self._changed:
            return self._versions.get(folder, 0)

    def _queue(self, folder: Path, kind: Kind) -> None:
        with self._changed:
            lane = next(k for k, kinds in enumerate(_LANES) if kind in kinds)
            if (folder, kind) not in self._waiting[lane]:
                self._waiting[lane].append((folder, kind))
            self._set(folder, kind, WorkState(kind))

    def _set(self, folder: Path, kind: Kind, state: WorkState | None) -> None:
        """Note how it stands; only for whoever holds the lock."""
        if state is None:
            self._states.pop((folder, kind), None)
        else:
            self._states[folder, kind] = state
        self._versions[folder] = self._versions.get(folder, 0) + 1
        self._changed.notify_all()

    def _work(self, lane: int) -> None:
        while True:
            with self._changed:
                while not self._waiting[lane] and not self._stopped:
                    self._changed.wait()
                if self._stopped:
                    return
                folder, kind = self._waiting[lane].popleft()
            try:
                self._do(folder, kind)
            except StoppedError:
                return

    def _do(self, folder: Path, kind: Kind) -> None:
        def say(step: str) -> None:
            with self._changed:
                self._set(folder, kind, WorkState(kind, step))

        say("starting")
        trouble = ""
        try:
            if kind == "clips":
                self._look_over_some(folder, say)
            elif kind == "sounds":
                self._make_oldest_sounds(folder, say)
            elif kind == "screen":
                self._run(screen_case, (folder,), SCREEN_LIMITS, say)
            else:
                file = folder / PAGE_FOLDER / REPORT_FILE
                sounds = kind == "report with sounds"
                self._run(make_report, (folder, file, sounds), SCREEN_LIMITS, say)
        except AcousticError as error:
            trouble = without_place(str(error), self._root)
        except StoppedError:
            raise
        except Exception:  # the lane must go on for the other cases
            traceback.print_exc()
            trouble = _OUR_MISTAKE
        self._end(folder, kind, trouble)

    def _end(self, folder: Path, kind: Kind, trouble: str) -> None:
        more = not trouble and _still_waits(folder, kind)
        with self._changed:
            lane = next(k for k, kinds in enumerate(_LANES) if kind in kinds)
            again = (folder, kind) in self._waiting[lane]  # asked anew meanwhile
            if not again and kind not in _TOLD_BY_FILES:
                _asked_file(folder, kind).unlink(missing_ok=True)
            if more and not again:
                self._waiting[lane].append((folder, kind))
            state = WorkState(kind, trouble=trouble) if trouble else None
            self._set(folder, kind, WorkState(kind) if again or more else state)

    def _run(
        self,
        task: Callable[..., Any],
        arguments: tuple[Any, ...],
        limits: ApartLimits,
        say: Say,
        part: Callable[[Any], None] = lambda _part: None,
    ) -> None:
        listener = Listener(say, part, lambda: self._stopped)
        run_apart(task, arguments, limits, listener)

    def _make_oldest_sounds(self, folder: Path, say: Say) -> None:
        """Make the sounds asked for first; why there are none is told on their own page."""
        for asked in read_sounds_asked(folder)[:1]:
            try:
                self._run(make_sounds, (folder, asked), SOUND_LIMITS, say)
            except AcousticError as error:
                write_none_made(folder, asked, error)

    def _look_over_some(self, folder: Path, say: Say) -> None:
        """Take the oldest clips that wait into the case; ask for a screening after the last."""
        batch = numbered(read_case(folder), read_waiting(folder)[:_MOST_TOGETHER])
        left = {clip.id: (clip, taken) for clip, taken in batch}

        def take(part: object) -> None:
            try:
                looked = TypeAdapter(Looked).validate_python(part)
                clip, taken = left.pop(looked.id)
            except (ValidationError, KeyError):
                raise RecordingError(_NO_SENSE) from None
            take_in(folder, clip, taken, looked)

        arguments = (folder, [(clip.id, clip.path, taken) for clip, taken in batch])
        try:
            if batch:
                self._run(look_over, arguments, LOOK_LIMITS, say, take)
        except AcousticError as error:
            if not left:
                raise
            broke, _ = next(iter(left.values()))  # the others are looked over again
            refuse(folder, broke, error)
        if not read_waiting(folder) and not is_answered(read_case(folder)):
            self.ask(folder, "screen")


def numbered(case: Case, waiting: Sequence[WaitingClip]) -> list[tuple[WaitingClip, Taken]]:
    """How each clip was taken, numbered after those alike where nobody told the number."""
    takes = [one.taken for one in case.recordings]
    rows = []
    for clip in waiting:
        taken = clip.asked.taken
        if not clip.asked.numbered:
            taken = replace(taken, take=next_take(taken, takes))
        takes.append(taken)
        rows.append((clip, taken))
    return rows


def take_in(folder: Path, clip: WaitingClip, taken: Taken, looked: Looked) -> None:
    """Take a clip that was looked over into its case, or keep why not."""
    check = looked.check
    if check is None:
        refuse(folder, clip, as_raised(*looked.error))
        return
    if clip.asked.processing:
        check = turned_away(check, processed_words(clip.asked.processing))
    try:
        write_recording(folder, clip.path, taken, datetime.now(UTC), as_gate_answer(check))
    except AcousticError as error:
        refuse(folder, clip, error)
    else:
        write_done(clip)


def refuse(folder: Path, clip: WaitingClip, error: AcousticError) -> None:
    """Keep why a clip is not taken in, without where the case lies on this machine."""
    said = without_place(without_place(str(error), clip.path.parent), folder)
    write_refused(folder, clip, said, datetime.now(UTC))


def processed_words(processing: tuple[str, ...]) -> str:
    """What to say of a sound that the browser changed while it was recorded."""
    what = " and ".join(processing)
    verb = "was" if len(processing) == 1 else "were"
    return (
        f"The browser's {what} {verb} on: it takes a steady engine for noise and removes it. "
        "Record again with the phone's own recorder and send the file."
    )


def _still_waits(folder: Path, kind: Kind) -> bool:
    """Whether files in the case ask for more of this kind."""
    if kind == "clips":
        return bool(read_waiting(folder))
    return kind == "sounds" and bool(read_sounds_asked(folder))


def _asked_file(folder: Path, kind: Kind) -> Path:
    return folder / PAGE_FOLDER / f"asked {kind}"


def _write_asked(folder: Path, kind: Kind) -> None:
    file = _asked_file(folder, kind)
    file.parent.mkdir(exist_ok=True)
    write_lasting(file, b"")


def _asked_before(root: Path) -> Iterator[tuple[Path, Kind]]:
    """What the cases under a folder still wait for."""
    for place, folders, files in os.walk(root):
        here = Path(place)
        folders[:] = [name for name in folders if not name.startswith(".")]
        if CASE_FILE not in files:
            if len(here.relative_to(root).parts) >= _DEEPEST:
                folders.clear()
            continue
        folders.clear()
        yield from ((here, kind) for kind in _TOLD_BY_FILES if _still_waits(here, kind))
        for kind in _LANES[1]:
            if _asked_file(here, kind).exists():
                yield here, kind
