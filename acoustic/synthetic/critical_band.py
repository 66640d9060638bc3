"""Critical bands after ECMA-418-1, for the tone-to-noise ratio of made components.

Written from the standard's formulas for this package alone: the judging side has its
own, and the two are compared with each other only in tests.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray


def critical_width_hz(frequency_hz: float) -> float:
    """Width of the critical band: 25 + 75 (1 + 1.4 (f/1000)²)^0.69. [Hz]

    References
    ----------
    ECMA-418-1, formula for the critical bandwidth Δf_c.

    >>> critical_width_hz(1000.0)
    162.22
    """
    return float(25.0 + 75.0 * (1.0 + 1.4 * (frequency_hz / 1000.0) ** 2) ** 0.69)


def critical_edges_hz(frequency_hz: float) -> tuple[float, float]:
    """Edges of the critical band: even about f up to 500 Hz, geometric above. [Hz]

    >>> critical_edges_hz(1000.0)
    (922.18, 1084.39)
    """
    width = critical_width_hz(frequency_hz)
    if frequency_hz <= 500.0:
        return max(0.0, frequency_hz - width / 2), frequency_hz + width / 2
    low = -width / 2 + math.sqrt(width**2 + 4.0 * frequency_hz**2) / 2
    return low, low + width


class BandPower:
    """Mean power of a signal between two frequencies, from its transform.

    Sums up the power once; every band after that costs two look-ups.
    """

    def __init__(self, spectrum: NDArray[np.complex64], samples: int, rate_hz: float) -> None:
        power = spectrum.real.astype(np.float64) ** 2
        power += spectrum.imag.astype(np.float64) ** 2
        power *= 2.0 / float(samples) ** 2
        power[0] /= 2.0
        self._summed = np.concatenate(([0.0], np.cumsum(power)))
        self._bin_hz = rate_hz / samples

    def between(self, low_hz: float, high_hz: float) -> float:
        """Mean square between `low_hz` and `high_hz`."""
        last = self._summed.size - 1
        first = min(max(round(low_hz / self._bin_hz), 0), last)
        end = min(max(round(high_hz / self._bin_hz), first + 1), last)
        return float(self._summed[end] - self._summed[first])

    def around(self, frequency_hz: float) -> float:
        """Mean square in the critical band around `frequency_hz`."""
        return self.between(*critical_edges_hz(frequency_hz))
