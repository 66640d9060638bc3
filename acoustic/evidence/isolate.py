"""One part out of a recording, for the ear: its lines followed, or the band that swings.

A line is followed by turning it back to standstill: the sound times a phasor that turns
against it as the crankshaft's measured angle says, a narrow low-pass, and turned forth
again. So the line passes at its own strength however the speed wanders, and what turns at
another order does not. Lines are taken one after the other from what is left, so that what
is taken and what is left always sum to the recording.

A line turned forth twice, four or eight times as fast lies one, two or three octaves up and
still follows the engine.

References
----------
.. [1] H. Vold, J. Leuridan, High resolution order tracking at extreme slew rates, using
   Kalman tracking filters, SAE 931288 (1993) (from memory): the idea of an order's slowly
   changing complex amplitude. Here it is found by a plain low-pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, fftfreq, ifft, irfft, next_fast_len, rfft, rfftfreq

from acoustic.evidence.engine_bins import distance_to_multiples
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]
Phasor = NDArray[np.complex64]
_Scalar = TypeVar("_Scalar", np.float32, np.complex64)


@dataclass(frozen=True, slots=True)
class FollowSettings:
    """How closely a line is followed.

    Attributes
    ----------
    half_width_hz : float
        At least so far to either side of the line everything passes. [Hz]
    half_width_share : float
        And at least so far relative to its frequency: slip and measured speed are not
        steady. [-]
    closest_hz, closest_share : float
        As `half_width_hz` and `half_width_share`, where a line of the engine lies so near
        that the window is narrowed to keep it out. The share is one sd of a belt's slip.
    skirt : float
        From there it fades out over this many half-widths. [-]
    band_skirt : float
        The same of a band, in shares of its width. [-]
    """

    half_width_hz: float = 1.2
    half_width_share: float = 0.003
    closest_hz: float = 0.4
    closest_share: float = 0.0015
    skirt: float = 1.0
    band_skirt: float = 0.05

    def half_width_of(self, frequency_hz: float, apart_hz: float = np.inf) -> float:
        """Half-width about a line at this frequency, so far from the engine's next. [Hz]"""
        widest = max(self.half_width_hz, self.half_width_share * frequency_hz)
        closest = max(self.closest_hz, self.closest_share * frequency_hz)
        return min(widest, max(closest, apart_hz / (1.0 + self.skirt)))


@dataclass(frozen=True, slots=True, eq=False)
class FollowedLine:
    """A line that was followed.

    Attributes
    ----------
    order : float
    frequency_hz : float
        Mean over the sound. [Hz]
    half_width_hz : float
    phasor : ndarray of complex64, shape (frames,)
        Half its amplitude and its phase against the crankshaft's angle.
    """

    order: float
    frequency_hz: float
    half_width_hz: float
    phasor: Phasor

    def sound(self, turns: Floats, times: int = 1) -> Samples:
        """The line heard again, turned `times` as fast, shape (frames,).

        `turns` is the crankshaft's angle at each sample. [rev]
        """
        return np.asarray(2.0 * (self.phasor * _turning(times * self.order, turns)).real)


@dataclass(frozen=True, slots=True, eq=False)
class Isolated:
    """A sound taken apart; `alone` and `without` sum to it.

    Attributes
    ----------
    alone, without : ndarray of float32, shape (frames,)
    lines : tuple of FollowedLine
        Empty for a band.
    turns : ndarray, shape (frames,)
        Angle of the crankshaft since the first sample; empty for a band. [rev]
    """

    alone: Samples
    without: Samples
    lines: tuple[FollowedLine, ...]
    turns: Floats


def crank_turns(speed: SpeedTrace, start_s: float, count: int, rate_hz: float) -> Floats:
    """Angle of the crankshaft at `count` samples from second `start_s` on. [rev]"""
    speed_hz = speed.at(start_s + np.arange(count) / rate_hz)
    steps = 0.5 * (speed_hz[1:] + speed_hz[:-1]) / rate_hz
    return np.concatenate([[0.0], np.cumsum(steps)])[:count]


def isolate_lines(
    sound: Samples,
    rate_hz: float,
    turns: Floats,
    orders: Sequence[float],
    comb_step: float | None = None,
    settings: FollowSettings | None = None,
) -> Isolated:
    """Take the lines at these orders out of a sound.

    Parameters
    ----------
    sound : ndarray of float32, shape (frames,)
    rate_hz : float
        [Hz]
    turns : ndarray, shape (frames,)
        Angle of the crankshaft at each sample, two at least. [rev]
    orders : sequence of float
        Those beyond half the sample rate are left.
    comb_step : float or None
        Spacing of the engine's own lines, which are kept out as far as can be; None where
        there are none. [order]
    """
    settings = settings or FollowSettings()
    speed_hz = float(turns[-1] - turns[0]) * rate_hz / max(1, turns.size - 1)
    steps = np.diff(turns)
    slowest_hz, fastest_hz = (rate_hz * float(one) for one in (steps.min(), steps.max()))
    left = np.array(sound, dtype=np.float32)
    alone = np.zeros_like(left)
    lines = []
    for order in sorted(orders):
        apart = distance_to_multiples(np.array([order]), comb_step)[0] if comb_step else np.inf
        half_hz = settings.half_width_of(order * speed_hz, float(apart) * slowest_hz)
        if order * fastest_hz + 2.0 * half_hz >= 0.5 * rate_hz:
            continue
        phasor = _followed(left, rate_hz, turns, order, (half_hz, settings.skirt * half_hz))
        line = FollowedLine(order, order * speed_hz, half_hz, phasor)
        lines.append(line)
        taken = line.sound(turns)
        alone += taken
        left -= taken
    return Isolated(alone, np.asarray(sound - alone, dtype=np.float32), tuple(lines), turns)


