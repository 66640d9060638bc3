"""Tones: lines that stand out of the floor, at a stated rate of false alarms.

References
----------
.. [1] Y. Benjamini, Y. Hochberg, Controlling the false discovery rate, J. Royal
   Statistical Society B 57 (1995) 289-300 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.evidence.audibility import critical_band_edges_hz, tone_to_noise_limit_db
from acoustic.evidence.comb import CombLevels
from acoustic.evidence.findings import OrderBand, OrderSpectrum, Tone
from acoustic.evidence.fixed_tones import (
    FrequencySpectrum,
    fixed_lines,
    tone_kind,
    without_fixed_lines,
)
from acoustic.evidence.noise_floor import chance_of_ratio
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

BINS_PER_TRIAL = 1.5
"""Neighbouring Hann bins are alike: 1.5 bins make one independent look."""


@dataclass(frozen=True, slots=True)
class ToneSettings:
    """When a line is called a tone."""

    false_alarms_per_recording: float = 0.01
    listed_share_false: float = 0.05


def find_tones(
    spectrum: OrderSpectrum,
    comb: CombLevels,
    over_hz: FrequencySpectrum | None,
    speed: SpeedTrace,
    settings: ToneSettings | None = None,
) -> tuple[Tone, ...]:
    """Tones of one recording, strongest first.

    A tone is listed if it passes the false discovery rate [1]_ within the recording and
    its own chance over all looks is below a fifth; `Tone.p_value` holds that chance, and
    "something is there" is claimed from ``false_alarms_per_recording`` down.
    """
    settings = settings or ToneSettings()
    level = settings.false_alarms_per_recording
    spectrum = without_fixed_lines(spectrum, over_hz, speed, level)
    trials = max(1.0, sum(b.visible.sum() for b in spectrum.bands) / BINS_PER_TRIAL)
    candidates = [
        (band, index, float(p))
        for band in spectrum.bands
        for index, p in zip(*peaks(band), strict=True)
    ]
    tones = [
        _tone(band, index, min(1.0, p * trials), spectrum, over_hz, speed)
        for band, index, p in _discoveries(candidates, trials, settings)
    ]
    tones += _comb_tones(comb, spectrum, over_hz, speed, settings)
    tones += _fixed_only(tones, over_hz, speed, spectrum, settings)
    return tuple(sorted(tones, key=lambda tone: -tone.excess_db))


def claimed(tones: tuple[Tone, ...], settings: ToneSettings | None = None) -> tuple[Tone, ...]:
    """The tones sure enough to say "something is there".

    Lines on the engine's comb are not among them: engines have loud orders of their own.
    """
    settings = settings or ToneSettings()
    level = settings.false_alarms_per_recording
    return tuple(t for t in tones if t.p_value < level and not t.on_comb)


def peaks(band: OrderBand) -> tuple[NDArray[np.intp], Floats]:
    """Visible local maxima over five bins and their chance."""
    around = np.lib.stride_tricks.sliding_window_view(np.pad(band.excess, 2, mode="edge"), 5).max(
        axis=1
    )
    index = np.flatnonzero(band.visible & (band.excess >= around))
    return index, chance_of_ratio(band.excess[index], band.freedom)


def _discoveries(
    candidates: list[tuple[OrderBand, int, float]], trials: float, settings: ToneSettings
) -> list[tuple[OrderBand, int, float]]:
    """Benjamini-Hochberg over all looks of the recording."""
    ranked = sorted(candidates, key=lambda c: c[2])
    passed = 0
    for rank, (_, _, p) in enumerate(ranked, start=1):
        if p * trials / rank <= settings.listed_share_false:
            passed = rank
    return [c for c in ranked[:passed] if c[2] * trials < 0.2]


def peak_position(band: OrderBand, index: int) -> float:
    """Parabola through the log power of three bins: within 0.02 bin for a Hann line."""
    if not 0 < index < band.orders.size - 1:
        return float(band.orders[index])
    left, mid, right = band.level_db[index - 1 : index + 2]
    bend = left - 2 * mid + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(band.orders[index] + np.clip(shift, -0.5, 0.5) / band.revolutions)


def order_sd(order: float, revolutions: int) -> float:
    """Standard deviation of a line's order: bin width, slip wander and speed error."""
    return order * float(np.sqrt((0.15 / (revolutions * order)) ** 2 + 4e-4**2 + 6e-4**2))


def tone_to_noise_db(band: OrderBand, order: float, mean_speed_hz: float) -> float:
    """Tone-to-noise ratio in the critical band: the tone against everything else. [dB]

    The band's own bins stand for the whole critical band where it reaches over the
    band's edge.
    """
    lower, upper = critical_band_edges_hz(order * mean_speed_hz)
    hz = band.orders * mean_speed_hz
    inside = (hz >= lower) & (hz <= upper)
    power = 10 ** (band.level_db / 10)
    floor = 10 ** (band.floor_db / 10)
    own = np.abs(band.orders - order) <= 2.0 / band.revolutions
    tone = float(np.sum(np.maximum(power - floor, 0.0)[own]))
    rest = inside & ~own
    noise = float(np.mean(power[rest] if rest.any() else floor[own]))
    bins_in_band = float(upper - lower) / (mean_speed_hz / band.revolutions)
    # The Hann window spreads tone and noise power alike over its bins, so no correction.
    return float(10 * np.log10(max(tone, 1e-12) / (noise * bins_in_band)))


