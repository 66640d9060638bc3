"""Random curves and noise with a wanted spectrum, the raw material of a scene."""

from __future__ import annotations

import copy

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.synthetic.scene_settings import Range

Floats = NDArray[np.float64]


def draw(rng: np.random.Generator, limits: Range) -> float:
    """Draw one value evenly from a range."""
    return float(rng.uniform(*limits))


def beside(rng: np.random.Generator) -> np.random.Generator:
    """Make a generator of its own out of the state of `rng`, which stays as it is.

    What is drawn from it changes nothing that `rng` draws afterwards.
    """
    return np.random.default_rng(copy.deepcopy(rng).integers(2**63, size=4))


def slow_curve(
    rng: np.random.Generator, points: int, rate_hz: float, corner_hz: float, steepness: float = 2.0
) -> Floats:
    """Draw a smooth random curve of unit rms and zero mean.

    Its power spectrum is flat up to about `corner_hz` and falls as f^-2·`steepness`
    above: steepness 1 wanders like a first-order lag driven by noise, 2 is smooth.

    Returns
    -------
    ndarray of float64, shape (points,)
    """
    size = fft.next_fast_len(2 * points, real=True)
    frequency = np.arange(size // 2 + 1) * (rate_hz / size)
    shape = 1.0 / np.sqrt(1.0 + (frequency / corner_hz) ** (2.0 * steepness))
    spectrum = shape * (rng.standard_normal(shape.size) + 1j * rng.standard_normal(shape.size))
    curve = fft.irfft(spectrum, size)[:points]
    curve -= curve.mean()
    rms = float(np.sqrt(np.mean(curve**2)))
    return np.asarray(curve / rms if rms > 0 else curve, dtype=np.float64)


def noise_spectrum(
    rng: np.random.Generator, amplitude: NDArray[np.float32]
) -> NDArray[np.complex64]:
    """Draw the transform of Gaussian noise whose rms per bin is `amplitude`."""
    parts = rng.standard_normal((amplitude.size, 2), dtype=np.float32)
    parts *= amplitude[:, np.newaxis] * np.float32(np.sqrt(0.5))
    return parts.view(np.complex64)[:, 0]


def humps_db(
    rng: np.random.Generator, frequency_hz: Floats, count: int, low_hz: float, high_hz: float
) -> Floats:
    """Add up broad resonances of 3 to 12 dB between two frequencies. [dB]

    Each is a Lorentzian with a quality factor from 3 to 15, drawn even on a log scale.
    """
    level = np.zeros_like(frequency_hz)
    for _ in range(count):
        centre = low_hz * (high_hz / low_hz) ** rng.uniform()
        quality = 3.0 * 5.0 ** rng.uniform()
        detuning = frequency_hz / centre - centre / frequency_hz
        level += rng.uniform(3.0, 12.0) / (1.0 + (quality * detuning) ** 2)
    return level
