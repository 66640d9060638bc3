"""Lines that lie on the engine's own comb, judged against their neighbours.

Gears and chains driven straight from the crankshaft mesh at whole or half orders, where
the engine itself has lines. Such a line says something only by being louder than the
engine's lines of the same class on both sides (the same place in the firing pattern).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from acoustic.drive.drive import Engine
from acoustic.evidence.audibility import critical_bandwidth_hz
from acoustic.evidence.findings import OrderBand, OrderSpectrum

Floats = NDArray[np.float64]

# Scatter of healthy combs on made scenes: 1.5 dB between the firing multiples, 2.7 dB on
# them. A recording with more scatter than that sets its own.
_LEAST_SCATTER_DB = (1.5, 2.7)
_NEIGHBOURS = (-3, -2, -1, 1, 2, 3)
_SHORTEST_REVOLUTIONS = 12


@dataclass(frozen=True, slots=True, eq=False)
class CombLevels:
    """Levels of the engine's comb lines against their neighbours.

    Attributes
    ----------
    orders : ndarray, shape (lines,)
    above_neighbours_db : ndarray, shape (lines,)
        Level minus the median of up to six neighbours of the same class. [dB]
    scatter_db : ndarray, shape (lines,)
        Standard deviation of that figure for an engine without an extra line. [dB]
    neighbour_tone_to_noise_db : ndarray, shape (lines,)
        The neighbours' median level over the noise floor in the critical band. [dB]
    """

    orders: Floats
    above_neighbours_db: Floats
    scatter_db: Floats
    neighbour_tone_to_noise_db: Floats

    def chance(self) -> Floats:
        """Chance that a healthy comb line stands this high, each line by itself."""
        return np.asarray(ndtr(-self.above_neighbours_db / self.scatter_db))


def comb_levels(spectrum: OrderSpectrum, engine: Engine) -> CombLevels:
    """Comb lines of the bands fine enough to resolve them, above the phone's high-pass."""
    parts = [
        _levels_in_band(band, spectrum, engine)
        for band in spectrum.bands
        if band.revolutions >= _SHORTEST_REVOLUTIONS
    ]
    if not parts:
        return CombLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0))
    orders, above, nearby = (np.concatenate(column) for column in zip(*parts, strict=True))
    phase = np.mod(orders + 1e-9, engine.firing_order)
    firing = (phase < 1e-6) | engine.odd_fire
    scatter = np.empty_like(above)
    for on_firing in (False, True):
        of_class = firing == on_firing
        if of_class.any():
            robust = 1.4826 * float(np.median(np.abs(above[of_class])))
            scatter[of_class] = max(_LEAST_SCATTER_DB[on_firing], robust)
    return CombLevels(orders, above, scatter, nearby)


def _levels_in_band(
    band: OrderBand, spectrum: OrderSpectrum, engine: Engine
) -> tuple[Floats, Floats, Floats]:
    """Orders of the band's comb lines, level above neighbours, neighbours over noise."""
    step = engine.order_step
    first = np.ceil(max(band.orders[0], spectrum.lowest_hz / spectrum.mean_speed_hz) / step)
    lines = np.arange(first, np.floor(band.orders[-1] / step) + 1) * step
    if lines.size == 0:
        return np.empty(0), np.empty(0), np.empty(0)
    centre = np.round((lines - band.orders[0]) * band.revolutions).astype(int)
    reach = np.clip(centre[:, None] + np.arange(-1, 2), 0, band.orders.size - 1)
    level_db = 10 * np.log10(np.sum(10 ** (band.level_db[reach] / 10), axis=1))
    per_firing = max(1, round(engine.firing_order / step))
    same_class = _neighbours(level_db, per_firing * np.array(_NEIGHBOURS))
    # A resonance lifts a few orders together: a line must also stand out of the lines
    # right beside it, each brought to its own class's usual level first.
    phase = np.rint(lines / step).astype(int) % per_firing
    usual = np.array([np.median(level_db[phase == k]) for k in range(per_firing)])[phase]
    beside = _neighbours(level_db - usual, np.array(_NEIGHBOURS))
    nearby_db = np.fmax(same_class, beside + usual)
    enough = np.isfinite(nearby_db)
    lines, level_db, centre = lines[enough], level_db[enough], centre[enough]
    nearby_db = nearby_db[enough]
    bins_in_critical_band = (
        critical_bandwidth_hz(lines * spectrum.mean_speed_hz)
        * band.revolutions
        / spectrum.mean_speed_hz
    )
    noise_db = band.floor_db[np.clip(centre, 0, band.orders.size - 1)]
    noise_db = noise_db + 10 * np.log10(bins_in_critical_band)
    return lines, level_db - nearby_db, nearby_db - noise_db


def _neighbours(level_db: Floats, steps: NDArray[np.intp]) -> Floats:
    """Median level of the lines at these steps; nan where fewer than three are there."""
    at = np.arange(level_db.size)[:, None] + steps
    inside = (at >= 0) & (at < level_db.size)
    values = np.where(inside, level_db[np.clip(at, 0, level_db.size - 1)], np.nan)
    median = np.full(level_db.size, np.nan)
    enough = inside.sum(axis=1) >= 3
    if enough.any():
        median[enough] = np.nanmedian(values[enough], axis=1)
    return median
