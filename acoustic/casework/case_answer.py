"""All recordings of a case screened together, and what is believed after its hand checks."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from acoustic.casework.case_folder import SCREENINGS, Case, StoredRecording
from acoustic.casework.check_results import CheckMade
from acoustic.casework.gate import TakeCheck
from acoustic.casework.history import CheckDone, GateAnswer, Outcome, ScreeningMade
from acoustic.casework.next_checks import apply_results, tells_of
from acoustic.casework.service_due import Mileage
from acoustic.casework.track_record import ClosedCase
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.errors import CaseError, RecordingError
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
        If there is no usable recording of that stage, or one cannot be read any more.
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
            f"{case.folder}: {why}. Add some, as the plan says (acoustic case plan {case.folder}): "
            f"acoustic case add {case.folder} {'--after ' if stage == 'after' else ''}CLIP..."
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


def read_and_screen_one(
    case: Case,
    one: StoredRecording,
    settings: ScreenSettings,
    *,
    progress: Callable[[str], None] | None = None,
) -> Screening:
    """Screen one recording of a case by itself, to listen to it.

    What is heard in it is its own; by which mechanism a part would fail stays what the whole
    case believes, where it believes anything.

    Raises
    ------
    CaseError
        If it cannot be read any more.
    """
    clip = read_clip(one)
    reference = [two for two in usable_recordings(case, "healthy") if two != one]
    screening = screen(
        [clip],
        case.drive,
        reference=read_clip(_closest(reference, [clip])) if reference else None,
        complaint=case.file.words,
        settings=settings,
        progress=progress,
    )
    if screening.belief is None:
        return screening
    try:
        belief = read_belief(case)
    except CaseError:  # of another layout, or damaged: told where the case is shown
        return screening
    if belief is None or belief.parts != screening.belief.parts:
        return screening
    return replace(screening, belief=believed_after_checks(case, belief))


def read_belief(case: Case) -> Belief | None:
    """What the newest screening of a case believed, before any hand check.

    None if there is no screening, or it could not screen anything. One that somebody sent in
    an answer does not count.

    Raises
    ------
    CaseError
        If the answer kept is damaged, or the layout no longer has what it speaks of.
    """
    belief = _read_kept_belief(case)
    if belief is None:
        return None
    gone = _gone_from_layout(case, belief)
    if gone:
        raise CaseError(
            f"{case.folder}: {case.file.layout} was changed since the case was screened: it no "
            f"longer has {', '.join(gone)}. Screen the case again: acoustic case screen "
            f"{case.folder}"
        )
    return belief


def _read_kept_belief(case: Case) -> Belief | None:
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


def checks_done(case: Case) -> tuple[CheckMade, ...]:
    """Results of the hand checks that stand, oldest first.

    Of a check repeated at the same part the last counts: it is no further evidence, since
    what misled the first time misleads again.
    """
    last: dict[tuple[str, str], CheckMade] = {}
    for event in case.events:
        if isinstance(event.data, CheckDone):
            one = event.data
            last.pop((one.check, one.part), None)
            last[one.check, one.part] = CheckMade(one.check, one.part, one.result)
    return tuple(last.values())


def with_check(done: Sequence[CheckMade], new: CheckMade) -> tuple[CheckMade, ...]:
    """Results with one more, in place of the same check at the same part."""
    at = (new.check, new.part)
    return (*(one for one in done if (one.check, one.part) != at), new)


def require_known_check(case: Case, new: CheckMade, knowledge: Knowledge) -> None:
    """Raise `CaseError` for a check that tells nothing of such a part."""
    check, drive = knowledge.hand_checks.get(new.check), case.drive
    if check is None or new.part not in drive.parts:
        return  # names that are not known are told with those that are, by `apply_result`
    ways = _mechanisms_by_part(drive)
    places = [name for name in ways if tells_of(check, drive, name, ways[name], knowledge)]
    if new.part in places:
        return
    where = f"It is made at {', '.join(places)}" if places else "This layout has no part for it"
    raise CaseError(f"Hand check {new.check!r} is not made at {new.part!r}. {where}.")


def believed_after_checks(case: Case, belief: Belief, knowledge: Knowledge | None = None) -> Belief:
    """The belief with all hand checks of the case taken in.

    Raises
    ------
    CaseError
        If the history names a check, part or result that is not known any more.
    """
    return apply_results(case.drive, belief, checks_done(case), knowledge or load_knowledge())


def outcomes_of(case: Case) -> tuple[tuple[int, Outcome], ...]:
    """What was found, as far as it stands, each with its number in the history."""
    return tuple((e.id, e.data) for e in case.events if isinstance(e.data, Outcome))


def require_new_outcome(case: Case, new: Outcome) -> None:
    """Raise `CaseError` for an outcome that cannot be, or not beside those entered before."""
    if new.mechanism and not new.part:
        raise CaseError("--mechanism says what was wrong with a part: give --found PART with it.")
    _require_of_drive(case, new)
    for number, before in outcomes_of(case):
        if before.part and new.part and before.part != new.part:
            continue  # several parts may be faulty
        what = before.part or "that no part was to blame"
        raise CaseError(
            f"{case.folder}: {what} is entered already, as number {number}. If that does not hold: "
            f"acoustic case undo {case.folder} {number}"
        )


def _require_of_drive(case: Case, new: Outcome) -> None:
    known = _mechanisms_by_part(case.drive)
    if new.part and new.part not in known:
        raise CaseError(
            f"{new.part!r}: the layout has no such part. It has {', '.join(known)}. If it was "
            "none of these, use --nothing and say in --text what it was."
        )
    if new.mechanism and new.mechanism not in known[new.part]:
        raise CaseError(
            f"{new.part}: {new.mechanism!r} is no mechanism of it. It has "
            f"{', '.join(sorted(known[new.part]))}. Left out, only the part counts."
        )


def read_closed_case(case: Case) -> ClosedCase:
    """What was believed by the sound alone and what was found.

    Raises
    ------
    CaseError
        Saying why the case cannot be counted: not closed, not screened, damaged, or its
        layout was changed since.
    """
    outcomes = [one for _, one in outcomes_of(case)]
    if not outcomes:
        raise CaseError(f"{case.folder}: it is not closed.")
    belief = read_belief(case)
    if belief is None:
        raise CaseError(f"{case.folder}: no screening of it told anything.")
    found = tuple(dict.fromkeys(one.part for one in outcomes if one.part))
    unknown = [part for part in found if part not in belief.parts]
    if unknown:
        raise CaseError(f"{case.folder}: {', '.join(unknown)} came into the layout later.")
    kinds = tuple(case.drive.parts[part].kind for part in belief.parts)
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


def _mechanisms_by_part(drive: Drive) -> dict[str, set[str]]:
    known: dict[str, set[str]] = {name: set() for name in drive.parts}
    for family in expected_families(drive):
        known[family.part].add(family.mechanism)
    return known


def _gone_from_layout(case: Case, belief: Belief) -> list[str]:
    """Parts, and ways for a part to fail, that the layout had when it was screened."""
    now = _mechanisms_by_part(case.drive)
    gone = []
    for part, shares in zip(belief.parts, belief.mechanisms, strict=True):
        if part not in now:
            gone.append(part)
        else:
            gone += [f"{part}, {name}" for name in sorted(set(shares) - now[part])]
    return gone


def usable_recordings(case: Case, stage: Stage) -> list[StoredRecording]:
    """Recordings of one stage that the gate did not turn away."""
    return [
        one
        for one in case.recordings
        if one.taken.stage == stage and (one.added.gate is None or one.added.gate.usable)
    ]


def is_answered(case: Case) -> bool:
    """Whether the newest answer kept rests on the recordings and the layout there are now."""
    kept = _newest_answer(case)
    return not usable_recordings(case, "before") if kept is None else not _changed_since(case, kept)


def changed_words(case: Case) -> str:
    """What changed since the newest answer kept, and what to do; empty if nothing or none is."""
    kept = _newest_answer(case)
    changed = [] if kept is None else _changed_since(case, kept)
    if not changed:
        return ""
    return (
        f"Since the newest answer kept, {' and '.join(changed)} changed. What follows rests on "
        f"the case as it was then. Screen it again: acoustic case screen {case.folder}"
    )


def _newest_answer(case: Case) -> ScreeningMade | None:
    made = [e.data for e in case.events if isinstance(e.data, ScreeningMade) and not e.data.by]
    return made[-1] if made else None


def _changed_since(case: Case, made: ScreeningMade) -> list[str]:
    """What of a case is not as it was for an answer: layout, recordings."""
    there = {one.added.sha256 for one in usable_recordings(case, "before")}
    changed = []
    if made.layout not in {"", case.layout_sha256}:
        changed.append(f"the layout ({case.file.layout})")
    if there != set(made.recordings):
        changed.append("the usable recordings before the repair")
    return changed


def _with_heard_speed(one: StoredRecording) -> Taken:
    gate = one.added.gate
    if one.taken.rpm is not None or gate is None:
        return one.taken
    return replace(one.taken, rpm=gate.rpm)


def read_clip(one: StoredRecording) -> Clip:
    """Read a recording of a case with what is known of it."""
    taken = one.taken
    try:
        recording = replace(read_recording(one.path), name=one.added.original)
    except RecordingError as error:
        raise CaseError(
            f"{one.path}: recording {one.event_id} cannot be read ({error}). It came as "
            f"{one.added.original!r}: add that file again to put it back, or take number "
            f"{one.event_id} back (acoustic case undo)."
        ) from None
    return Clip(recording, rpm=taken.rpm, switched_off_s=taken.switched_off_s, taken=taken)


def _closest(reference: Sequence[StoredRecording], clips: Sequence[Clip]) -> StoredRecording:
    """The recording of the sound drive that was taken most like the first clip."""
    first = clips[0].taken
    alike = [(one.taken.point == first.point, one.taken.loads == first.loads) for one in reference]
    return reference[alike.index(max(alike))]
