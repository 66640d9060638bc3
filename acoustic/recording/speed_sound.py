"""Sound made ready for hearing the speed: few samples, level edges and colour taken out.

Engine orders that tell the speed lie below about 1.2 kHz, so the clip is resampled once
to a low rate. Every frame is whitened against its own neighbourhood in frequency, which
makes it blind to gain: level jumps between stretches and automatic gain do not matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import map_coordinates, uniform_filter1d

from acoustic.recording.recording import Recording, Samples, Stretches

FRAMES_AT_ONCE = 64
LEAST_WHITE, MOST_WHITE = -1.0, 5.0


@dataclass(frozen=True, slots=True, eq=False)
class LowSound:
    """Used parts of a clip at a low sample rate.

    Attributes
    ----------
    samples : ndarray of float32, shape (frames,)
    rate_hz : float
    pieces : tuple of (int, int)
        First sample and one past the last of each used stretch.
    """

    samples: Samples
    rate_hz: float
    pieces: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, eq=False)
class WhiteFrames:
    """Log power over frames and frequency, less its own running mean.

    Attributes
    ----------
    time_s : ndarray, shape (frames,)
        Middle of each frame. [s]
    level : ndarray of float32, shape (frames, bins)
        Natural log of power re the mean of the neighbourhood, clipped. [-]
    bin_hz : float
        Spacing of the bins; the first is 0 Hz. [Hz]
    """

    time_s: NDArray[np.float64]
    level: NDArray[np.float32]
    bin_hz: float


def low_sound(recording: Recording, stretches: Stretches, rate_hz: float) -> LowSound:
    """Resample a clip for hearing the speed.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Only the used ones are listened to.
    rate_hz : float
        New sample rate; a clip that has fewer samples a second is kept as it is. [Hz]
    """
    import soxr

    samples, rate = recording.samples, recording.sample_rate_hz
    if rate > rate_hz:
        samples = soxr.resample(samples, rate, rate_hz, quality="HQ")
        rate = rate_hz
    pieces = tuple(
        (max(0, round(s.start_s * rate)), min(samples.shape[0], round(s.end_s * rate)))
        for s in stretches.used
    )
    return LowSound(samples, rate, pieces)


def white_frames(
    sound: LowSound, window_s: float, hop_s: float, top_hz: float, neighbourhood_hz: float
) -> WhiteFrames:
    """Whitened log spectra of all frames that lie wholly inside a used stretch.

    Hann window, zero-padded to at least twice its length.

    Parameters
    ----------
    sound : LowSound
    window_s, hop_s : float
        Length of a frame and step from frame to frame. [s]
    top_hz : float
        Highest frequency kept. [Hz]
    neighbourhood_hz : float
        Width of the running mean taken off. [Hz]
    """
    length = max(8, round(window_s * sound.rate_hz))
    starts = _frame_starts(sound, length, hop_s)
    padded = fft.next_fast_len(2 * length, real=True)
    bin_hz = sound.rate_hz / padded
    bins = min(padded // 2, int(top_hz / bin_hz) + 2)
    level = np.empty((starts.size, bins), dtype=np.float32)
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    if starts.size:
        frames = sliding_window_view(sound.samples, length)
        for first in range(0, starts.size, FRAMES_AT_ONCE):
            block = frames[starts[first : first + FRAMES_AT_ONCE]] * window
            spectrum = fft.rfft(block, padded, axis=1)[:, :bins]
            power = spectrum.real**2 + spectrum.imag**2
            level[first : first + FRAMES_AT_ONCE] = _whitened(power, neighbourhood_hz / bin_hz)
    return WhiteFrames(np.asarray((starts + length / 2) / sound.rate_hz), level, bin_hz)


def _frame_starts(sound: LowSound, length: int, hop_s: float) -> NDArray[np.intp]:
    """First samples of the frames, on one common raster so that gaps keep their length."""
    hop = hop_s * sound.rate_hz
    starts = [
        np.round(np.arange(np.ceil(first / hop), np.floor((last - length) / hop) + 1) * hop)
        for first, last in sound.pieces
        if last - first >= length + hop
    ]
    return np.concatenate(starts).astype(np.intp) if starts else np.empty(0, dtype=np.intp)


def _whitened(power: NDArray[np.float32], width_bins: float) -> NDArray[np.float32]:
    """Natural log of power less its running mean over `width_bins`, clipped."""
    # A power far below the frame's own mean is digital silence, not a deep notch.
    least = power.mean(axis=1, keepdims=True) * np.float32(1e-9) + np.float32(1e-30)
    level = np.log(np.maximum(power, least))
    level -= uniform_filter1d(level, max(3, int(width_bins)), axis=1, mode="nearest")
    return np.asarray(np.clip(level, LEAST_WHITE, MOST_WHITE, out=level))


@dataclass(frozen=True, slots=True, eq=False)
class SteadySound:
    """Sound stretched in time so that a speed trace becomes one steady speed.

    Attributes
    ----------
    sound : LowSound
        As it would have been at `speed_hz` throughout.
    speed_hz : float
        The steady speed. [Hz]
    steady_s, real_s : ndarray, shape (points,)
        Corresponding times in `sound` and in the recording. [s]
    """

    sound: LowSound
    speed_hz: float
    steady_s: NDArray[np.float64]
    real_s: NDArray[np.float64]


def make_steady(
    sound: LowSound, time_s: NDArray[np.float64], speed_hz: NDArray[np.float64]
) -> SteadySound:
    """Stretch the sound so that the speed trace becomes its median everywhere.

    Orders keep their place: a line at order o comes to o times the median speed. Cubic
    splines between samples are good to 0.4 of the sample rate for finding lines.
    """
    steady = float(np.median(speed_hz))
    grid_s = np.arange(0, sound.samples.shape[0] / sound.rate_hz + 0.01, 0.01)
    rate = np.interp(grid_s, time_s, speed_hz) / steady
    steady_s = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(grid_s))])
    count = int(steady_s[-1] * sound.rate_hz)
    where = np.interp(np.arange(count) / sound.rate_hz, steady_s, grid_s) * sound.rate_hz
    samples = map_coordinates(
        sound.samples, where[None, :], output=np.float32, order=3, mode="nearest"
    )
    edges = np.array(sound.pieces, dtype=np.float64).reshape(-1, 2) / sound.rate_hz
    pieces = np.round(np.interp(edges, grid_s, steady_s) * sound.rate_hz).astype(int)
    kept = tuple((int(first), min(int(last), count)) for first, last in pieces)
    return SteadySound(LowSound(samples, sound.rate_hz, kept), steady, steady_s, grid_s)
