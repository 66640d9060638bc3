"""Which recordings of a case may be compared: before and after the repair, taken alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from acoustic.casework.case_answer import read_clip, usable_recordings
from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.casework.history import Outcome, ScreeningMade
from acoustic.errors import CaseError
from acoustic.listening import listen
from acoustic.recording.taken import Stage, Taken
from acoustic.screening import ScreenSettings, screen
from acoustic.verdict.change import compare
from acoustic.verdict.change_alike import SAME_SPEED
from acoustic.verdict.change_places import likely_target, settled_offsets
from acoustic.verdict.change_values import Change, Take, Target
from acoustic.verdict.suspects import Screening

_BESIDE_AFTER: tuple[Stage, ...] = ("before", "healthy")


@dataclass(frozen=True, slots=True)
class ComparablePair:
    """Recordings from before the repair (or of the sound drive) and after it, taken alike."""

    before: tuple[StoredRecording, ...]
    after: tuple[StoredRecording, ...]

    @property
    def taken(self) -> Taken:
        """How the first of them after the repair was taken."""
        return self.after[0].taken


def comparable_pairs(case: Case) -> tuple[ComparablePair, ...]:
    """Every way the recordings of a case were taken both before and after, most takes first.

    Where a way was recorded after the repair only, those of the sound drive stand in.

    Raises
    ------
    CaseError
        If there are none; it says what to record.
    """
    after = usable_recordings(case, "after")
    pairs = []
    for group in _alike_groups(after):
        for stage in _BESIDE_AFTER:
            same = recordings_alike(case, group[0], stage)
            if same:
                pairs.append(ComparablePair(tuple(same), tuple(group)))
                break
    if not pairs:
        raise CaseError(f"{case.folder}: {_what_is_missing(case, after)}")
    return tuple(sorted(pairs, key=lambda p: -min(len(p.before), len(p.after))))


def recordings_alike(case: Case, one: StoredRecording, stage: Stage) -> list[StoredRecording]:
    """Usable recordings of a stage that were taken like this one, in their order."""
    others = usable_recordings(case, stage)
    return [two for two in others if _alike(_speed_known(two), _speed_known(one))]


def read_and_compare(
    case: Case, pair: ComparablePair, progress: Callable[[str], None] | None = None
) -> Change:
    """Compare one pair; what was repaired is what was found, else what was suspected first.

    Raises
    ------
    CaseError
        If device, codec or speed differ after all.
    """
    settings, tell = ScreenSettings(), progress or (lambda _: None)
    healthy = pair.before[0].taken.stage == "healthy"
    faulty = pair.after if healthy else pair.before
    screening = screen([read_clip(one) for one in faulty], case.drive, progress=progress)
    sound = pair.before if healthy else pair.after
    other = [listen(read_clip(one), case.drive, settings, tell).heard for one in sound]
    before, after = (other, screening.heard) if healthy else (screening.heard, other)
    return compare(
        case.drive,
        [Take(one.taken, heard) for one, heard in zip(pair.before, before, strict=True)],
        [Take(one.taken, heard) for one, heard in zip(pair.after, after, strict=True)],
        target=_target(case, screening),
        settled=settled_offsets(case.drive, screening),
    )


def _target(case: Case, screening: Screening) -> Target | None:
    outcomes = [e.data for e in case.events if isinstance(e.data, Outcome) and e.data.part]
    if outcomes:
        found = outcomes[-1]
        if found.mechanism:
            return Target(found.part, (found.mechanism,))
        return likely_target(screening, found.part)
    screenings = [e.data for e in case.events if isinstance(e.data, ScreeningMade)]
    made = [one for one in screenings if one.faulty and not one.by]
    if not made:
        return None
    part = max(made[-1].faulty, key=lambda name: made[-1].faulty[name])
    return likely_target(screening, part)


def _alike_groups(recordings: Sequence[StoredRecording]) -> list[list[StoredRecording]]:
    groups: list[list[StoredRecording]] = []
    for one in recordings:
        for group in groups:
            if _alike(_speed_known(group[0]), _speed_known(one)):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _speed_known(one: StoredRecording) -> tuple[Taken, float | None]:
    gate = one.added.gate
    heard = None if gate is None else gate.rpm
    return one.taken, one.taken.rpm if heard is None else heard


def _alike(first: tuple[Taken, float | None], second: tuple[Taken, float | None]) -> bool:
    (one, rpm), (other, other_rpm) = first, second
    if (one.point, one.contact, one.loads) != (other.point, other.contact, other.loads):
        return False
    if rpm is None or other_rpm is None:
        return True  # the comparison itself hears the speeds
    return abs(rpm / other_rpm - 1.0) <= SAME_SPEED


def _what_is_missing(case: Case, after: Sequence[StoredRecording]) -> str:
    if not after:
        return (
            "it has no usable recordings after the repair. Record again as before, same place, "
            f"speed, loads and phone, better three takes: acoustic case add {case.folder} --after "
            "CLIP..."
        )
    return (
        "none of its recordings after the repair was taken like one before it (place, contact, "
        f"loads, speed within {100 * SAME_SPEED:.0f} %). acoustic case show {case.folder} lists "
        "them; record again as one of those before."
    )
