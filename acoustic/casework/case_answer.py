"""All recordings of a case screened together, and what is believed after its hand checks."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from acoustic.casework.case_folder import SCREENINGS, Case, StoredRecording
from acoustic.casework.check_results import CheckDone as CheckResult
from acoustic.casework.gate import TakeCheck
from acoustic.casework.history import CheckDone, GateAnswer, Outcome, ScreeningMade
from acoustic.casework.next_checks import apply_results
from acoustic.casework.service_due import Mileage
from acoustic.casework.track_record import ClosedCase
from acoustic.errors import CaseError
from acoustic.listening import Clip
from acoustic.recording.audio_file import read_recording
from acoustic.recording.taken import Stage, Taken
from acoustic.screening import ScreenSettings, screen
from acoustic.tables.knowledge import Knowledge, load_knowledge
from acoustic.verdict.belief import Belief
from acoustic.verdict.suspects import Screening


def read_clips(case: Case, stage: Stage) -> list[Clip]:
    """Read the recordings of one stage that the gate did not turn away, in their order."""
    return [read_clip(one) for one in usable_recordings(case, stage)]


def read_and_screen(
    case: Case,
    settings: ScreenSettings,
    *,
    stage: Stage = "before",
    progress: Callable[[str], None] | None = None,
) -> Screening:
    """Screen all recordings of a case together, against those of the sound drive if there are.

    Raises
    ------
    CaseError
        If there is no usable recording of that stage.
    """
    clips = read_clips(case, stage)
    if not clips:
        turned_away = sum(one.taken.stage == stage for one in case.recordings)
        why = (
            f"none of its {turned_away} recordings {stage} the repair is usable"
            if turned_away
            else f"it has no recordings {stage} the repair yet"
        )
        raise CaseError(
            f"{case.folder}: {why}. Add some: acoustic case add {case.folder} CLIP..., as the plan "
            f"says (acoustic case plan {case.folder})."
        )
    reference = usable_recordings(case, "healthy")
    return screen(
        clips,
        case.drive,
        reference=read_clip(_closest(reference, clips)) if reference else None,
        complaint=case.file.words,
        settings=settings,
        progress=progress,
    )


def read_belief(case: Case) -> Belief | None:
    """What the newest screening of a case believed, before any hand check.

    None if there is no screening, or it could not screen anything. One that somebody sent in
    an answer does not count.

    Raises
    ------
    CaseError
        If the answer kept is damaged.
    """
    screenings = [e.data for e in case.events if isinstance(e.data, ScreeningMade)]
    made = [one for one in screenings if one.answer and not one.by]
    if not made:
        return None
    place = case.folder / SCREENINGS / Path(made[-1].answer).name
    try:
        values = json.loads(place.read_text("utf-8")).get("belief")
        return None if values is None else Belief.from_values(values)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise CaseError(
            f"{place}: this answer is damaged or missing ({error}). Screen the case again: "
            f"acoustic case screen {case.folder}"
        ) from None


def checks_done(case: Case) -> tuple[CheckResult, ...]:
    """Results of the hand checks that stand, oldest first."""
    done = [e.data for e in case.events if isinstance(e.data, CheckDone)]
    return tuple(CheckResult(one.check, one.part, one.result) for one in done)


def believed_after_checks(case: Case, belief: Belief, knowledge: Knowledge | None = None) -> Belief:
    """The belief with all hand checks of the case taken in.

    Raises
    ------
    CaseError
        If the history names a check, part or result that is not known any more.
    """
    return apply_results(case.drive, belief, checks_done(case), knowledge or load_knowledge())


def read_closed_case(case: Case) -> ClosedCase | None:
    """What was believed and what was found; None if it is not closed or was never screened."""
    outcomes = [e.data for e in case.events if isinstance(e.data, Outcome)]
    belief = read_belief(case) if outcomes else None
    if belief is None:
        return None
    found = tuple(dict.fromkeys(one.part for one in outcomes if one.part))
    kinds = tuple(case.drive.parts[part].kind for part in belief.parts if part in case.drive.parts)
    if len(kinds) != len(belief.parts):
        return None  # the layout was changed since
    return ClosedCase(case.file.title, belief, found, kinds)


def takes_done(case: Case) -> tuple[Taken, ...]:
    """How the usable recordings before the repair were taken, with the speed that was heard."""
    return tuple(_with_heard_speed(one) for one in usable_recordings(case, "before"))


def mileage_of(case: Case) -> Mileage | None:
    """Odometer and last changes as the case file has them, by part; None without a reading."""
    file = case.file
    if file.odometer_km is None:
        return None
    changed = {
        name: km
        for thing, km in file.last_service_km
        if km is not None
        for name, part in case.drive.parts.items()
        if part.kind == thing
    }
    return Mileage(file.odometer_km, changed)


def as_gate_answer(check: TakeCheck) -> GateAnswer:
    """What the history keeps of the gate's answer."""
    return GateAnswer(check.usable, (check.headline,), check.do_again, check.rpm, check.used_s)


def usable_recordings(case: Case, stage: Stage) -> list[StoredRecording]:
    """Recordings of one stage that the gate did not turn away."""
    return [
        one
        for one in case.recordings
        if one.taken.stage == stage and (one.added.gate is None or one.added.gate.usable)
    ]


def _with_heard_speed(one: StoredRecording) -> Taken:
    gate = one.added.gate
    if one.taken.rpm is not None or gate is None:
        return one.taken
    return replace(one.taken, rpm=gate.rpm)


def read_clip(one: StoredRecording) -> Clip:
    """Read a recording of a case with what is known of it."""
    taken = one.taken
    recording = replace(read_recording(one.path), name=one.added.original)
    return Clip(recording, rpm=taken.rpm, switched_off_s=taken.switched_off_s, taken=taken)


def _closest(reference: Sequence[StoredRecording], clips: Sequence[Clip]) -> StoredRecording:
    """The recording of the sound drive that was taken most like the first clip."""
    first = clips[0].taken
    alike = [(one.taken.point == first.point, one.taken.loads == first.loads) for one in reference]
    return reference[alike.index(max(alike))]
