"""A made noise and the band it lies in, and where its events fall.

What a noise is like (its resonances, its rates) is drawn from one generator and stays the
same in every recording of a scene; how it falls in one recording is drawn from another.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, Clock, CrankTurning
from acoustic.synthetic.critical_band import BandPower
from acoustic.synthetic.random_curves import Floats

Signal = NDArray[np.float32]
HIGHEST_SHARE = 0.42  # of the sample rate: nothing is made above


@dataclass(frozen=True, slots=True, eq=False)
class Occasion:
    """One recording of a drive that a noise is made for.

    `kept` draws what the noise is like, `fresh` how it falls in this recording.
    """

    drive: Drive
    crank: CrankTurning
    kept: np.random.Generator
    fresh: np.random.Generator


class MadeNoise(NamedTuple):
    """A noise of mean square 1 between `low_hz` and `high_hz`.

    `samples` are at the full rate of the scene's clock, margins included; a little of the
    sound (skirts, harmonics) may lie outside of the band.
    """

    samples: Signal
    low_hz: float
    high_hz: float


def in_band(sound: Signal, low_hz: float, high_hz: float, clock: Clock) -> MadeNoise:
    """Scale a sound to mean square 1 in its band; silence stays silent."""
    high_hz = min(high_hz, clock.rate_hz / 2.0)
    spectrum = np.asarray(fft.rfft(sound), dtype=np.complex64)
    power = BandPower(spectrum, sound.size, clock.rate_hz).between(low_hz, high_hz)
    scale = 1.0 / math.sqrt(power) if power > 0 else 0.0
    return MadeNoise(sound * np.float32(scale), low_hz, high_hz)


def of_this_recording(rng: np.random.Generator, crank: CrankTurning) -> np.random.Generator:
    """Make a generator that falls otherwise in every recording of a scene.

    `rng` may be in the same state for all of them; how the crank turned never is.
    """
    mark = int(np.float64(crank.swing_phase).view(np.uint64))
    return np.random.default_rng([int(rng.integers(2**63)), mark])


def limits_below(limits_hz: tuple[float, float], rate_hz: float) -> tuple[float, float]:
    """Keep a range of frequencies below what the sample rate can carry. [Hz]

    >>> limits_below((1500.0, 8000.0), 16000.0)
    (1500.0, 6720.0)
    """
    high = min(limits_hz[1], HIGHEST_SHARE * rate_hz)
    return min(limits_hz[0], 0.5 * high), high


def on_coarse_clock(curve: Floats, crank: CrankTurning) -> Floats:
    """Read a curve of the 100 Hz control clock at every coarse sample."""
    clock = crank.clock
    place = np.arange(clock.coarse_samples) * (CONTROL_RATE_HZ / clock.coarse_rate_hz)
    return np.asarray(np.interp(place, np.arange(curve.size), curve), dtype=np.float64)


def event_times_s(rate_hz: Floats, regularity: float, rng: np.random.Generator) -> Floats:
    """Draw when events fall that come at a changing rate.

    The number of events expected between two neighbours is drawn from a gamma distribution
    of mean 1: a renewal process in the time that `rate_hz` counts.

    Parameters
    ----------
    rate_hz : ndarray of float64, shape (points,)
        Events a second on the 100 Hz control clock, at least 0.
    regularity : float
        Shape of the gamma distribution: 1 is a Poisson process; the spacing of 16 scatters
        by a quarter.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of float64, shape (events,)
        From the first sample made, margin included. [s]
    """
    expected = np.concatenate(([0.0], np.cumsum(rate_hz[:-1]) / CONTROL_RATE_HZ))
    total = float(expected[-1])
    count = math.ceil(total + 10.0 * math.sqrt(total + 1.0)) + 5
    at = np.cumsum(rng.gamma(regularity, 1.0 / regularity, count)) - rng.uniform()
    at = at[(at >= 0.0) & (at < total)]
    return np.interp(at, expected, np.arange(expected.size) / CONTROL_RATE_HZ)
