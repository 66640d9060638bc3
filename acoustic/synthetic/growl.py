"""Growl: rough noise that swells and falls with a shaft, unevenly from turn to turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedLine
from acoustic.synthetic.band_part import BandPart
from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, CrankTurning
from acoustic.synthetic.random_curves import Floats, draw, noise_spectrum, slow_curve

Signal = NDArray[np.float32]
# Common practice, no source, for all of these.
BAND_HZ = (300.0, 6000.0)
HIGHEST_SHARE = 0.42  # of the sample rate
WIDTH_OCTAVES = (0.5, 1.3)
DEPTH = (0.3, 0.9)  # of the strongest swell, of the power
DEPTH_SCATTER_DB = 2.0  # of the other swells against it
UNEVEN_DEPTH = 0.35  # relative sd from turn to turn
UNEVEN_DB = 1.0  # of the power from turn to turn
LEAST_POWER = 0.02  # left between two swells
HUMP_CHANCE = 0.5
HUMP_SHARE = (0.05, 0.25)  # of a band's power
HUMP_WANDER = 0.02  # relative, of its frequency
HUMP_WIDTH_HZ = (2.0, 10.0)


@dataclass(frozen=True, slots=True)
class Growling:
    """How one fault growls, the same in every recording of a scene.

    Attributes
    ----------
    bands : tuple of (float, float)
        [Hz]
    swells : tuple of (float, float)
        Order of each swell, without slip, and its depth: power 1 + depth cos.
    humps : tuple of (float, float, float) or None, one per band
        Frequency, width and share of power of a resonance that wanders. [Hz], [Hz], [-]
    """

    bands: tuple[tuple[float, float], ...]
    swells: tuple[tuple[float, float], ...]
    humps: tuple[tuple[float, float, float] | None, ...]

    @property
    def order(self) -> float:
        """Order of the deepest swell, without slip."""
        return max(self.swells, key=lambda swell: swell[1])[0]


def draw_growling(
    rng: np.random.Generator, sample_rate_hz: float, lines: Sequence[ExpectedLine]
) -> Growling:
    """Draw one to three bands, and a depth for each line by its relative level."""
    top = min(BAND_HZ[1], HIGHEST_SHARE * sample_rate_hz)
    bands = []
    for _ in range(int(rng.integers(1, 4))):
        width = 2.0 ** draw(rng, WIDTH_OCTAVES)
        low = BAND_HZ[0] * (top / width / BAND_HZ[0]) ** rng.uniform()
        bands.append((low, low * width))
    strongest = max(line.relative_level_db for line in lines)
    deepest = draw(rng, DEPTH)
    swells = []
    for line in lines:
        under = line.relative_level_db - strongest
        if under < 0:
            under = min(0.0, under + DEPTH_SCATTER_DB * rng.standard_normal())
        swells.append((line.order, deepest * 10.0 ** (under / 20.0)))
    humps = tuple(_draw_hump(rng, band) for band in bands)
    return Growling(tuple(bands), tuple(swells), humps)


def _draw_hump(
    rng: np.random.Generator, band: tuple[float, float]
) -> tuple[float, float, float] | None:
    if rng.uniform() >= HUMP_CHANCE:
        return None
    low, high = band
    frequency = low * (high / low) ** draw(rng, (0.25, 0.75))
    return frequency, draw(rng, HUMP_WIDTH_HZ), draw(rng, HUMP_SHARE)


def make_growl(
    growling: Growling,
    angle: Floats,
    factor: float,
    crank: CrankTurning,
    gain: Signal,
    rng: np.random.Generator,
) -> list[BandPart]:
    """Make the growl of a recording, one part for each band, level not yet set.

    Parameters
    ----------
    angle : ndarray of float64, shape (coarse_samples,)
        Of the shaft, in mean orders of the crank. [rev]
    factor : float
        True over nominal order. [-]
    gain : ndarray of float32, shape (coarse_samples,)
    """
    amplitude = gain * np.sqrt(_power(growling, angle, factor, crank, rng))
    return [
        BandPart(fft.rfft(_rough(band, hump, amplitude, crank, rng)), *band)
        for band, hump in zip(growling.bands, growling.humps, strict=True)
    ]


def _power(
    growling: Growling,
    angle: Floats,
    factor: float,
    crank: CrankTurning,
    rng: np.random.Generator,
) -> Signal:
    """Power that swells at each order, its depth and its mean uneven from turn to turn."""
    swelling = np.zeros(angle.size, np.float32)
    for order, depth in growling.swells:
        turns = angle * (order * factor) + rng.uniform()
        turns -= np.floor(turns)
        swelling += np.float32(depth) * np.cos(np.float32(2.0 * np.pi) * turns.astype(np.float32))
    corner_hz = 0.5 * growling.order * factor * crank.mean_speed_hz
    rate = crank.clock.coarse_rate_hz
    depth_curve, level_curve = (slow_curve(rng, angle.size, rate, corner_hz) for _ in range(2))
    swelling *= np.clip(1.0 + UNEVEN_DEPTH * depth_curve, 0.0, 2.0).astype(np.float32)
    power = np.maximum(1.0 + swelling, LEAST_POWER) * 10.0 ** (UNEVEN_DB * level_curve / 10.0)
    return np.asarray(power, dtype=np.float32)


def _rough(
    band: tuple[float, float],
    hump: tuple[float, float, float] | None,
    amplitude: Signal,
    crank: CrankTurning,
    rng: np.random.Generator,
) -> Signal:
    """Noise in one band with this amplitude, a wandering resonance in it if it has one."""
    clock = crank.clock
    bins = np.arange(clock.full_samples // 2 + 1) * (clock.rate_hz / clock.full_samples)
    steep = (np.maximum(bins, 1e-3) / band[0]) ** -8 + (bins / band[1]) ** 8
    shape = np.asarray(1.0 / (1.0 + steep), dtype=np.float32)
    noise = np.asarray(fft.irfft(noise_spectrum(rng, shape), clock.full_samples), np.float32)
    noise /= np.sqrt(np.mean(noise**2))
    if hump is not None:
        frequency, width, share = hump
        noise *= np.float32(np.sqrt(1.0 - share))
        noise += np.float32(np.sqrt(2.0 * share)) * _wandering(frequency, width, crank, rng)
    noise.reshape(-1, clock.factor)[:] *= amplitude[:, np.newaxis]
    return noise


def _wandering(
    frequency_hz: float, width_hz: float, crank: CrankTurning, rng: np.random.Generator
) -> Signal:
    """Make a tone of amplitude 1 whose frequency wanders and whose phase is not steady."""
    clock = crank.clock
    points = crank.control_time_s.size
    slow = HUMP_WANDER * slow_curve(rng, points, CONTROL_RATE_HZ, 0.2)
    # a phase that walks by 2π sqrt(width) per root second widens a line to that width
    walk = np.sqrt(width_hz / (2.0 * np.pi) / CONTROL_RATE_HZ) * rng.standard_normal(points)
    turns = np.cumsum(frequency_hz * (1.0 + slow) / CONTROL_RATE_HZ + walk)
    time = np.arange(clock.full_samples) / clock.rate_hz + crank.control_time_s[0]
    phase = np.interp(time, crank.control_time_s, turns)
    phase -= np.floor(phase)
    return np.asarray(np.cos(2.0 * np.pi * phase.astype(np.float32)), dtype=np.float32)
