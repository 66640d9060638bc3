"""Does a tone follow the engine, or does it stay where it is in Hz?

An ordinary spectrum and the order spectrum, both with segments of the same length, are
compared at the tone. A tone that follows the speed is sharp over orders and smeared
over Hz; a fan, a mains hum or a resonance the other way round. Where the speed hardly
moved both are sharp, and the answer is that the recording cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.evidence.noise_floor import (
    FloorSettings,
    chance_of_ratio,
    degrees_of_freedom,
    ln_noise_floor,
)
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]
ToneKind = Literal["follows speed", "fixed frequency", "cannot tell"]

# A line smeared over this many bins has lost 3 dB and more; below it nothing can be told.
_TELLING_SMEAR_BINS = 1.5
_TELLING_DIFFERENCE_NAT = 0.7
_STEADY_SHARE = 0.9
_RATE_PER_HIGHEST = 2.4


@dataclass(frozen=True, slots=True, eq=False)
class FrequencySpectrum:
    """Ordinary mean spectrum with its floor.

    Attributes
    ----------
    frequency_hz : ndarray, shape (bins,)
    excess : ndarray, shape (bins,)
        ln(power / floor). [nat]
    persistence : ndarray, shape (bins,)
        Share of segments with the bin above twice the floor.
    segment_s : float
    freedom : float
    """

    frequency_hz: Floats
    excess: Floats
    persistence: Floats
    segment_s: float
    freedom: float


def spectrum_over_hz(
    recording: Recording, stretches: Stretches, segment_s: float, highest_hz: float
) -> FrequencySpectrum | None:
    """Mean spectrum of the used stretches; None if none is long enough."""
    rate_hz = recording.sample_rate_hz
    # Far above the highest frequency wanted there is nothing but work; and a segment of a
    # number of points that has no large factor is transformed several times faster.
    points = next_fast_len(int(segment_s * np.ceil(_RATE_PER_HIGHEST * highest_hz)), real=True)
    narrow_hz = points / segment_s
    thin = rate_hz > 1.5 * narrow_hz
    points = points if thin else int(segment_s * rate_hz)
    window = np.hanning(points + 1)[:-1].astype(np.float32)
    last = int(highest_hz * segment_s)
    powers = []
    for stretch in stretches.used:
        sound = recording.samples[int(stretch.start_s * rate_hz) : int(stretch.end_s * rate_hz)]
        if thin:
            sound = soxr.resample(sound, rate_hz, narrow_hz)
        if sound.size < points:
            continue
        segments = np.lib.stride_tricks.sliding_window_view(sound, points)[:: points // 2]
        # In blocks: a long clip's segments together would fill memory for nothing.
        for start in range(0, segments.shape[0], 32):
            lines = rfft(segments[start : start + 32] * window, axis=1)[:, 1 : last + 1]
            powers.append(lines.real**2 + lines.imag**2)
    if not powers:
        return None
    every = np.concatenate(powers)
    every /= np.median(every, axis=1, keepdims=True) + np.finfo(np.float32).tiny
    ln_power = np.log(np.maximum(every.mean(axis=0, dtype=np.float64), 1e-12))
    freedom = degrees_of_freedom(every.shape[0])
    floor = ln_noise_floor(ln_power, np.zeros(ln_power.size, bool), freedom, FloorSettings())
    frequency_hz = np.arange(1, ln_power.size + 1) / segment_s
    there = (every > 2 * np.exp(floor)).mean(axis=0)
    return FrequencySpectrum(frequency_hz, ln_power - floor, there, segment_s, freedom)


def tone_kind(
    order: float,
    excess: float,
    band: OrderBand,
    over_hz: FrequencySpectrum | None,
    speed: SpeedTrace,
    mean_speed_hz: float,
) -> ToneKind:
    """Whether a tone of the order spectrum follows the speed.

    Parameters
    ----------
    order : float
    excess : float
        ln(power / floor) in the order spectrum. [nat]
    """
    if over_hz is None:
        return "cannot tell"
    frequency_hz = order * mean_speed_hz
    wander = float(np.std(speed.speed_hz) / mean_speed_hz)
    if frequency_hz * wander * over_hz.segment_s < _TELLING_SMEAR_BINS:
        return "cannot tell"
    reach = 1.5 / over_hz.segment_s + 0.5 * mean_speed_hz / band.revolutions
    near = np.abs(over_hz.frequency_hz - frequency_hz) < reach
    if not near.any():
        return "cannot tell"
    difference = excess - float(over_hz.excess[near].max())
    if difference > _TELLING_DIFFERENCE_NAT:
        return "follows speed"
    return "fixed frequency" if difference < -_TELLING_DIFFERENCE_NAT else "cannot tell"


def fixed_lines(
    over_hz: FrequencySpectrum,
    speed: SpeedTrace,
    range_hz: tuple[float, float],
    level: float,
) -> list[tuple[float, float, float]]:
    """Lines that stay in Hz although the speed moved: (frequency, excess, p).

    Only frequencies at which the engine's lines are smeared wide are looked at, and a
    line must be there nearly all the time: an engine line passes through a bin only
    while the speed is right. `level` is the false-alarm rate per recording.
    """
    wander = float(np.std(speed.speed_hz) / np.median(speed.speed_hz))
    telling = over_hz.frequency_hz * wander * over_hz.segment_s >= 2 * _TELLING_SMEAR_BINS
    in_range = (over_hz.frequency_hz >= range_hz[0]) & (over_hz.frequency_hz <= range_hz[1])
    looked_at = telling & in_range
    trials = max(1.0, looked_at.sum() / 1.5)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(over_hz.excess, 2), 5).max(axis=1)
    steady = over_hz.persistence >= _STEADY_SHARE
    index = np.flatnonzero(looked_at & (over_hz.excess >= around) & steady)
    # The chance takes long to work out: of the few that could be, not of every bin.
    chance = np.minimum(1.0, chance_of_ratio(over_hz.excess[index], over_hz.freedom) * trials)
    lines = zip(over_hz.frequency_hz[index], over_hz.excess[index], chance, strict=True)
    return [(float(hz), float(excess), float(p)) for hz, excess, p in lines if p < level]


def without_fixed_lines(
    spectrum: OrderSpectrum, over_hz: FrequencySpectrum | None, speed: SpeedTrace, level: float
) -> OrderSpectrum:
    """Hide what lines that stay in Hz leave in the order spectrum.

    While the speed wanders such a line sweeps over a range of orders, and where the
    speed turns round it dwells long enough to look like a tone that follows the engine.
    Bins it sweeps over are hidden unless they stand higher than the line itself.
    """
    if over_hz is None:
        return spectrum
    range_hz = (spectrum.lowest_hz, spectrum.highest_hz)
    lines = fixed_lines(over_hz, speed, range_hz, level)
    if not lines:
        return spectrum
    slowest, fastest = float(speed.speed_hz.min()), float(speed.speed_hz.max())
    bands = []
    for band in spectrum.bands:
        swept = np.zeros(band.orders.size, dtype=bool)
        for frequency_hz, excess, _ in lines:
            edge = 2.0 / band.revolutions
            inside = band.orders > frequency_hz / fastest - edge
            inside &= band.orders < frequency_hz / slowest + edge
            swept |= inside & (band.excess < excess + _TELLING_DIFFERENCE_NAT)
        bands.append(replace(band, visible=band.visible & ~swept))
    return replace(spectrum, bands=tuple(bands))
