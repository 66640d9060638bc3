"""Sound that lies in bands: its transform, its bands, and its level against the rest there."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.critical_band import BandPower

Spectrum = NDArray[np.complex64]
Bands = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class BandPart:
    """Transform of a sound, shape (bins of the full transform,), and the band it lies in."""

    spectrum: Spectrum
    low_hz: float
    high_hz: float


def joined(parts: Iterable[BandPart]) -> Bands:
    """Bands of several parts, those that overlap made one, rising. [Hz]

    >>> nothing = np.zeros(0, np.complex64)
    >>> joined([BandPart(nothing, 4, 6), BandPart(nothing, 1, 2), BandPart(nothing, 5, 8)])
    ((1, 2), (4, 8))
    """
    bands: list[tuple[float, float]] = []
    for low, high in sorted((part.low_hz, part.high_hz) for part in parts):
        if bands and low <= bands[-1][1]:
            bands[-1] = (bands[-1][0], max(high, bands[-1][1]))
        else:
            bands.append((low, high))
    return tuple(bands)


def power_in(power: BandPower, bands: Bands) -> float:
    """Mean square in several bands together."""
    return sum(power.between(low, high) for low, high in bands)


def add_parts(
    parts: list[BandPart],
    rest: BandPower,
    level_db: float,
    clock: Clock,
    measured: list[BandPart] | None = None,
) -> tuple[Spectrum, float]:
    """Add up the parts so that each stands in its band, and all in all bands, at one level.

    Parameters
    ----------
    parts : list of BandPart
    rest : BandPower
        Everything else that sounds.
    level_db : float
        Power of the parts over that of the rest in the bands together. [dB]
    clock : Clock
    measured : list of BandPart, optional
        What of each part the level is measured on; all of it if left out.

    Returns
    -------
    spectrum : ndarray of complex64
        Transform of the sound at its level.
    power : float
        Mean square in the bands of what was measured.
    """
    bands, measured = joined(parts), measured or parts
    total: Spectrum = np.zeros(clock.full_samples // 2 + 1, np.complex64)
    told = np.zeros_like(total)
    for part, seen in zip(parts, measured, strict=True):
        own = BandPower(seen.spectrum, clock.full_samples, clock.rate_hz)
        wanted = rest.between(part.low_hz, part.high_hz)
        gain = _gain(wanted, own.between(part.low_hz, part.high_hz))
        total += part.spectrum * gain
        told += seen.spectrum * gain
    made = power_in(BandPower(told, clock.full_samples, clock.rate_hz), bands)
    wanted = power_in(rest, bands) * 10.0 ** (level_db / 10.0)
    return total * _gain(wanted, made), wanted if made > 0 else 0.0


def _gain(wanted: float, made: float) -> np.float32:
    return np.float32(math.sqrt(wanted / made) if made > 0 else 0.0)
