"""Where in a recording a part is heard: the lines to follow, or the band that swings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.errors import DriveError, UnfitRecordingError
from acoustic.evidence.engine_bins import distance_to_multiples
from acoustic.evidence.findings import EnvelopeBand, EnvelopeSpectrum, NoiseFinding
from acoustic.evidence.isolate import FollowedLine
from acoustic.verdict.line_evidence import band_at
from acoustic.verdict.suspects import LineEvidence, Screening

_HEARD_NAT = 1.0
"""A noise counts as heard from a likelihood ratio of e upwards."""


@dataclass(frozen=True, slots=True)
class SoundingPlace:
    """What to take out of a recording to hear one part.

    Attributes
    ----------
    orders : tuple of float
        Lines of the sound itself, rising; empty where a band is taken.
    labels : tuple of str
        What makes each line, or what the band is heard by, for people.
    band_hz : tuple of (float, float) or None
        Band whose loudness swings, or that a noise lies in. [Hz]
    swings_order : float or None
        How often per turn of the crankshaft it swings; None for a noise and for lines.
    heard : bool
        False if nothing of the part was heard and this is only where it would have to be.
    """

    orders: tuple[float, ...]
    labels: tuple[str, ...]
    band_hz: tuple[float, float] | None = None
    swings_order: float | None = None
    heard: bool = True


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
        raise DriveError(f"{part}: the layout has no such part. It has {known}.")
    if belief is None:
        reasons = " ".join([screening.headline, *screening.reasons])
        raise UnfitRecordingError(f"No part can be taken out of this recording. {reasons}")
    own = [family for family in expected_families(drive) if family.part == part]
    if part not in belief.parts or not own:
        raise DriveError(f"{part}: nothing it does makes a sound of its own. Name another.")
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
    listened = screening.heard[recording]
    found = [s for s in screening.suspects if s.part == family.part]
    lines = [line for s in found for line in s.lines if line.recording == recording]
    heard = [line for line in lines if line.state == "heard"]
    if heard:
        return _place(heard, listened.envelope, heard=True)
    noise = _noise_place(listened.noises, family)
    if noise is not None:
        return noise
    missing = [line for line in lines if line.state == "missing"]
    if missing:
        return _place(missing, listened.envelope, heard=False)
    tonal = sorted(family.tonal_lines, key=lambda line: line.order)
    if not tonal:
        raise DriveError(
            f"{family.part}: nothing of it was found in this recording, and its likeliest "
            f"fault ({family.title}) makes no tone to follow. Record it nearer, or name another."
        )
    orders, labels = tuple(line.order for line in tonal), tuple(line.label for line in tonal)
    return SoundingPlace(orders, labels, heard=False)


def engine_step(drive: Drive) -> float | None:
    """Spacing of the engine's own lines; None for a motor. [order]"""
    return None if drive.engine.motor else drive.engine.order_step


def lines_on_the_engine(lines: Sequence[FollowedLine], drive: Drive) -> int:
    """How many of these have one of the engine's own inside what passes unweakened with them."""
    step = engine_step(drive)
    if step is None or not lines:
        return 0
    apart = distance_to_multiples(np.array([line.order for line in lines]), step)
    return sum(
        bool(far * line.frequency_hz < line.half_width_hz * line.order)
        for far, line in zip(apart, lines, strict=True)
    )


def _place(
    lines: Sequence[LineEvidence], envelope: EnvelopeSpectrum | None, *, heard: bool
) -> SoundingPlace:
    """Lines of the sound, or those of one band's swing: the kind that speaks more for it."""
    kinds: dict[tuple[float, float] | None, list[LineEvidence]] = {}
    for line in lines:
        kinds.setdefault(line.swings_hz, []).append(line)
    chosen = max(kinds.values(), key=lambda some: sum(line.support for line in some))
    places = sorted((line.heard_order or line.order, line.label) for line in chosen)
    band_hz = chosen[0].swings_hz
    if band_hz is None:
        return SoundingPlace(tuple(o for o, _ in places), tuple(n for _, n in places), heard=heard)
    strongest = max(chosen, key=lambda line: line.support)
    order = strongest.heard_order or strongest.order
    if envelope is not None:
        band_hz = _single_band(band_hz, envelope, order)
    return SoundingPlace((), (strongest.label,), band_hz, order, heard)


def _single_band(
    band_hz: tuple[float, float], envelope: EnvelopeSpectrum, order: float
) -> tuple[float, float]:
    """The band given; where all of them swing together, the one that swings most."""
    *single, together = envelope.carriers
    if band_hz != (together.low_hz, together.high_hz) or not single:
        return band_hz
    most = max(single, key=lambda band: _excess_at(band, order))
    return most.low_hz, most.high_hz


def _excess_at(carrier: EnvelopeBand, order: float) -> float:
    """How far its swing stands out of the floor about an order, to some factor."""
    band = band_at(carrier.bands, order)
    if band is None:
        return -np.inf
    near = np.abs(band.orders - order) <= 2.0 / band.revolutions
    return float(band.excess[near & band.visible].max(initial=-np.inf))


def _noise_place(noises: Sequence[NoiseFinding], family: ExpectedFamily) -> SoundingPlace | None:
    """Band of the plainest noise that was found and that this mechanism makes."""
    makes = {noise.noise for noise in family.noises}
    found = [n for n in noises if n.noise in makes and n.ln_ratio > _HEARD_NAT]
    for one in sorted(found, key=lambda n: -n.ln_ratio):
        if one.low_hz is not None and one.high_hz is not None and one.high_hz > one.low_hz:
            return SoundingPlace((), (one.words,), (one.low_hz, one.high_hz))
    return None
