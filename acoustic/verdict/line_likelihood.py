"""How much each place of the order spectrum speaks for a line of a given level.

Every bin counts, not only those called tones: a family of five weak lines, none of them
a finding alone, is still seen, and a line that should have been loud and is not there
speaks against its source. A place that cannot be seen (the engine's own lines, below
the phone's high-pass, above the codec's cut-off) says nothing at all.

Levels are tone-to-noise ratios in the critical band. [dB]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from acoustic.evidence.audibility import critical_bandwidth_hz
from acoustic.evidence.findings import OrderBand, OrderSpectrum

Floats = NDArray[np.float64]

LATTICE_STEP = 2.5e-4
"""Step of ln(order) in the tables: a twentieth of a bin and less where lines are sharp."""
LEVEL_STEP_DB = 3.0
LINE_LEVELS_DB = np.arange(-30.0, 16.0, LEVEL_STEP_DB)
"""Levels a single line may have. [dB]"""
FAMILY_LEVELS_DB = np.arange(-48.0, 13.0, LEVEL_STEP_DB)
"""Expected levels of a line given its family's level. [dB]"""


@dataclass(frozen=True, slots=True)
class LikelihoodSettings:
    """Laws of floor and line, fitted on made fault-free scenes (tests/trial/floor_law.py).

    Attributes
    ----------
    floor_bias : tuple of float
        By how much (natural log) the greater-of floor lies high, per order band.
    freedom_shares : tuple of float
        ``power/floor`` follows an F law with these shares of the degrees of freedom.
    level_scatter_db : float
        Scatter of a line about the level its family makes expect. [dB]
    position_sd : float
        Relative scatter of a line's place beyond all shared unknowns.
    smear_per_revolution : float
        Relative rms speed error that widens a line. [-]
    """

    floor_bias: tuple[float, ...] = (0.20, 0.17, 0.09, 0.05)
    freedom_shares: tuple[float, float] = (0.9, 4.5)
    level_scatter_db: float = 5.0
    position_sd: float = 5e-4
    smear_per_revolution: float = 5e-4
    saturation: float = 30.0
    clutter_levels_db: tuple[float, float] = (-6.0, 8.0)
    weak_clutter_levels_db: tuple[float, float] = (-24.0, 4.0)


@dataclass(frozen=True, slots=True, eq=False)
class LineTable:
    """Likelihood ratios "line here" against "floor here" for one recording.

    Attributes
    ----------
    ln_order : ndarray, shape (places,)
        Lattice of ln(order), step `LATTICE_STEP`.
    ratio : ndarray, shape (family levels, places)
        Mean likelihood ratio of a line whose expected level is `FAMILY_LEVELS_DB`.
    stray, weak_stray : ndarray, shape (places,)
        The same for a tone nobody explains, and for a weak one.
    half_window : ndarray of int, shape (places,)
        Lattice steps within which two lines cannot be told apart.
    visible : ndarray of bool, shape (places,)
    mean_speed_hz : float
    """

    ln_order: Floats
    ratio: Floats
    stray: Floats
    weak_stray: Floats
    half_window: NDArray[np.intp]
    visible: NDArray[np.bool_]
    mean_speed_hz: float

    def place_of(self, ln_order: Floats | float) -> NDArray[np.intp]:
        """Nearest lattice index, clipped to the table's ends (which are invisible)."""
        index = np.rint((np.asarray(ln_order) - self.ln_order[0]) / LATTICE_STEP).astype(np.intp)
        return np.asarray(np.clip(index, 0, self.ln_order.size - 1), dtype=np.intp)


_SMEAR_BINS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
_SMEAR_LOSS = (1.0, 0.77, 0.52, 0.37, 0.29, 0.20)


