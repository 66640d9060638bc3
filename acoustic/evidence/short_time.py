"""Power over time and frequency in short frames: what noises without lines are read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import uniform_filter1d

from acoustic.recording.recording import Recording, Stretches

Floats = NDArray[np.float64]
Powers = NDArray[np.float32]

_FRAMES_AT_ONCE = 256
_TINY = 1e-20
_USUAL_SHARE = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class ShortTimePiece:
    """Frames of one used stretch.

    Attributes
    ----------
    time_s : ndarray, shape (frames,)
        Middle of each frame from the recording's first sample. [s]
    power : ndarray of float32, shape (frames, bins)
        Squared magnitude of the Hann-windowed transform.
    """

    time_s: Floats
    power: Powers


@dataclass(frozen=True, slots=True, eq=False)
class ShortTimeSpectrum:
    """Short-time spectra of the used stretches; frames overlap by half.

    Attributes
    ----------
    pieces : tuple of ShortTimePiece
        One for each stretch that holds at least a few frames.
    spacing_hz : float
        Bin k lies at ``k * spacing_hz``. [Hz]
    hop_s : float
        From frame to frame. [s]
    highest_hz : float
        Nothing above this is to be trusted. [Hz]
    """

    pieces: tuple[ShortTimePiece, ...]
    spacing_hz: float
    hop_s: float
    highest_hz: float

    @property
    def seconds(self) -> float:
        """Time covered. [s]"""
        return self.hop_s * sum(piece.time_s.size for piece in self.pieces)

    @property
    def silent(self) -> bool:
        """Whether most frames hold no sound at all, or there are none."""
        loud = sum(int(np.sum(piece.power.max(axis=1) > _TINY)) for piece in self.pieces)
        return 2 * loud <= sum(piece.time_s.size for piece in self.pieces)

    def bins(self, low_hz: float, high_hz: float) -> slice:
        """Bins between two frequencies, as far as they can be trusted."""
        first = int(np.ceil(low_hz / self.spacing_hz))
        last = int(np.floor(min(high_hz, self.highest_hz) / self.spacing_hz))
        return slice(first, max(first, last + 1))


def short_time_spectrum(
    recording: Recording,
    stretches: Stretches,
    window_s: float,
    highest_hz: float,
    fewest_frames: int = 8,
) -> ShortTimeSpectrum:
    """Transform the used stretches frame by frame.

    Parameters
    ----------
    window_s : float
        Length of a frame; the nearest power of two samples is taken. [s]
    highest_hz : float
        Codec's or microphone's cut-off; bins above it are not kept. [Hz]
    fewest_frames : int
        Shorter stretches are left out.
    """
    rate_hz = recording.sample_rate_hz
    points = int(2 ** np.round(np.log2(max(16.0, window_s * rate_hz))))
    spacing_hz = rate_hz / points
    highest_hz = min(highest_hz, 0.5 * rate_hz)
    kept = min(int(highest_hz / spacing_hz) + 1, points // 2 + 1)
    pieces = []
    for stretch in stretches.used:
        first, last = (int(t * rate_hz) for t in (stretch.start_s, stretch.end_s))
        sound = recording.samples[first:last]
        if sound.size < points * (fewest_frames + 1) // 2:
            continue
        power = _frame_powers(sound, points, kept)
        middle = first + 0.5 * points + np.arange(power.shape[0]) * (points // 2)
        pieces.append(ShortTimePiece(np.asarray(middle / rate_hz, dtype=np.float64), power))
    return ShortTimeSpectrum(tuple(pieces), spacing_hz, 0.5 * points / rate_hz, highest_hz)


def _frame_powers(sound: NDArray[np.float32], points: int, kept: int) -> Powers:
    """Power of the first `kept` bins of Hann frames at half overlap."""
    window = np.hanning(points + 1)[:-1].astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(sound, points)[:: points // 2]
    power = np.empty((frames.shape[0], kept), np.float32)
    # In blocks: the frames of a long clip together would fill memory for nothing.
    for start in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        block = slice(start, start + _FRAMES_AT_ONCE)
        lines = rfft(frames[block] * window, axis=1)[:, :kept]
        power[block] = lines.real**2 + lines.imag**2
    return power


def over_both_sides(
    power: Powers, inside: slice, spectrum: ShortTimeSpectrum, beside_hz: float, guard_hz: float
) -> Powers:
    """Power over the mean power on both sides of it in frequency, shape (frames, bins inside).

    Parameters
    ----------
    power : ndarray, shape (frames, bins)
        All bins of a `ShortTimeSpectrum`, averaged over time or not.
    inside : slice
        Bins wanted.
    beside_hz, guard_hz : float
        What lies within `beside_hz` is averaged, without what lies within `guard_hz`. [Hz]
    """
    reach = max(2, round(beside_hz / spectrum.spacing_hz))
    guard = min(reach - 1, round(guard_hz / spectrum.spacing_hz))
    first = max(0, inside.start - reach)
    part = power[:, first : inside.stop + reach]
    wide, near = 2 * reach + 1, 2 * guard + 1
    around = uniform_filter1d(part, wide, axis=1, mode="reflect")
    middle = uniform_filter1d(part, near, axis=1, mode="reflect")
    # The difference of two running means can fall to nothing beside a very loud tone.
    beside = np.maximum((wide * around - near * middle) / (wide - near), 1e-3 * around) + _TINY
    # A lossy codec leaves holes in which a single line is left: no tone, but no noise either.
    np.maximum(beside, _USUAL_SHARE * beside.mean(axis=0), out=beside)
    start = inside.start - first
    ratio: Powers = (part / beside)[:, start : start + inside.stop - inside.start]
    return ratio