def _tone(
    band: OrderBand,
    index: int,
    p_value: float,
    spectrum: OrderSpectrum,
    over_hz: FrequencySpectrum | None,
    speed: SpeedTrace,
) -> Tone:
    order = peak_position(band, index)
    frequency_hz = order * spectrum.mean_speed_hz
    excess = float(band.excess[index])
    ratio_db = tone_to_noise_db(band, order, spectrum.mean_speed_hz)
    return Tone(
        order=order,
        order_sd=order_sd(order, band.revolutions),
        frequency_hz=frequency_hz,
        excess_db=excess * 10 / float(np.log(10)),
        tone_to_noise_db=ratio_db,
        prominent=bool(ratio_db >= tone_to_noise_limit_db(frequency_hz)),
        p_value=p_value,
        persistence=float(band.persistence[index]),
        kind=tone_kind(order, excess, band, over_hz, speed, spectrum.mean_speed_hz),
    )


def _band_of(spectrum: OrderSpectrum, order: float) -> OrderBand | None:
    for band in spectrum.bands:
        if band.orders[0] <= order <= band.orders[-1]:
            return band
    return None


def _comb_tones(
    comb: CombLevels,
    spectrum: OrderSpectrum,
    over_hz: FrequencySpectrum | None,
    speed: SpeedTrace,
    settings: ToneSettings,
) -> list[Tone]:
    """Comb lines too loud for their neighbours."""
    chance = np.minimum(1.0, comb.chance() * max(1, comb.orders.size))
    tones = []
    for i in np.flatnonzero(chance < settings.false_alarms_per_recording):
        band = _band_of(spectrum, comb.orders[i])
        if band is None:
            continue
        order = float(comb.orders[i])
        nearest = int(np.argmin(np.abs(band.orders - order)))
        ratio_db = tone_to_noise_db(band, order, spectrum.mean_speed_hz)
        frequency_hz = order * spectrum.mean_speed_hz
        excess = float(comb.above_neighbours_db[i]) * float(np.log(10)) / 10
        tones.append(
            Tone(
                order=order,
                order_sd=order_sd(order, band.revolutions),
                frequency_hz=frequency_hz,
                excess_db=float(comb.above_neighbours_db[i]),
                tone_to_noise_db=ratio_db,
                prominent=bool(ratio_db >= tone_to_noise_limit_db(frequency_hz)),
                p_value=float(chance[i]),
                persistence=float(band.persistence[nearest]),
                kind=tone_kind(order, excess, band, over_hz, speed, spectrum.mean_speed_hz),
                on_comb=True,
            )
        )
    return tones


def _fixed_only(
    tones: list[Tone],
    over_hz: FrequencySpectrum | None,
    speed: SpeedTrace,
    spectrum: OrderSpectrum,
    settings: ToneSettings,
) -> list[Tone]:
    """Tones that show only over Hz, because they do not follow the engine."""
    if over_hz is None:
        return []
    level = settings.false_alarms_per_recording
    range_hz = (spectrum.lowest_hz, spectrum.highest_hz)
    extra = []
    for frequency_hz, excess, p in fixed_lines(over_hz, speed, range_hz, level):
        order = frequency_hz / spectrum.mean_speed_hz
        if excess < _strongest_near(spectrum, order) + 0.7:
            continue
        if any(abs(t.order - order) < 3 * t.order_sd + 0.01 * order for t in tones):
            continue
        extra.append(
            Tone(
                order=order,
                order_sd=order_sd(order, 10),
                frequency_hz=frequency_hz,
                excess_db=excess * 10 / float(np.log(10)),
                tone_to_noise_db=_plain_tone_to_noise_db(over_hz, frequency_hz, excess),
                prominent=bool(
                    _plain_tone_to_noise_db(over_hz, frequency_hz, excess)
                    >= tone_to_noise_limit_db(frequency_hz)
                ),
                p_value=p,
                persistence=1.0,
                kind="fixed frequency",
            )
        )
    return extra


def _strongest_near(spectrum: OrderSpectrum, order: float) -> float:
    """Highest visible ln(power/floor) of the order spectrum within 1 % of an order."""
    band = _band_of(spectrum, order)
    if band is None:
        return -np.inf
    near = band.visible & (np.abs(band.orders - order) <= max(0.01 * order, 2.0 / band.revolutions))
    return float(band.excess[near].max()) if near.any() else -np.inf


def _plain_tone_to_noise_db(
    over_hz: FrequencySpectrum, frequency_hz: float, excess: float
) -> float:
    """Tone-to-noise ratio from a peak bin over its local floor. [dB]"""
    lower, upper = critical_band_edges_hz(frequency_hz)
    noise_bins = float(upper - lower) * over_hz.segment_s
    # A Hann line puts 2/3 of its power into the peak bin.
    return float(10 * np.log10(max(np.exp(excess) - 1.0, 1e-12) * 1.5 / noise_bins))