def line_table(spectrum: OrderSpectrum, settings: LikelihoodSettings) -> LineTable:
    """Tabulate the likelihood ratios of one recording's order spectrum."""
    lowest, highest = spectrum.bands[0].orders[0], spectrum.bands[-1].orders[-1]
    # One invisible place at each end stands for everything outside.
    count = int(np.log(highest / lowest) / LATTICE_STEP) + 3
    ln_order = np.log(lowest) + LATTICE_STEP * (np.arange(count) - 1)
    lambdas = np.ones((LINE_LEVELS_DB.size, count))
    visible = np.zeros(count, dtype=bool)
    half_window = np.ones(count, dtype=np.intp)
    for number, band in enumerate(spectrum.bands):
        inside = _places_of_band(ln_order, spectrum.bands, number)
        x = ln_order[inside]
        lambdas[:, inside], visible[inside] = _band_ratios(
            x, band, settings.floor_bias[number], spectrum.mean_speed_hz, settings
        )
        reach = 2.5 / (band.revolutions * np.exp(x)) + settings.position_sd
        # Below order 1.5 windows would be wide, and phones hear nothing there anyway.
        half_window[inside] = np.clip(np.rint(reach / LATTICE_STEP), 1, 120).astype(np.intp)
    blurred = gaussian_filter1d(
        lambdas - 1.0, settings.position_sd / LATTICE_STEP, axis=1, mode="nearest"
    )
    blurred[:, ~visible] = 0.0
    return LineTable(
        ln_order=ln_order,
        ratio=1.0 + _level_weights(FAMILY_LEVELS_DB, settings.level_scatter_db) @ blurred,
        stray=1.0 + _mean_over_levels(lambdas, settings.clutter_levels_db),
        weak_stray=1.0 + _mean_over_levels(lambdas, settings.weak_clutter_levels_db),
        half_window=half_window,
        visible=visible,
        mean_speed_hz=spectrum.mean_speed_hz,
    )


def _mean_over_levels(lambdas: Floats, levels_db: tuple[float, float]) -> Floats:
    weights = _level_weights(np.array([levels_db[0]]), levels_db[1])
    mean: Floats = (weights @ (lambdas - 1.0))[0]
    return mean


def _level_weights(mean_db: Floats, sd_db: float) -> Floats:
    """Weights of `LINE_LEVELS_DB` for levels scattered about each mean.

    What falls below the lowest level counts as silence (likelihood ratio 1), so rows
    need not sum to 1; what falls above goes to the highest level.
    """
    edges = np.concatenate([LINE_LEVELS_DB - LEVEL_STEP_DB / 2, [np.inf]])
    cumulative = ndtr((edges[None, :] - mean_db[:, None]) / sd_db)
    return np.diff(cumulative, axis=1)


def _places_of_band(
    ln_order: Floats, bands: tuple[OrderBand, ...], number: int
) -> NDArray[np.intp]:
    start = np.log(bands[number].orders[0])
    last_band = number + 1 == len(bands)
    end = np.log(bands[number].orders[-1] if last_band else bands[number + 1].orders[0])
    return np.flatnonzero((ln_order >= start) & (ln_order < end))


def _band_ratios(
    ln_order: Floats,
    band: OrderBand,
    floor_bias: float,
    mean_speed_hz: float,
    settings: LikelihoodSettings,
) -> tuple[Floats, NDArray[np.bool_]]:
    """Likelihood ratio over `LINE_LEVELS_DB` and places, and which places are visible."""
    order = np.exp(ln_order)
    ln_r = _at_places(band.excess + floor_bias, band, order)
    nearest = np.clip(
        np.rint((order - band.orders[0]) * band.revolutions).astype(int), 0, band.orders.size - 1
    )
    visible = band.visible[nearest]
    bins_in_critical_band = (
        critical_bandwidth_hz(order * mean_speed_hz) * band.revolutions / mean_speed_hz
    )
    smear_bins = settings.smear_per_revolution * order * band.revolutions
    kept = np.interp(smear_bins, _SMEAR_BINS, _SMEAR_LOSS)
    per_level = 10 ** (LINE_LEVELS_DB / 10)[:, None]
    gain = 1.0 + kept * bins_in_critical_band / 1.5 * per_level
    d1, d2 = (share * band.freedom for share in settings.freedom_shares)
    r = np.exp(ln_r)
    ln_ratio = -0.5 * d1 * np.log(gain) + 0.5 * (d1 + d2) * (
        np.log1p(d1 * r / d2) - np.log1p(d1 * r / (d2 * gain))
    )
    top = settings.saturation
    high = ln_ratio > top
    ln_ratio[high] = top + top * np.log(ln_ratio[high] / top)
    ratio = np.exp(ln_ratio)
    ratio[:, ~visible] = 1.0
    return ratio, visible


def _at_places(excess: Floats, band: OrderBand, order: Floats) -> Floats:
    """Parabola through the three nearest bins' ln(power/floor)."""
    position = (order - band.orders[0]) * band.revolutions
    mid = np.clip(np.rint(position).astype(int), 1, excess.size - 2)
    shift = position - mid
    left, centre, right = excess[mid - 1], excess[mid], excess[mid + 1]
    bend = left - 2 * centre + right
    return np.asarray(centre + shift * (0.5 * (right - left) + 0.5 * shift * bend))
