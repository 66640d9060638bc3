"""How loud a sound is to the ear, so that two can be compared at the same loudness.

K-weighted loudness after ITU-R BS.1770, without its gates: they leave out pauses, and an
engine that runs makes none. The weighting is taken over frequency, from the response of the
standard's two filters for 48000 samples/s, so that any sample rate gets the same weights.

References
----------
.. [1] Recommendation ITU-R BS.1770, Algorithms to measure audio programme loudness and
   true-peak audio level, annex 1, tables 1 and 2 (coefficients from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft, rfftfreq

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

_HEAD = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285),
    (1.0, -1.69065929318241, 0.73248077421585),
)
_HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
_TABLE_RATE_HZ = 48000.0
_OFFSET_DB = -0.691
"""Of the standard: a sine of 997 Hz at full scale then has -3.01 LKFS."""
SILENT_LKFS = -200.0


@dataclass(frozen=True, slots=True, eq=False)
class MatchedPair:
    """Two sounds at one loudness, side by side.

    Attributes
    ----------
    samples : ndarray of float32, shape (frames, 2)
        The first on the left, the second on the right.
    gains_db : (float, float)
        By how much each was made louder. [dB]
    loudness_lkfs : (float, float)
        Of each before that. [LKFS]
    """

    samples: Samples
    gains_db: tuple[float, float]
    loudness_lkfs: tuple[float, float]


def k_weight(frequency_hz: Floats) -> Floats:
    """Weight of the power at each frequency, shape as given. [-]

    Above half of 48000 Hz the weight at that frequency holds.
    """
    capped_hz = np.minimum(frequency_hz, 0.5 * _TABLE_RATE_HZ)
    delay = np.exp(-2j * np.pi * capped_hz / _TABLE_RATE_HZ)
    power = np.ones(capped_hz.shape)
    for above, below in (_HEAD, _HIGH_PASS):
        power *= np.abs(np.polyval(above[::-1], delay) / np.polyval(below[::-1], delay)) ** 2
    return power


def loudness_lkfs(sound: Samples, rate_hz: float) -> float:
    """K-weighted loudness of one channel over its whole length. [LKFS]

    Parameters
    ----------
    sound : ndarray of float32, shape (frames,)
        Full scale is 1.
    rate_hz : float
        [Hz]

    Returns
    -------
    float
        ``SILENT_LKFS`` for silence.
    """
    size = next_fast_len(max(sound.size, 2), real=True)
    power = np.abs(rfft(sound, n=size).astype(np.complex128)) ** 2
    power *= k_weight(rfftfreq(size, 1.0 / rate_hz))
    mean = 2.0 * float(power.sum()) / (size * max(sound.size, 1))
    return max(SILENT_LKFS, _OFFSET_DB + 10.0 * float(np.log10(max(mean, 1e-30))))


def matched_pair(first: Samples, second: Samples, rate_hz: float, peak: float) -> MatchedPair:
    """Bring two sounds to one loudness, as loud as the highest `peak` allows.

    Parameters
    ----------
    first, second : ndarray of float32, shape (frames,)
        The longer one is cut to the length of the other.
    peak : float
        Highest sample of either in the end. [-]
    """
    count = min(first.size, second.size)
    pair = np.stack([first[:count], second[:count]], axis=1).astype(np.float64)
    loudness = [loudness_lkfs(one, rate_hz) for one in (first[:count], second[:count])]
    gains_db = np.array([max(loudness) - one for one in loudness])
    pair *= 10.0 ** (gains_db / 20.0)
    highest = float(np.abs(pair).max(initial=1e-30))
    pair *= peak / highest
    gains_db += 20.0 * np.log10(peak / highest)
    return MatchedPair(
        pair.astype(np.float32),
        (float(gains_db[0]), float(gains_db[1])),
        (loudness[0], loudness[1]),
    )