def isolate_band(
    sound: Samples,
    rate_hz: float,
    band_hz: tuple[float, float],
    settings: FollowSettings | None = None,
) -> Isolated:
    """Take a band out of a sound, without delay."""
    settings = settings or FollowSettings()
    low_hz, high_hz = band_hz
    skirt_hz = settings.band_skirt * (high_hz - low_hz)
    padded, first = _reflected(sound, int(rate_hz * 4.0 / skirt_hz))
    distance_hz = np.abs(rfftfreq(padded.size, 1.0 / rate_hz) - 0.5 * (low_hz + high_hz))
    gain = _fading(distance_hz, 0.5 * (high_hz - low_hz), skirt_hz)
    kept = irfft(rfft(padded) * gain, n=padded.size)[first : first + sound.size]
    alone = np.asarray(kept, dtype=np.float32)
    return Isolated(alone, np.asarray(sound - alone, dtype=np.float32), (), np.zeros(0))


def octaves_up(found: Isolated, octaves: int, rate_hz: float) -> Samples:
    """The lines alone, each a whole number of octaves higher and as strong as it was.

    Those that would lie beyond half the sample rate are left out.
    """
    times = 2**octaves
    fastest_hz = float(np.diff(found.turns).max(initial=0.0)) * rate_hz
    total = np.zeros_like(found.alone)
    for line in found.lines:
        if times * line.order * fastest_hz + 2.0 * line.half_width_hz < 0.5 * rate_hz:
            total += line.sound(found.turns, times)
    return total


def half_speed(sound: Samples) -> Samples:
    """The sound at half speed, twice as long and an octave lower, shape (2 * frames,).

    Exact for what lies below half the sample rate, but near its ends: fade them before.
    """
    size = next_fast_len(sound.size + 1, real=True)
    lines = rfft(sound, n=size)
    slow = irfft(lines, n=2 * size) * np.float32(2.0)
    return np.asarray(slow[: 2 * sound.size], dtype=np.float32)


def faded(sound: Samples, rate_hz: float, seconds: float) -> Samples:
    """The sound with its first and last `seconds` faded in and out along the first axis."""
    count = min(round(seconds * rate_hz), sound.shape[0] // 2)
    gain = np.ones(sound.shape[0], dtype=np.float32)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / max(count, 1))
    gain[:count] = rise
    gain[sound.shape[0] - count :] = rise[::-1]
    return np.asarray(sound * (gain if sound.ndim == 1 else gain[:, None]))


def gain_to_peak_db(sound: Samples, peak: float, most_db: float) -> float:
    """Gain that brings the highest sample to `peak`, no more than `most_db`. [dB]"""
    highest = float(np.abs(sound).max(initial=0.0))
    if highest <= 0.0:
        return 0.0
    return min(most_db, 20.0 * float(np.log10(peak / highest)))


def _turning(order: float, turns: Floats) -> Phasor:
    """Phasor that turns at an order, its angle kept exact over long sounds."""
    angle = 2.0 * np.pi * np.mod(order * turns, 1.0)
    return np.asarray(np.exp(1j * angle), dtype=np.complex64)


def _followed(
    sound: Samples, rate_hz: float, turns: Floats, order: float, widths_hz: tuple[float, float]
) -> Phasor:
    """Slowly changing complex amplitude of the line at an order, shape (frames,)."""
    half_hz, skirt_hz = widths_hz
    still = np.asarray(sound * np.conj(_turning(order, turns)), dtype=np.complex64)
    padded, first = _reflected(still, int(2.0 * rate_hz / skirt_hz))
    gain = _fading(np.abs(fftfreq(padded.size, 1.0 / rate_hz)), half_hz, skirt_hz)
    slow = ifft(fft(padded) * gain)[first : first + sound.size]
    return np.asarray(slow, dtype=np.complex64)


def _fading(distance_hz: Floats, half_hz: float, skirt_hz: float) -> Samples:
    """Gain by distance: 1 within the half-width, a raised cosine to 0 over the skirt."""
    beyond = np.clip((distance_hz - half_hz) / skirt_hz, 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * beyond), dtype=np.float32)


def _reflected(signal: NDArray[_Scalar], margin: int) -> tuple[NDArray[_Scalar], int]:
    """The signal going on mirrored at both ends, of a length quick to transform.

    With how many values stand before its first. So a filter neither rings nor fades there.
    """
    size = next_fast_len(signal.size + 2 * margin)
    return np.pad(signal, (margin, size - signal.size - margin), mode="symmetric"), margin
