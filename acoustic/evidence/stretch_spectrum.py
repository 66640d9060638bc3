"""One transform of a whole stretch, from which every band wanted of it is cut.

A minute of sound takes longest to transform of all that is done to it before the match, so
it is transformed once, for envelope and knocks alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import ifft, next_fast_len, rfft

from acoustic.recording.recording import Recording, Stretch, Stretches


class StretchSpectrum:
    """One transform of a stretch, from which its bands are cut."""

    def __init__(self, recording: Recording, stretch: Stretch) -> None:
        self.rate_hz = recording.sample_rate_hz
        first, last = (int(t * self.rate_hz) for t in (stretch.start_s, stretch.end_s))
        sound = recording.samples[first:last]
        self.start_s = first / self.rate_hz
        self.duration_s = sound.size / self.rate_hz
        self.size = next_fast_len(max(sound.size, 2), real=True)
        self.lines: NDArray[np.complex64] = rfft(sound, n=self.size)

    def band(self, low_hz: float, high_hz: float) -> tuple[NDArray[np.complex64], float]:
        """Complex signal of a band, shifted to zero frequency, and its rate. [Hz]

        The first value is that of the stretch's first sample.
        """
        spacing = self.rate_hz / self.size
        first = int(low_hz / spacing)
        last = max(first + 2, min(int(high_hz / spacing), self.lines.size - 1))
        lines = self.lines[first:last] * _skirts(last - first)
        count = next_fast_len(lines.size)
        rate_hz = count * spacing
        signal = ifft(lines, n=count)[: int(self.duration_s * rate_hz)]
        return signal * np.float32(count / self.size), rate_hz

    def power(self, low_hz: float, high_hz: float) -> tuple[NDArray[np.float32], float]:
        """Instantaneous power of a band, to some factor, and its rate. [Hz]"""
        spacing = self.rate_hz / self.size
        first, last = int(low_hz / spacing), min(int(high_hz / spacing), self.lines.size - 1)
        lines = self.lines[first:last] * _skirts(last - first)
        # Twice the band's width, so that the square of the envelope does not fold.
        count = next_fast_len(2 * lines.size)
        band = ifft(lines, n=count)
        return band.real**2 + band.imag**2, count * spacing


@dataclass(frozen=True, slots=True)
class TransformedStretches(Stretches):
    """Stretches with the transforms of those used, for whoever cuts bands of them.

    Attributes
    ----------
    spectra : tuple of StretchSpectrum
        One for each of `used`.
    """

    spectra: tuple[StretchSpectrum, ...] = ()


def transformed(recording: Recording, stretches: Stretches) -> TransformedStretches:
    """Transform the used stretches of a recording once for all."""
    spectra = tuple(StretchSpectrum(recording, stretch) for stretch in stretches.used)
    return TransformedStretches(stretches.used, stretches.left_out, spectra)


def spectra_of(recording: Recording, stretches: Stretches) -> Iterator[StretchSpectrum]:
    """Spectrum of each used stretch; worked out one by one where nobody has done so yet."""
    if isinstance(stretches, TransformedStretches):
        yield from stretches.spectra
    else:
        yield from (StretchSpectrum(recording, stretch) for stretch in stretches.used)


def _skirts(size: int) -> NDArray[np.float32]:
    """Band shape with raised-cosine skirts of a tenth each."""
    edge = max(1, size // 10)
    shape = np.ones(size, dtype=np.float32)
    shape[:edge] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    shape[-edge:] = shape[:edge][::-1]
    return shape
