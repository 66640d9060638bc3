"""Sound made ready for hearing the speed: two views of a clip at low sample rates.

The *bass* is the clip itself, resampled: engine orders lie below about 1.2 kHz. The
*envelope* is the log level of the bands from 0.9 to 7 kHz: combustion, injectors and
valves make it swell with every firing, so it carries the engine's working cycle where a
phone or a voice codec has taken the bass away.

Every frame is whitened against its own neighbourhood in frequency, which makes it blind
to gain: level jumps between stretches and automatic gain do not matter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import map_coordinates, uniform_filter1d

from acoustic.recording.recording import Recording, Samples, Stretches

FRAMES_AT_ONCE = 64
ENVELOPE_FRAMES_AT_ONCE = 8192
HIGHEST_SHARE = 0.4  # of the sample rate, up to which a view is read
LEAST_WHITE, MOST_WHITE = -1.0, 5.0  # nat; a single loud line must not decide alone
ENVELOPE_RATE_HZ = 16000.0
ENVELOPE_FRAME, ENVELOPE_HOP = 64, 26  # 4 ms, 1.6 ms: swells up to 220 Hz are kept
ENVELOPE_BANDS_HZ = ((900.0, 2000.0), (2000.0, 4000.0), (4000.0, 7000.0))
ENVELOPE_LOWEST_HZ, ENVELOPE_TOP_HZ = 3.0, 220.0
BASS_LOWEST_HZ = 20.0  # below it phones hold nothing but handling
FAINTEST = 1e-4  # of a band's mean power; fainter moments are taken as silence


@dataclass(frozen=True, slots=True, eq=False)
class SpeedSound:
    """One view of a clip in which the engine orders are sought.

    Attributes
    ----------
    samples : ndarray of float32, shape (frames,)
    rate_hz : float
    pieces_s : tuple of (float, float)
        Start and end of each used stretch. [s]
    lowest_hz, top_hz : float
        Range in which lines of the engine are looked for. [Hz]
    """

    samples: Samples
    rate_hz: float
    pieces_s: tuple[tuple[float, float], ...]
    lowest_hz: float
    top_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class WhiteFrames:
    """Log power over frames and frequency, less its own running mean.

    Attributes
    ----------
    time_s : ndarray, shape (frames,)
        Middle of each frame. [s]
    level : ndarray of float32, shape (frames, bins)
        Natural log of power re the mean of the neighbourhood, clipped. [nat]
    bin_hz : float
        Spacing of the bins; the first is 0 Hz. [Hz]
    """

    time_s: NDArray[np.float64]
    level: NDArray[np.float32]
    bin_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class SteadySound:
    """Views stretched in time so that a speed trace becomes one steady speed.

    Attributes
    ----------
    views : tuple of SpeedSound
        As they would have been at `speed_hz` throughout.
    speed_hz : float
        The steady speed. [Hz]
    steady_s, real_s : ndarray, shape (points,)
        Corresponding times in `views` and in the recording. [s]
    """

    views: tuple[SpeedSound, ...]
    speed_hz: float
    steady_s: NDArray[np.float64]
    real_s: NDArray[np.float64]


def speed_views(
    recording: Recording, stretches: Stretches, rate_hz: float, top_hz: float
) -> tuple[SpeedSound, SpeedSound]:
    """Make both views of a clip: bass and envelope.

    Parameters
    ----------
    recording : Recording
        Fewer samples a second than asked for are kept as they are.
    stretches : Stretches
        Only the used ones are listened to later.
    rate_hz : float
        Sample rate of the bass. [Hz]
    top_hz : float
        Highest engine order sought in the bass. [Hz]
    """
    pieces_s = tuple((stretch.start_s, stretch.end_s) for stretch in stretches.used)
    samples, rate = _resampled(recording.samples, recording.sample_rate_hz, ENVELOPE_RATE_HZ)
    level, level_rate = _band_levels(samples, rate)
    top = min(ENVELOPE_TOP_HZ, HIGHEST_SHARE * level_rate)
    envelope = SpeedSound(level, level_rate, pieces_s, ENVELOPE_LOWEST_HZ, top)
    samples, rate = _resampled(samples, rate, rate_hz)
    top = min(top_hz, HIGHEST_SHARE * rate)
    return SpeedSound(samples, rate, pieces_s, BASS_LOWEST_HZ, top), envelope


def _band_levels(samples: Samples, rate_hz: float) -> tuple[Samples, float]:
    """Log level above the bass, as the mean over the bands, and its sample rate."""
    hop = max(1, round(ENVELOPE_HOP * rate_hz / ENVELOPE_RATE_HZ))
    length = max(8, round(ENVELOPE_FRAME * rate_hz / ENVELOPE_RATE_HZ))
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    edges = np.round(np.array(ENVELOPE_BANDS_HZ) * length / rate_hz).astype(int)
    edges = edges[edges[:, 1] <= length // 2]
    frames = sliding_window_view(np.pad(samples, (0, length)), length)[::hop]
    power = np.empty((len(edges), len(frames)), dtype=np.float32)
    for first in range(0, len(frames), ENVELOPE_FRAMES_AT_ONCE):
        block = slice(first, first + ENVELOPE_FRAMES_AT_ONCE)
        spectrum = fft.rfft(frames[block] * window, axis=1)
        squared = spectrum.real**2 + spectrum.imag**2
        for band, (low, high) in enumerate(edges):
            power[band, block] = squared[:, low:high].sum(axis=1)
    power += np.float32(FAINTEST) * power.mean(axis=1, keepdims=True) + np.float32(1e-30)
    level = np.log(power).mean(axis=0) if len(edges) else np.zeros(len(frames), np.float32)
    return level, rate_hz / hop


def _resampled(samples: Samples, rate_hz: float, wanted_hz: float) -> tuple[Samples, float]:
    import soxr

    if rate_hz <= wanted_hz:
        return samples, rate_hz
    return soxr.resample(samples, rate_hz, wanted_hz, quality="HQ"), wanted_hz


def white_frames(
    sound: SpeedSound,
    window_s: float,
    hop_s: float,
    top_hz: float,
    neighbourhood_hz: float,
    most_white: float = MOST_WHITE,
) -> WhiteFrames:
    """Whitened log spectra of all frames that lie wholly inside a used stretch.

    Hann window, zero-padded to at least twice its length. The frames start on one raster
    of `hop_s` for the whole clip, the same for every view.

    Parameters
    ----------
    sound : SpeedSound
    window_s, hop_s : float
        Length of a frame and step from frame to frame. [s]
    top_hz : float
        Highest frequency kept. [Hz]
    neighbourhood_hz : float
        Width of the running mean taken off. [Hz]
    most_white : float
        Level at which louder lines are clipped. [nat]
    """
    length = max(8, round(window_s * sound.rate_hz))
    start_s = _frame_starts_s(sound.pieces_s, window_s, hop_s)
    last = max(0, sound.samples.shape[0] - length)
    starts = np.minimum(np.round(start_s * sound.rate_hz).astype(np.intp), last)
    padded = fft.next_fast_len(2 * length, real=True)
    bin_hz = sound.rate_hz / padded
    bins = min(padded // 2, int(top_hz / bin_hz) + 2)
    level = np.empty((starts.size, bins), dtype=np.float32)
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    frames = sliding_window_view(sound.samples, min(length, sound.samples.shape[0]))
    for first in range(0, starts.size, FRAMES_AT_ONCE):
        block = frames[starts[first : first + FRAMES_AT_ONCE]] * window
        spectrum = fft.rfft(block, padded, axis=1)[:, :bins]
        power = spectrum.real**2 + spectrum.imag**2
        level[first : first + FRAMES_AT_ONCE] = _whitened(
            power, neighbourhood_hz / bin_hz, most_white
        )
    return WhiteFrames(start_s + window_s / 2, level, bin_hz)


def _frame_starts_s(
    pieces_s: tuple[tuple[float, float], ...], window_s: float, hop_s: float
) -> NDArray[np.float64]:
    """Starts of the frames that fit into the pieces. [s]"""
    rasters = [
        hop_s * np.arange(np.ceil(first / hop_s), np.floor((last - window_s) / hop_s) + 1)
        for first, last in pieces_s
    ]
    return np.concatenate([np.empty(0), *rasters])


def _whitened(power: NDArray[np.float32], width_bins: float, most: float) -> NDArray[np.float32]:
    """Natural log of power less its running mean over `width_bins`, clipped."""
    # A power far below the frame's own mean is digital silence, not a deep notch.
    least = power.mean(axis=1, keepdims=True) * np.float32(1e-9) + np.float32(1e-30)
    level = np.log(np.maximum(power, least))
    level -= uniform_filter1d(level, max(3, int(width_bins)), axis=1, mode="nearest")
    return np.asarray(np.clip(level, LEAST_WHITE, most, out=level))


def make_steady(
    views: tuple[SpeedSound, ...], time_s: NDArray[np.float64], speed_hz: NDArray[np.float64]
) -> SteadySound:
    """Stretch the views so that the speed trace becomes its median everywhere.

    Orders keep their place: a line at order o comes to o times the median speed.
    """
    steady_hz = float(np.median(speed_hz))
    end_s = max(view.samples.shape[0] / view.rate_hz for view in views)
    real_s = np.arange(0, end_s + 0.01, 0.01)
    rate = np.interp(real_s, time_s, speed_hz) / steady_hz
    steps = 0.5 * (rate[1:] + rate[:-1]) * np.diff(real_s)
    steady_s = np.concatenate([[0.0], np.cumsum(steps)])
    stretched = tuple(_stretched(view, steady_s, real_s) for view in views)
    return SteadySound(stretched, steady_hz, steady_s, real_s)


def _stretched(
    view: SpeedSound, steady_s: NDArray[np.float64], real_s: NDArray[np.float64]
) -> SpeedSound:
    """One view read at other times; cubic splines are good to 0.4 of the sample rate."""
    wanted_s = np.arange(int(steady_s[-1] * view.rate_hz)) / view.rate_hz
    where = np.interp(wanted_s, steady_s, real_s) * view.rate_hz
    samples = map_coordinates(
        view.samples, where[None, :], output=np.float32, order=3, mode="nearest"
    )
    pieces_s = np.interp(np.array(view.pieces_s).reshape(-1, 2), real_s, steady_s)
    return replace(view, samples=samples, pieces_s=tuple((a, b) for a, b in pieces_s.tolist()))
