"""The sound as a picture: level above its own floor over time and log frequency.

The floor is taken out row by row, so a weak line at 3 kHz shows as clearly as a strong one
at 100 Hz; without that the picture would show the phone and the bonnet, not the drive. The
slow rise and fall of the whole sound is taken out too, since a phone's automatic gain and a
phone moved from place to place would else darken half of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.recording import Recording

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SpectrogramSettings:
    """What the picture resolves.

    `window_s` is a compromise: 0.17 s parts lines 12 Hz apart (Hann, two bins), about one
    turn of an idling engine, and still shows a squeal of a quarter second. Levels that
    change slower than `slow_s` (automatic gain, a phone moved to another place) are taken
    out; a bump or a squeal stays.
    """

    window_s: float = 0.17
    columns: int = 600
    rows: int = 240
    lowest_hz: float = 50.0
    highest_hz: float = 12000.0
    floor_octaves: float = 1.0
    slow_s: float = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Spectrogram:
    """Level above the floor, with its own axes.

    Attributes
    ----------
    time_s : ndarray, shape (columns,)
        Middle of each column. [s]
    edges_hz : ndarray, shape (rows + 1,)
        Edges of the rows, evenly spaced in log frequency. [Hz]
    level_db : ndarray, shape (rows, columns)
        Strongest bin of the row, above the row's floor. [dB]
    """

    time_s: Floats
    edges_hz: Floats
    level_db: Floats


def make_spectrogram(
    recording: Recording, settings: SpectrogramSettings = SpectrogramSettings()
) -> Spectrogram:
    """Hann short-time spectra of a recording, on a log frequency axis, floor removed.

    Parameters
    ----------
    recording : Recording
        At least one window long; a shorter one is padded with silence.
    settings : SpectrogramSettings

    Returns
    -------
    Spectrogram
    """
    rate = recording.sample_rate_hz
    window = max(64, int(settings.window_s * rate))
    starts = _window_starts(recording.samples.shape[0], window, settings.columns)
    power = _short_time_power(recording.samples, starts, window)
    highest = min(settings.highest_hz, 0.48 * rate)
    edges = np.geomspace(settings.lowest_hz, highest, settings.rows + 1)
    first_bins = np.minimum(np.round(edges * window / rate).astype(int), power.shape[1] - 1)
    rows = np.maximum.reduceat(power[:, : first_bins[-1] + 1], first_bins[:-1], axis=1)
    level_db = 10.0 * np.log10(rows.T + 1e-20)
    level_db -= _row_floor_db(level_db, edges, settings.floor_octaves)[:, None]
    time_s = (starts + 0.5 * window).astype(np.float64) / rate
    level_db -= _slow_level_db(level_db, time_s, settings.slow_s)
    return Spectrogram(time_s=time_s, edges_hz=edges, level_db=level_db)


def _window_starts(frames: int, window: int, columns: int) -> NDArray[np.int64]:
    """First frame of each column: half overlapping, thinned out where that is too many."""
    room = max(0, frames - window)
    wanted = min(columns, 1 + room // max(1, window // 8))
    return np.linspace(0, room, wanted).astype(np.int64)


def _short_time_power(
    samples: NDArray[np.float32], starts: NDArray[np.int64], window: int, block: int = 64
) -> NDArray[np.float32]:
    """Power spectra, shape (starts, bins); in blocks, so an hour takes no more memory."""
    from scipy.fft import rfft

    hann = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(window) / window)).astype(np.float32)
    if samples.shape[0] < window:
        samples = np.pad(samples, (0, window - samples.shape[0]))
    frames = np.lib.stride_tricks.sliding_window_view(samples, window)
    power = np.empty((starts.size, window // 2 + 1), dtype=np.float32)
    for first in range(0, starts.size, block):
        chosen = starts[first : first + block]
        power[first : first + block] = np.abs(rfft(frames[chosen] * hann, axis=1)) ** 2
    return power


def _row_floor_db(level_db: Floats, edges_hz: Floats, octaves: float) -> Floats:
    """Floor of each row: running median over frequency of the rows' median over time."""
    from scipy.ndimage import median_filter, uniform_filter1d

    middle = np.median(level_db, axis=1)
    rows_per_octave = (edges_hz.size - 1) / np.log2(edges_hz[-1] / edges_hz[0])
    width = 2 * int(0.5 * octaves * rows_per_octave) + 1
    floor: Floats = uniform_filter1d(median_filter(middle, size=width, mode="nearest"), size=width)
    return floor


def _slow_level_db(level_db: Floats, time_s: Floats, slow_s: float) -> Floats:
    """Level of the whole sound over time, its quick changes left out; shape (columns,)."""
    from scipy.ndimage import median_filter

    whole = np.median(level_db, axis=0)
    if time_s.size < 3:
        return whole
    width = max(1, round(slow_s / float(time_s[1] - time_s[0])))
    slow: Floats = median_filter(whole, size=min(width, time_s.size), mode="nearest")
    return slow
