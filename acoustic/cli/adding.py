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
    from acoustic.casework.gate import TakeCheck
    from acoustic.casework.plan_steps import PlanStep
    from acoustic.casework.take_names import NameRead
    from acoustic.casework.take_words import TakeWords, Told
    from acoustic.recording.taken import Stage, Taken


_STAGES: dict[str, Stage] = {
    "--before": "before", "--after": "after", "--healthy": "healthy",
}  # fmt: skip


_SHOWN_STEPS = 3


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
    from acoustic.casework.case_answer import takes_done
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.take_names import parse_take_name
    from acoustic.casework.take_words import find_take_words

    case = read_case(request.folder)
    words = find_take_words(case.drive)
    given = told_by_options(request, words)
    names = [(clip, parse_take_name(clip.name, words)) for clip in request.clips]
    _require_clear(names, given)
    takes = [one.taken for one in case.recordings]
    known = list(takes_done(case))
    faults = []
    for clip, name in names:
        try:
            numbered = _numbered_take(given, name, takes)
            new, heard = _add(case, clip, numbered, known, (time, say))
        except AcousticError as error:
            faults.append(str(error))
            continue
        if new:
            takes.append(numbered)
            known += [heard] if heard is not None else []
            if name.unread:
                say(f"  Not understood in its name: {', '.join(name.unread)}.")
    if not faults:
        _say_what_is_missing(case, known, say)
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
    case: Case,
    clip: Path,
    taken: Taken,
    alike: Sequence[Taken],
    when: tuple[datetime, Callable[[str], None]],
) -> tuple[bool, Taken | None]:
    """Take one clip in and tell it: whether it is new, and how it was taken if it is usable."""
    from acoustic.casework.case_answer import as_gate_answer
    from acoustic.casework.case_writes import write_recording
    from acoustic.output.case_text import taken_text

    check, wanted = _at_the_gate(case, clip, taken, alike)
    time, say = when
    added = write_recording(case.folder, clip, taken, time, as_gate_answer(check))
    say(added.sentence)
    if added.already:
        return False, None
    say(f"  Taken: {taken_text(taken)}.")
    say(f"  {check.headline}")
    for sentence in check.do_again:
        say(f"  - {sentence}")
    if wanted is not None and check.usable:
        say(f"  Answers step {wanted.number} of the plan: {wanted.title}.")
    if not check.usable:
        return True, None
    return True, taken if taken.rpm is not None else replace(taken, rpm=check.rpm)


def _at_the_gate(
    case: Case, clip: Path, taken: Taken, alike: Sequence[Taken]
) -> tuple[TakeCheck, PlanStep | None]:
    """Look a clip over while the engine still runs; with the step of the plan it answers."""
    from acoustic.casework.gate import check_take, held_against
    from acoustic.casework.plan_steps import fulfils
    from acoustic.listening import Clip
    from acoustic.recording.audio_file import read_recording

    recording = read_recording(clip)
    plain = Clip(recording, rpm=taken.rpm, switched_off_s=taken.switched_off_s, taken=taken)
    check = check_take(plain, case.drive)
    heard = replace(taken, rpm=check.rpm) if taken.rpm is None else taken
    for step in _open_steps(case, alike):
        if step.asks_for is not None and fulfils(heard, step.asks_for, case.drive):
            return held_against(check, step.seconds), step
    return check, None


def _open_steps(case: Case, alike: Sequence[Taken]) -> list[PlanStep]:
    """Steps of the plan whose recording is not there yet."""
    from acoustic.casework.plan import make_plan

    steps = make_plan(case.drive, case.file.words, None, alike).steps
    return [step for step in steps if step.asks_for is not None and not step.done]


def _say_what_is_missing(case: Case, alike: Sequence[Taken], say: Callable[[str], None]) -> None:
    missing = _open_steps(case, alike)
    if not missing:
        say("All recordings of the plan are there. Next: acoustic case screen " + str(case.folder))
        return
    say(f"Still to record, {len(missing)} of the plan:")
    for step in missing[:_SHOWN_STEPS]:
        say(f"  - {step.title} ({step.seconds:.0f} s)")
    if len(missing) > _SHOWN_STEPS:
        say(f"  and {len(missing) - _SHOWN_STEPS} more: acoustic case plan {case.folder}")
