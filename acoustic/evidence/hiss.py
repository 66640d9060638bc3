"""Hiss: steady broad noise at high frequencies, as of air that leaks in or out.

Nothing that turns or fires makes it, so it does not swell with the engine: between two
firings it is as loud as during one. What is left of the high band in its quietest moments,
against the engine's own middle band, says how loud a hiss may be; how even the band stays
says whether it is one. One recording alone can only hint: places, phones and codecs differ
by as much. A recording of the same engine without the complaint tells more.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.short_time import ShortTimeSpectrum
from acoustic.evidence.weighing import Weighing, cannot_tell

Floats = NDArray[np.float64]

NOISE = "hiss"
_TINY = 1e-20
# Hann frames: neighbouring bins share 4/9, the next 1/36 of their power (derived from the
# window's transform 1, -1/2): the variance of a sum of bins is that much over independent ones.
_SHARED_BY_BINS = 1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0)


@dataclass(frozen=True, slots=True)
class HissSettings:
    """Bands, and what they are worth.

    Attributes
    ----------
    high_hz, middle_hz : (float, float)
        Where a leak hisses, and where the engine's own sound rules. [Hz]
    least_high_hz : float
        A recording cut off below this cannot show a hiss. [Hz]
    trend_s : float
        Slower changes are the phone's gain. [s]
    quiet_share : float
        Share of the frames that count as quiet moments.
    evenness_db : float
        Decibels by which the figure falls for each e-fold of unevenness.
    least_unevenness : float
        Less than this cannot be told from none. [nat]
    shortest_s : float
        A shorter recording says nothing. [s]
    weighing, against : Weighing
        Of one recording alone, fitted by tests/trial/fit_noises.py, and what the rise over
        a reference adds: a regression on both, on 97 made scenes recorded before and after
        on the layouts for tuning and on halves of 36 phone recordings with and without a
        hiss laid over one, 3.5 dB added to those for another placing of the phone.
    """

    high_hz: tuple[float, float] = (2500.0, 10000.0)
    middle_hz: tuple[float, float] = (200.0, 2000.0)
    least_high_hz: float = 5000.0
    trend_s: float = 0.5
    quiet_share: float = 0.1
    evenness_db: float = 9.3
    least_unevenness: float = 0.1
    shortest_s: float = 2.0
    weighing: Weighing = field(default_factory=lambda: Weighing(3.6, 0.12, -1.5, 2.0))
    against: Weighing = field(default_factory=lambda: Weighing(2.5, 0.15, -1.5, 2.0))


@dataclass(frozen=True, slots=True)
class HighBand:
    """What the high band of a recording is like.

    Attributes
    ----------
    quiet_db : float
        Its level in quiet moments against the middle band's mean. [dB]
    unevenness : float
        Standard deviation of its loudness beyond what noise has by itself. [nat]
    low_hz, high_hz : float
        The band looked at. [Hz]
    """

    quiet_db: float
    unevenness: float
    low_hz: float
    high_hz: float


def high_band(spectrum: ShortTimeSpectrum, settings: HissSettings | None = None) -> HighBand | None:
    """Look at the high band; None where the recording has none or is too short.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        Frames of about 0.005 s, shorter than the time between two firings.
    settings : HissSettings, optional
    """
    settings = settings or HissSettings()
    low_hz, high_hz = settings.high_hz[0], min(settings.high_hz[1], spectrum.highest_hz)
    short = spectrum.seconds < settings.shortest_s or spectrum.silent
    if short or high_hz < settings.least_high_hz:
        return None
    high, middle = spectrum.bins(low_hz, high_hz), spectrum.bins(*settings.middle_hz)
    reach = max(1, round(settings.trend_s / spectrum.hop_s))
    detrended, ratios, bands = [], [], []
    for piece in spectrum.pieces:
        level = np.log(piece.power[:, high].sum(axis=1, dtype=np.float64) + _TINY)
        detrended.append(level - uniform_filter1d(level, reach))
        engine = piece.power[:, middle].sum(axis=1, dtype=np.float64)
        # Against the middle band of the same time: the gain may have changed since.
        ratios.append(level - np.log(uniform_filter1d(engine, reach) + _TINY))
        bands.append(piece.power[:, high].mean(axis=0, dtype=np.float64))
    low, up = np.quantile(np.concatenate(detrended), (0.1587, 0.8413))
    band = np.mean(bands, axis=0)
    by_itself = _SHARED_BY_BINS * float(np.sum(band**2) / (np.sum(band) + _TINY) ** 2)
    return HighBand(
        quiet_db=float(10 / np.log(10) * np.quantile(np.concatenate(ratios), settings.quiet_share)),
        unevenness=float(np.sqrt(max(0.0, (0.5 * (up - low)) ** 2 - by_itself))),
        low_hz=low_hz,
        high_hz=high_hz,
    )


def hiss_figures(band: HighBand, settings: HissSettings) -> tuple[float, float]:
    """Quiet level [dB] and logarithm of the unevenness, as far as it can be told."""
    return band.quiet_db, float(np.log(max(band.unevenness, settings.least_unevenness)))


def hiss_figure(band: HighBand, settings: HissSettings) -> float:
    """The figure that is weighed: quiet level, less for a band that swells. [dB]"""
    quiet_db, ln_unevenness = hiss_figures(band, settings)
    return quiet_db - settings.evenness_db * ln_unevenness


def hiss_finding(spectrum: ShortTimeSpectrum, settings: HissSettings | None = None) -> NoiseFinding:
    """How far one recording alone speaks for a hiss. Arguments as `high_band`."""
    settings = settings or HissSettings()
    band = high_band(spectrum, settings)
    if band is None:
        return cannot_tell(NOISE, "no high frequencies to look at")
    ln_ratio = settings.weighing.ln_ratio(hiss_figure(band, settings))
    even = "evenly" if band.unevenness < 0.3 else "swelling with the engine"
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=ln_ratio,
        level_db=band.quiet_db,
        low_hz=band.low_hz,
        high_hz=band.high_hz,
        share=1.0 if ln_ratio > 0 else 0.0,
        words=f"high band {even}, {band.quiet_db:+.0f} dB against the engine in its quiet moments",
    )


def hiss_against(
    spectrum: ShortTimeSpectrum,
    reference: ShortTimeSpectrum,
    settings: HissSettings | None = None,
) -> NoiseFinding:
    """How far a recording speaks for a hiss that its reference does not have.

    The engine's middle band is the measure in both, so that gain and distance cancel. The
    same engine recorded again differs by 5 dB and more, so that the rise alone tells no
    more than a hint; it is added to what the recording alone says.

    Parameters
    ----------
    spectrum, reference : ShortTimeSpectrum
        The complaint and the same engine at the same place without it.
    settings : HissSettings, optional
    """
    settings = settings or HissSettings()
    top_hz = min(spectrum.highest_hz, reference.highest_hz)
    bands = [
        high_band(ShortTimeSpectrum(one.pieces, one.spacing_hz, one.hop_s, top_hz), settings)
        for one in (spectrum, reference)
    ]
    now, before = bands
    if now is None or before is None:
        return cannot_tell(NOISE, "no high frequencies to compare")
    rise_db = now.quiet_db - before.quiet_db
    alone = settings.weighing.ln_ratio(hiss_figure(now, settings))
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=alone + settings.against.ln_ratio(rise_db),
        level_db=rise_db,
        low_hz=now.low_hz,
        high_hz=now.high_hz,
        share=1.0,
        words=f"high band {rise_db:+.0f} dB against the reference, engine alike",
    )
