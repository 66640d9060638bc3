"""``acoustic case add``: from names and options to what is taken into a case."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import parsed_rpm, parsed_second
from acoustic.errors import AcousticError, CaseError, SettingsError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case
    from acoustic.casework.take_names import NameRead
    from acoustic.casework.take_words import TakeWords, Told
    from acoustic.recording.taken import Stage, Taken


_STAGES: dict[str, Stage] = {
    "--before": "before", "--after": "after", "--healthy": "healthy",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class AddRequest:
    """Everything typed after ``acoustic case add``."""

    folder: Path
    clips: tuple[Path, ...]
    point: str | None = None
    contact: bool | None = None
    rpm: str | None = None
    loads: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    take: int | None = None
    device: str | None = None
    switched_off: str | None = None


def run_add(request: AddRequest, time: datetime, say: Callable[[str], None]) -> int:
    """Take the clips in as asked, telling of each what was understood; return the exit code."""
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.take_names import parse_take_name
    from acoustic.casework.take_words import find_take_words

    case = read_case(request.folder)
    words = find_take_words(case.drive)
    given = told_by_options(request, words)
    names = [(clip, parse_take_name(clip.name, words)) for clip in request.clips]
    _require_clear(names, given)
    alike = [one.taken for one in case.recordings]
    faults = []
    for clip, name in names:
        try:
            taken = _add(case, clip, _numbered_take(given, name, alike), time, say)
        except AcousticError as error:
            faults.append(str(error))
            continue
        if taken is not None:
            alike.append(taken)
            if name.unread:
                say(f"  Not understood in its name: {', '.join(name.unread)}.")
    if faults:
        raise CaseError("\n".join(faults))
    return 0


def told_by_options(request: AddRequest, words: TakeWords) -> Told:
    """What the options tell of how the clips were taken.

    Raises
    ------
    AcousticError
        For an option that cannot be right.
    """
    from acoustic.casework.take_words import Told, find_loads, find_point

    if len(request.stages) > 1:
        raise SettingsError(
            f"{' and '.join(request.stages)} are given together. Keep the one that is right."
        )
    if request.take is not None and request.take < 1:
        raise SettingsError(f"--take {request.take}: takes are counted from 1.")
    told = Told(
        point=None if request.point is None else find_point(request.point, words),
        contact=request.contact,
        loads=find_loads(request.loads, words) if request.loads else None,
        take=request.take,
        device=request.device,
    )
    if request.rpm is not None:
        told = replace(told, rpm=parsed_rpm(request.rpm) or "heard")
    if request.switched_off is not None:
        told = replace(told, switched_off_s=parsed_second(request.switched_off) or "none")
    if request.stages:
        told = replace(told, stage=_STAGES[request.stages[0]])
    return told


def _require_clear(names: Sequence[tuple[Path, NameRead]], given: Told) -> None:
    """Refuse all clips while a name leaves something open: nothing is guessed, none half done."""
    from acoustic.casework.take_names import open_questions

    asked = [f"{c.name}: {q}" for c, name in names for q in open_questions(name, given)]
    if asked:
        raise CaseError("\n".join([*asked, "Nothing was added yet."]))


def _numbered_take(given: Told, name: NameRead, alike: list[Taken]) -> Taken:
    """How it was taken, numbered after those alike where nobody told the number."""
    from acoustic.casework.take_names import next_take, taken_as

    taken = taken_as(given, name.told)
    if given.take is None and name.told.take is None:
        taken = replace(taken, take=next_take(taken, alike))
    return taken


def _add(
    case: Case, clip: Path, taken: Taken, time: datetime, say: Callable[[str], None]
) -> Taken | None:
    """Take one clip in and tell it; how it was taken, or None if it was there already."""
    from acoustic.casework.case_writes import write_recording
    from acoustic.output.case_text import taken_text

    added = write_recording(case.folder, clip, taken, time)
    say(added.sentence)
    if added.already:
        return None
    say(f"  Taken: {taken_text(taken)}.")
    return taken
