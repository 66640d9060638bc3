"""Whether people hear a tone: critical bands and tonality limits from the standards.

Detection here reaches far below what ears notice, so audibility is always said apart.

References
----------
.. [1] ECMA-418-1, Psychoacoustic metrics for ITT equipment, Part 1 (prominent discrete
   tones), 2024 edition; the same formulas stand in ISO 7779 and ECMA-74.
.. [2] ISO/PAS 20065:2016, Objective method for assessing the audibility of tones in
   noise, engineering method.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

HANN_POWER_CORRECTION_DB = 10 * np.log10(1.5)
"""A Hann line spreads over 1.5 bins of noise bandwidth; subtracted from sums of lines."""


def critical_bandwidth_hz(frequency_hz: ArrayLike) -> Floats:
    """Width of the critical band round a tone [1]_.

    ``25 + 75 (1 + 1.4 (f/1000)²)^0.69``. [Hz]
    """
    f_khz = np.asarray(frequency_hz, dtype=np.float64) / 1000.0
    return np.asarray(25.0 + 75.0 * (1.0 + 1.4 * f_khz**2) ** 0.69)


def critical_band_edges_hz(frequency_hz: ArrayLike) -> tuple[Floats, Floats]:
    """Lower and upper edge of the critical band round a tone [1]_. [Hz]

    Arithmetic centre up to 500 Hz, geometric above.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    width = critical_bandwidth_hz(f)
    geometric = -width / 2 + np.sqrt(width**2 + 4 * f**2) / 2
    lower = np.where(f <= 500.0, f - width / 2, geometric)
    return lower, lower + width


def tone_to_noise_limit_db(frequency_hz: ArrayLike) -> Floats:
    """Tone-to-noise ratio from which a tone is prominent [1]_. [dB]"""
    f = np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(8.0 + 8.33 * np.log10(np.maximum(1000.0 / f, 1.0)))


def prominence_limit_db(frequency_hz: ArrayLike) -> Floats:
    """Prominence ratio from which a tone is prominent [1]_. [dB]"""
    f = np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(9.0 + 10.0 * np.log10(np.maximum(1000.0 / f, 1.0)))


def mean_narrow_band_level_db(line_levels_db: ArrayLike, tone_index: int) -> float:
    """Mean level L_S of the noise lines round a tone, by iteration [2]_. [dB]

    The tone's own line is dropped; then lines more than 6 dB above the mean are
    dropped until nothing changes; the Hann correction of 1.76 dB is taken off.
    """
    levels = np.asarray(line_levels_db, dtype=np.float64)
    powers = 10 ** (levels / 10)
    kept = np.ones(levels.shape, dtype=bool)
    kept[tone_index] = False
    mean_db = 10 * np.log10(powers[kept].mean())
    while True:
        keep_now = levels <= mean_db - HANN_POWER_CORRECTION_DB + 6.0
        keep_now[tone_index] = False
        if not keep_now.any() or np.array_equal(keep_now, kept):
            return float(mean_db - HANN_POWER_CORRECTION_DB)
        kept = keep_now
        mean_db = 10 * np.log10(powers[kept].mean())


def tone_level_db(line_levels_db: ArrayLike, tone_index: int, noise_level_db: float) -> float:
    """Level L_T of a tone from its neighbouring lines [2]_. [dB]

    Sums the lines next to the peak that lie within 10 dB of it and more than 6 dB above
    the noise `noise_level_db`.
    """
    levels = np.asarray(line_levels_db, dtype=np.float64)
    strong = (levels > noise_level_db + 6.0) & (levels > levels[tone_index] - 10.0)
    first = last = tone_index
    while first > 0 and strong[first - 1]:
        first -= 1
    while last < levels.size - 1 and strong[last + 1]:
        last += 1
    power = np.sum(10 ** (levels[first : last + 1] / 10))
    return float(10 * np.log10(power) - (HANN_POWER_CORRECTION_DB if last > first else 0.0))


def audibility_db(
    frequency_hz: float, tone_db: float, noise_line_db: float, line_spacing_hz: float
) -> float:
    """Audibility ΔL of a tone: present to the ear above 0 [2]_. [dB]

    ``ΔL = L_T − L_S − 10 lg(Δf_c/Δf) − a_v``, ``a_v = −2 − lg(1 + (f/502)^2.5)``.
    """
    band_db = noise_line_db + 10 * np.log10(
        float(critical_bandwidth_hz(frequency_hz)) / line_spacing_hz
    )
    masking_db = -2.0 - np.log10(1.0 + (frequency_hz / 502.0) ** 2.5)
    return float(tone_db - band_db - masking_db)
