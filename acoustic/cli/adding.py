"""``acoustic case add``: from names and options to what is taken into a case."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import parsed_rpm, parsed_second
from acoustic.errors import AcousticError, CaseError, SettingsError, UnfitRecordingError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case
    from acoustic.casework.gate import TakeCheck
    from acoustic.casework.history import Event
    from acoustic.casework.plan_steps import PlanStep
    from acoustic.casework.take_names import NameRead
    from acoustic.casework.take_words import TakeWords, Told
    from acoustic.recording.same_sound import Sketch
    from acoustic.recording.taken import Stage, Taken

_STAGES: dict[str, Stage] = {
    "--before": "before", "--after": "after", "--healthy": "healthy",
}  # fmt: skip
EXIT_ADDED = 0
EXIT_UNFIT = 3
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
    gate = _Gate(case, _recorded_steps(case), list(takes_done(case)))
    faults: list[AcousticError] = []
    code = EXIT_ADDED
    for clip, name in names:
        try:
            taken = _numbered_take(given, name, takes)
            usable = _add(gate, clip, taken, time, say)
        except AcousticError as error:
            faults.append(error)
            continue
        if usable is None:
            continue
        takes.append(taken)
        if name.unread:
            say(f"  Not understood in its name: {', '.join(name.unread)}.")
        if not usable:
            code = EXIT_UNFIT
    if faults:
        unfit = all(isinstance(fault, UnfitRecordingError) for fault in faults)
        kind = UnfitRecordingError if unfit else CaseError
        raise kind("\n".join(str(fault) for fault in faults))
    _say_what_is_next(gate, takes[-1] if takes else None, say)
    return code


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
    gate: _Gate, clip: Path, taken: Taken, time: datetime, say: Callable[[str], None]
) -> bool | None:
    """Take one clip in and tell it: whether it is usable; None if the case had it already."""
    from acoustic.casework.case_answer import as_gate_answer
    from acoustic.casework.case_writes import write_recording
    from acoustic.output.case_text import taken_in_full

    folder = gate.case.folder
    check, words = gate.look(clip, taken)
    added = write_recording(folder, clip, taken, time, as_gate_answer(check))
    say(added.sentence)
    undo = f"acoustic case undo {folder} {added.event.id}, then add it again"
    if added.already:
        before = _taken_before(added.event)
        if before is not None and replace(taken, take=before.take) != before:
            say(f"  It is entered as: {taken_in_full(before)}. To change that: {undo}.")
        return None
    say(f"  Taken: {taken_in_full(taken)}.")
    say(f"  {check.headline}")
    for remark in check.remarks:
        if remark.code == "part_used":  # of a long file the rest was not looked at
            say(f"  {remark.message}")
    for sentence in check.do_again:
        say(f"  - {sentence}")
    if words:
        say(f"  {words}")
    if check.usable:
        gate.done.append(_with_speed(taken, check))
        return True
    say("  It is kept, but left out of screenings.")
    if not any(remark.severity == "unfit" for remark in check.remarks):
        say(f"  If you know its speed: {undo} with --rpm N.")
    return False


@dataclass(frozen=True, slots=True)
class _Gate:
    """What clips are held against: the steps of the plan, made once, and what is there."""

    case: Case
    steps: tuple[PlanStep, ...]
    done: list[Taken]
    heard: list[Sketch] = field(default_factory=list)

    def look(self, clip: Path, taken: Taken) -> tuple[TakeCheck, str]:
        """Look a clip over while the engine still runs; with a word on the step it answers."""
        from acoustic.casework.gate import check_take, held_against
        from acoustic.casework.plan_steps import still_open
        from acoustic.listening import Clip
        from acoustic.recording.audio_file import read_recording
        from acoustic.recording.same_sound import sketch_of

        recording, drive = read_recording(clip), self.case.drive
        plain = Clip(recording, rpm=taken.rpm, switched_off_s=taken.switched_off_s, taken=taken)
        check = check_take(plain, drive, earlier=self._heard())
        self.heard.append(sketch_of(recording))
        if not check.usable:
            return check, ""
        heard = _with_speed(taken, check)
        left = still_open(self.steps, self.done, drive)
        now = still_open(self.steps, [heard], drive)
        answered = [step for step in self.steps if step not in now]
        for step in answered:
            if step in left:
                words = f"Answers step {step.number} of the plan: {step.title}."
                return held_against(check, step.seconds), words
        return (check, "") if answered else self._beside(check, heard, left)

    def _heard(self) -> list[Sketch]:
        """What was recorded before, read once; a file that is gone or spoilt is passed over."""
        from acoustic.casework.case_answer import read_clip
        from acoustic.recording.same_sound import sketch_of

        if not self.heard:
            for one in self.case.recordings:
                with suppress(CaseError):
                    self.heard.append(sketch_of(read_clip(one).recording))
        return self.heard

    def _beside(
        self, check: TakeCheck, heard: Taken, left: Sequence[PlanStep]
    ) -> tuple[TakeCheck, str]:
        """Hold a clip that answers no step against the one it would answer at another speed."""
        from acoustic.casework.gate import held_against
        from acoustic.casework.plan_steps import step_meant

        meant = step_meant(heard, left, self.case.drive)
        if meant is None or meant.asks_for is None:
            return check, ""
        words = f"Does not answer step {meant.number} of the plan: {meant.title}."
        return held_against(check, meant.seconds, meant.asks_for.rpm), words


def _taken_before(event: Event) -> Taken | None:
    from acoustic.casework.history import RecordingAdded

    return event.data.taken if isinstance(event.data, RecordingAdded) else None


def _with_speed(taken: Taken, check: TakeCheck) -> Taken:
    """How it was taken, with the speed that was heard where none was given."""
    return taken if taken.rpm is not None else replace(taken, rpm=check.rpm)


def _recorded_steps(case: Case) -> tuple[PlanStep, ...]:
    """Steps of the plan that ask for a recording."""
    from acoustic.casework.plan import make_plan

    steps = make_plan(case.drive, case.file.words).steps
    return tuple(step for step in steps if step.asks_for is not None)


def _say_what_is_next(gate: _Gate, last: Taken | None, say: Callable[[str], None]) -> None:
    """Say what is still to record; what is not from before the repair is in no plan."""
    from acoustic.casework.case_answer import takes_done
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.plan_steps import still_open

    folder = gate.case.folder
    if last is not None and last.stage == "after":
        say(f"Next: acoustic case change {folder}")
        return
    missing = still_open(gate.steps, takes_done(read_case(folder)), gate.case.drive)
    if not missing:
        say(f"All recordings of the plan are there. Next: acoustic case screen {folder}")
        return
    say(f"Still to record, {len(missing)} of the plan:")
    for step in missing[:_SHOWN_STEPS]:
        say(f"  - {step.title} ({step.seconds:.0f} s)")
    if len(missing) > _SHOWN_STEPS:
        say(f"  and {len(missing) - _SHOWN_STEPS} more: acoustic case plan {folder}")
