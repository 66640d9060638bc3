"""Noise floor under lines, and how far chance alone can rise above it.

The floor is the greater of two running medians, one to the left and one to the right
of each bin. At the edge of a resonance a single median lies too low on one side and
every bin there looks like a tone; the greater-of rule is radar's answer to clutter edges.

References
----------
.. [1] H. Rohling, Radar CFAR thresholding in clutter and multiple target situations,
   IEEE Trans. Aerospace and Electronic Systems 19 (1983) 608-621 (from memory).
.. [2] P. D. Welch, The use of fast Fourier transform for the estimation of power
   spectra, IEEE Trans. Audio Electroacoustics 15 (1967) 70-73 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d
from scipy.special import fdtrc, gammaincinv

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_ONE_SIDED_NAT = 1.0
"""What differs more than this from side to side is another line, not a resonance."""

HANN_HALF_OVERLAP_LOSS = 2 * 0.028
"""Hann segments at 50 % overlap share 2 x 2.8 % of their information [2]_."""


@dataclass(frozen=True, slots=True)
class FloorSettings:
    """Widths of the running medians, in bins.

    Narrow enough to follow a resonance of quality about 10, wide enough for a stable
    median; chosen on made fault-free scenes, not on any single recording.
    """

    side_bins: int = 13
    side_offset_bins: int = 9
    wide_bins: int = 121
    wide_drop: float = 1.0
    near_bins: int = 3
    near_guard_bins: int = 3


def degrees_of_freedom(segments: int) -> float:
    """Degrees of freedom of the mean power of Hann segments at 50 % overlap [2]_."""
    return 2.0 * segments / (1.0 + HANN_HALF_OVERLAP_LOSS)


def log_median_ratio(freedom: float) -> float:
    """Natural log of median over mean of a chi-square variable, `freedom` degrees."""
    return float(np.log(2.0 * gammaincinv(freedom / 2.0, 0.5) / freedom))


def ln_noise_floor(
    ln_power: Floats,
    masked: Flags,
    freedom: float,
    settings: FloorSettings,
    line_reach_bins: int = 0,
) -> Floats:
    """Greater-of median floor of a spectrum, as the log of the *mean* noise power.

    Parameters
    ----------
    ln_power : ndarray, shape (bins,)
        Natural log of the mean power.
    masked : ndarray of bool, shape (bins,)
        Bins replaced by interpolation first (the engine's own lines).
    freedom : float
        Degrees of freedom of the mean power.
    line_reach_bins : int
        How far a line smeared by the speed's error reaches beyond its window's lobe.

    Returns
    -------
    ndarray, shape (bins,)
    """
    bins = np.arange(ln_power.size)
    clear = ~masked
    filled = np.interp(bins, bins[clear], ln_power[clear]) if clear.any() else ln_power
    side = median_filter(filled, size=settings.side_bins, mode="nearest")
    wide = median_filter(filled, size=settings.wide_bins, mode="nearest")
    left = side[np.maximum(bins - settings.side_offset_bins, 0)]
    right = side[np.minimum(bins + settings.side_offset_bins, ln_power.size - 1)]
    floor = np.maximum(np.maximum(left, right), wide - settings.wide_drop)
    floor = np.maximum(floor, _near_floor(filled, settings, line_reach_bins))
    return np.asarray(floor - log_median_ratio(freedom))


def _near_floor(filled: Floats, settings: FloorSettings, line_reach_bins: int) -> Floats:
    """Mean of the levels close by on both sides, or little above the lower one.

    A resonance narrower than the medians' reach stands high on both sides of its top; a
    line is alone within a few bins.
    """
    close = uniform_filter1d(filled, settings.near_bins, mode="nearest")
    offset = settings.near_guard_bins + line_reach_bins + settings.near_bins // 2
    bins = np.arange(filled.size)
    left = close[np.maximum(bins - offset, 0)]
    right = close[np.minimum(bins + offset, filled.size - 1)]
    apart = np.abs(left - right)
    return np.asarray(np.minimum(left, right) + 0.5 * np.minimum(apart, _ONE_SIDED_NAT))


def chance_of_ratio(ln_ratio: Floats, freedom: float) -> Floats:
    """Chance that noise alone reaches a ratio of power to floor.

    F distribution with `freedom` and ``12 freedom`` degrees: the floor is a median over
    about 13 bins and so nearly, but not quite, known.
    """
    return np.asarray(fdtrc(freedom, 12.0 * freedom, np.exp(ln_ratio)))


# Side lobes and amplitude wobble of a strong line: distance in bins -> dB below it.
_SHADOW_BINS = (3, 4, 5, 6, 7, 8, 10, 12)
_SHADOW_DB = (15.0, 19.0, 22.0, 25.0, 28.0, 31.0, 36.0, 40.0)


def without_shadows(excess: Floats) -> Floats:
    """Take the skirts of strong lines off the excess of their neighbours. [nat]

    Without this the skirts of one loud tone are read as weak lines. Only a stronger bin
    casts a shadow: a line is not lowered by its own skirts.
    """
    shadow = np.zeros_like(excess)
    for bins, loss_db in zip(_SHADOW_BINS, _SHADOW_DB, strict=True):
        if bins >= excess.size:
            break
        loss = loss_db * np.log(10) / 10
        left, right = excess[:-bins], excess[bins:]
        shadow[bins:] = np.maximum(shadow[bins:], np.where(left > right, left - loss, 0.0))
        shadow[:-bins] = np.maximum(shadow[:-bins], np.where(right > left, right - loss, 0.0))
    # A shadow hides; it does not show that nothing is there.
    return np.maximum(excess - shadow, np.minimum(excess, 0.0))
