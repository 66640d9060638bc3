"""What would have been found: the honest half of an answer that names nobody."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import fdtri

from acoustic.evidence.audibility import critical_bandwidth_hz
from acoustic.evidence.findings import OrderSpectrum
from acoustic.verdict.suspects import Heard
from acoustic.verdict.wording import hertz


def detectable_tone(heard: Sequence[Heard]) -> str:
    """The weakest steady tone that would have been found, in words; empty if none could."""
    spectra = [h.spectrum for h in heard if h.spectrum is not None]
    if not spectra:
        return ""
    weakest_db = min(_least_tone_db(s) for s in spectra)
    low = min(max(s.lowest_hz, s.bands[0].orders[0] * s.mean_speed_hz) for s in spectra)
    high = max(s.highest_hz for s in spectra)
    return (
        f"A steady tone {abs(weakest_db):.0f} dB {'below' if weakest_db < 0 else 'above'} the "
        f"noise in its critical band would have been found in 95 of 100 cases, from "
        f"{hertz(low)} to {hertz(high)} and clear of the engine's own orders."
    )


def _least_tone_db(spectrum: OrderSpectrum) -> float:
    """Tone-to-noise ratio found in 95 of 100 cases, worst of the bands. [dB]

    The bin must pass the recording's false-alarm level (1 %) with the tone's own scatter
    (1.64 sd of a chi-square mean) against it.
    """
    trials = max(1.0, sum(b.visible.sum() for b in spectrum.bands) / 1.5)
    worst = -np.inf
    for band in spectrum.bands[:3]:
        threshold = float(fdtri(band.freedom, 12 * band.freedom, 1 - 0.01 / trials))
        gain = threshold / max(0.3, 1.0 - 1.64 * np.sqrt(2.0 / band.freedom))
        order = float(np.sqrt(band.orders[0] * band.orders[-1]))
        critical_bins = (
            float(critical_bandwidth_hz(order * spectrum.mean_speed_hz))
            * band.revolutions
            / spectrum.mean_speed_hz
        )
        worst = max(worst, 10 * np.log10((gain - 1.0) * 1.5 / critical_bins))
    return float(worst)
