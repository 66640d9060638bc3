"""Swelling: orders at which the loudness of a band stands out of its envelope spectrum.

Found as tones are, at a stated rate of false alarms, but in the envelope: each of the bands
listened to is a look of its own. Neighbouring bands overlap and so repeat each other, which
makes the stated rate an upper one for noise alone. The engine's own orders are left out: in
every band loudness swells with the firing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.evidence.findings import EnvelopeBand, EnvelopeSpectrum, OrderBand, SwellingLine
from acoustic.evidence.tones import BINS_PER_TRIAL, order_sd, peak_position, peaks

_SAME_BINS = 2.5
"""Closer than this two bands show one line: the reach of a Hann line."""


@dataclass(frozen=True, slots=True)
class SwellingSettings:
    """When loudness is said to swell at an order.

    Attributes
    ----------
    false_alarms_per_recording : float
    band_chance : float
        A line found in one band is counted in another from this chance of a single look.
    """

    false_alarms_per_recording: float = 0.01
    band_chance: float = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class _Peak:
    """One peak of one band's envelope spectrum."""

    carrier: EnvelopeBand
    band: OrderBand
    index: int
    order: float
    chance: float


def find_swelling(
    envelope: EnvelopeSpectrum, settings: SwellingSettings | None = None
) -> tuple[SwellingLine, ...]:
    """Lines of the envelope that stand out of its floor, strongest first, each told once."""
    settings = settings or SwellingSettings()
    every = [band for carrier in envelope.carriers for band in carrier.bands]
    looks = max(1.0, float(sum(band.visible.sum() for band in every)) / BINS_PER_TRIAL)
    found = sorted(
        (
            _Peak(carrier, band, int(index), peak_position(band, int(index)), float(chance))
            for carrier in envelope.carriers
            for band in carrier.bands
            for index, chance in zip(*peaks(band), strict=True)
            if chance < settings.band_chance
        ),
        key=lambda peak: peak.chance,
    )
    lines: list[SwellingLine] = []
    while found and found[0].chance * looks < settings.false_alarms_per_recording:
        top = found[0]
        same = [peak for peak in found if _is_same(peak, top)]
        found = [peak for peak in found if not _is_same(peak, top)]
        alone = [peak for peak in same if peak.carrier is not envelope.carriers[-1]]
        lines.append(_line(top, alone, looks, envelope.mean_speed_hz))
    return tuple(sorted(lines, key=lambda line: -line.excess_db))


def _is_same(one: _Peak, other: _Peak) -> bool:
    return abs(one.order - other.order) <= _SAME_BINS / other.band.revolutions


def _line(top: _Peak, alone: Sequence[_Peak], looks: float, mean_speed_hz: float) -> SwellingLine:
    """The line of a peak and of those at its place in single bands, likeliest first."""
    shown = alone[0] if alone else top
    return SwellingLine(
        order=top.order,
        order_sd=order_sd(top.order, top.band.revolutions),
        frequency_hz=top.order * mean_speed_hz,
        excess_db=float(shown.band.excess[shown.index]) * 10 / float(np.log(10)),
        p_value=float(min(1.0, top.chance * looks)),
        persistence=float(shown.band.persistence[shown.index]),
        low_hz=shown.carrier.low_hz,
        high_hz=shown.carrier.high_hz,
        bands=len({peak.carrier.low_hz for peak in alone}),
    )
