"""Where in a recording a part is heard: the lines to follow, or the band that swings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.errors import DriveError, UnfitRecordingError
from acoustic.evidence.engine_bins import distance_to_multiples
from acoustic.evidence.isolate import FollowSettings
from acoustic.verdict.suspects import LineEvidence, Screening


@dataclass(frozen=True, slots=True)
class SoundingPlace:
    """What to take out of a recording to hear one part.

    Attributes
    ----------
    orders : tuple of float
        Lines of the sound itself, rising; empty where a band is taken.
    band_hz : tuple of (float, float) or None
        Band whose loudness swings. [Hz]
    swings_order : float or None
        How often per turn of the crankshaft it swings.
    labels : tuple of str
        What makes the lines, for people.
    heard : bool
        False if nothing of the part was heard and this is only where it would have to be.
    """

    orders: tuple[float, ...]
    band_hz: tuple[float, float] | None
    swings_order: float | None
    labels: tuple[str, ...]
    heard: bool


def likeliest_family(screening: Screening, drive: Drive, part: str) -> ExpectedFamily:
    """Family of the mechanism that is likeliest if the part is faulty.

    Raises
    ------
    DriveError
        If the drive has no such part, or nothing of it can be heard.
    UnfitRecordingError
        If the recording could not be screened.
    """
    belief = screening.belief
    if part not in drive.parts:
        known = ", ".join(drive.parts)
        raise DriveError(f"--part {part}: the layout has no such part. It has {known}.")
    if belief is None:
        reasons = " ".join([screening.headline, *screening.reasons])
        raise UnfitRecordingError(f"No part can be taken out of this recording. {reasons}")
    own = [family for family in expected_families(drive) if family.part == part]
    if part not in belief.parts or not own:
        raise DriveError(f"--part {part}: nothing it does makes a sound of its own. Name another.")
    shares = belief.mechanisms[belief.parts.index(part)]
    return max(own, key=lambda f: (shares.get(f.mechanism, 0.0), f.prior_weight))


def sounding_place(
    screening: Screening, family: ExpectedFamily, recording: int = 0
) -> SoundingPlace:
    """Where the match heard a part in one recording; else where its lines would have to be.

    Lines that the engine hides are not taken: it would be the engine that is heard there.

    Raises
    ------
    DriveError
        If the part makes noise without lines only.
    """
    found = [s for s in screening.suspects if s.part == family.part]
    lines = [line for s in found for line in s.lines if line.recording == recording]
    heard = [line for line in lines if line.state == "heard"]
    seen = heard or [line for line in lines if line.state == "missing"]
    if seen:
        return _place(_louder_kind(seen), heard=bool(heard))
    orders = tuple(sorted(line.order for line in family.tonal_lines))
    if not orders:
        raise DriveError(
            f"--part {family.part}: no line of it was found in this recording, and its likeliest "
            f"fault ({family.title}) makes no tone to follow. Record it nearer, or name another."
        )
    labels = tuple(line.label for line in family.tonal_lines)
    return SoundingPlace(orders, None, None, labels, heard=False)


def lines_on_the_engine(
    orders: Sequence[float], drive: Drive, speed_hz: float, settings: FollowSettings | None = None
) -> int:
    """How many of these lines have one of the engine's own inside what passes with them."""
    settings = settings or FollowSettings()
    if drive.engine.motor or not orders:
        return 0
    apart_hz = speed_hz * distance_to_multiples(np.asarray(orders), drive.engine.order_step)
    reach = 1.0 + settings.skirt
    return sum(
        bool(apart < reach * settings.half_width_of(order * speed_hz))
        for order, apart in zip(orders, apart_hz, strict=True)
    )


def _louder_kind(lines: Sequence[LineEvidence]) -> list[LineEvidence]:
    """Lines of the sound, or those of one band's swing: the kind that speaks more for it."""
    kinds: dict[tuple[float, float] | None, list[LineEvidence]] = {}
    for line in lines:
        kinds.setdefault(line.swings_hz, []).append(line)
    return max(kinds.values(), key=lambda some: sum(line.support for line in some))


def _place(lines: Sequence[LineEvidence], *, heard: bool) -> SoundingPlace:
    labels = tuple(line.label for line in lines)
    places = [line.heard_order or line.order for line in lines]
    band_hz = lines[0].swings_hz
    if band_hz is None:
        return SoundingPlace(tuple(sorted(places)), None, None, labels, heard)
    strongest = max(range(len(lines)), key=lambda k: lines[k].support)
    return SoundingPlace((), band_hz, places[strongest], labels, heard)
