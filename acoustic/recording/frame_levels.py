"""Band levels of a recording over time: what stretches and quality checks look at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.recording import Recording

FRAME_S = 0.1
HOP_S = 0.05

# Rumble of wind and handling lies under 80 Hz (common practice, no source); the others
# split what a phone hears well into parts of about equal width on a logarithmic axis.
BANDS_HZ: tuple[tuple[float, float], ...] = (
    (15.0, 80.0),
    (100.0, 250.0),
    (250.0, 600.0),
    (600.0, 1500.0),
    (1500.0, 3500.0),
    (3500.0, 9000.0),
)

_SMALLEST_POWER = 1e-14
_CLIPPED = 0.985
_BLOCK_FRAMES = 64


@dataclass(frozen=True, slots=True, eq=False)
class FrameLevels:
    """Levels in frames of 0.1 s, one every 0.05 s.

    Attributes
    ----------
    time_s : ndarray, shape (frames,)
        Middle of each frame. [s]
    band_db : ndarray, shape (frames, bands)
        Power in each band of `bands_hz`. [dB re full scale squared]
    bands_hz : tuple of (float, float)
        Those of `BANDS_HZ` that this sample rate can hold.
    clipped : ndarray, shape (frames,)
        Share of samples within 1.5 % of the largest magnitude of the recording.
    """

    time_s: NDArray[np.float64]
    band_db: NDArray[np.float64]
    bands_hz: tuple[tuple[float, float], ...]
    clipped: NDArray[np.float64]

    @property
    def rumble_db(self) -> NDArray[np.float64]:
        """Level below 80 Hz, shape (frames,). [dB]"""
        return self.band_db[:, 0]

    def sum_db(self, lowest_hz: float, highest_hz: float) -> NDArray[np.float64]:
        """Level of all bands that lie between two frequencies, shape (frames,). [dB]"""
        inside = [lowest_hz <= low and high <= highest_hz for low, high in self.bands_hz]
        power = np.sum(10 ** (self.band_db[:, inside] / 10), axis=1)
        return np.asarray(10 * np.log10(power + _SMALLEST_POWER), float)

    @property
    def machine_db(self) -> NDArray[np.float64]:
        """Level of everything above the rumble, shape (frames,). [dB]"""
        return self.sum_db(80.0, np.inf)


def frame_levels(recording: Recording) -> FrameLevels:
    """Measure band levels over time (Hann window, half overlapped).

    A recording shorter than one frame counts as one frame, filled up with nothing.
    """
    from scipy.fft import rfft

    rate_hz = recording.sample_rate_hz
    length, hop = round(FRAME_S * rate_hz), round(HOP_S * rate_hz)
    samples = recording.samples
    if samples.shape[0] < length:
        samples = np.pad(samples, (0, length - samples.shape[0]))
    frames = np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]
    window = np.hanning(length + 1)[:-1].astype(np.float32)
    scale = 2.0 / (length * float(np.sum(window.astype(float) ** 2)))
    bands = tuple((low, min(high, 0.49 * rate_hz)) for low, high in BANDS_HZ)
    bands = tuple((low, high) for low, high in bands if high > 1.2 * low)
    edges = [(round(low * FRAME_S), round(high * FRAME_S)) for low, high in bands]
    power = np.empty((frames.shape[0], len(bands)))
    for start in range(0, frames.shape[0], _BLOCK_FRAMES):
        block = slice(start, start + _BLOCK_FRAMES)
        spectrum = rfft(frames[block] * window, axis=1)
        density = spectrum.real**2 + spectrum.imag**2
        for k, (first, last) in enumerate(edges):
            power[block, k] = density[:, first:last].sum(axis=1)
    return FrameLevels(
        time_s=np.asarray((np.arange(frames.shape[0]) * hop + length / 2) / rate_hz, float),
        band_db=10 * np.log10(scale * power + _SMALLEST_POWER),
        bands_hz=bands,
        clipped=_clipped_share(samples, length, hop, frames.shape[0]),
    )


def _clipped_share(
    samples: NDArray[np.float32], length: int, hop: int, frames: int
) -> NDArray[np.float64]:
    """Share of samples near the largest magnitude, per frame."""
    largest = max(float(samples.max()), -float(samples.min()))
    near = np.flatnonzero((samples >= _CLIPPED * largest) | (samples <= -_CLIPPED * largest))
    counts = np.bincount(near // hop, minlength=frames + 2)[: frames + 1]
    return (counts[:-1] + counts[1:]) / length
