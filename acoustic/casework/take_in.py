"""A recording held against the plan of its case as it comes in: usable, and which step is it?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from acoustic.casework.case_answer import read_clip, takes_done
from acoustic.casework.case_folder import Case
from acoustic.casework.gate import TakeCheck, check_take, held_against
from acoustic.casework.plan import make_plan
from acoustic.casework.plan_steps import PlanStep, step_meant, still_open
from acoustic.errors import CaseError
from acoustic.listening import Clip
from acoustic.recording.audio_file import read_recording
from acoustic.recording.same_sound import Sketch, sketch_of
from acoustic.recording.taken import Taken


@dataclass(frozen=True, slots=True)
class TakeGate:
    """What clips are held against: the steps of the plan, made once, and what is there.

    Made by `take_gate`; whoever takes a usable clip in adds it to `done`.
    """

    case: Case
    steps: tuple[PlanStep, ...]
    done: list[Taken]
    heard: list[Sketch] = field(default_factory=list)

    def look(self, clip: Path, taken: Taken) -> tuple[TakeCheck, str]:
        """Look a clip over while the engine still runs; with a word on the step it answers.

        Raises
        ------
        RecordingError
            If it cannot be read.
        """
        recording, drive = read_recording(clip), self.case.drive
        plain = Clip(recording, rpm=taken.rpm, switched_off_s=taken.switched_off_s, taken=taken)
        check = check_take(plain, drive, earlier=self._heard_before())
        self.heard.append(sketch_of(recording))
        if not check.usable:
            return check, ""
        heard = with_heard_speed(taken, check)
        left = still_open(self.steps, self.done, drive)
        now = still_open(self.steps, [heard], drive)
        answered = [step for step in self.steps if step not in now]
        for step in answered:
            if step in left:
                words = f"Answers step {step.number} of the plan: {step.title}."
                return held_against(check, step.seconds), words
        return (check, "") if answered else self._beside(check, heard, left)

    def _heard_before(self) -> list[Sketch]:
        """What was recorded before, read once; a file that is gone or spoilt is passed over."""
        if not self.heard:
            for one in self.case.recordings:
                with suppress(CaseError):
                    self.heard.append(sketch_of(read_clip(one).recording))
        return self.heard

    def _beside(
        self, check: TakeCheck, heard: Taken, left: Sequence[PlanStep]
    ) -> tuple[TakeCheck, str]:
        """Hold a clip that answers no step against the one it would answer at another speed."""
        meant = step_meant(heard, left, self.case.drive)
        if meant is None or meant.asks_for is None:
            return check, ""
        words = f"Does not answer step {meant.number} of the plan: {meant.title}."
        return held_against(check, meant.seconds, meant.asks_for.rpm), words


def take_gate(case: Case) -> TakeGate:
    """The gate of a case as it stands."""
    steps = make_plan(case.drive, case.file.words).steps
    recorded = tuple(step for step in steps if step.asks_for is not None)
    return TakeGate(case, recorded, list(takes_done(case)))


def with_heard_speed(taken: Taken, check: TakeCheck) -> Taken:
    """How it was taken, with the speed that was heard where none was given."""
    return taken if taken.rpm is not None else replace(taken, rpm=check.rpm)
