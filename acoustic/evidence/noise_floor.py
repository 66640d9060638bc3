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
from scipy.ndimage import median_filter
from scipy.special import fdtrc, gammaincinv

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

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


def degrees_of_freedom(segments: int) -> float:
    """Degrees of freedom of the mean power of Hann segments at 50 % overlap [2]_."""
    return 2.0 * segments / (1.0 + HANN_HALF_OVERLAP_LOSS)


def log_median_ratio(freedom: float) -> float:
    """Natural log of median over mean of a chi-square variable, `freedom` degrees."""
    return float(np.log(2.0 * gammaincinv(freedom / 2.0, 0.5) / freedom))


def ln_noise_floor(
    ln_power: Floats, masked: Flags, freedom: float, settings: FloorSettings
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
    return np.asarray(floor - log_median_ratio(freedom))


def chance_of_ratio(ln_ratio: Floats, freedom: float) -> Floats:
    """Chance that noise alone reaches a ratio of power to floor.

    F distribution with `freedom` and ``12 freedom`` degrees: the floor is a median over
    about 13 bins and so nearly, but not quite, known.
    """
    return np.asarray(fdtrc(freedom, 12.0 * freedom, np.exp(ln_ratio)))
