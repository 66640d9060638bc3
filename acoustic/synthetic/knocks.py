"""Knocks in step with a shaft: a spalled race, a lump in the belt, a dead stroke.

Each knock makes the parts around it ring for a moment at their own resonances. Those of a
rolling bearing come a little early or late, because its balls slip, and the error adds up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.synthetic.band_part import BandPart, Spectrum
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.random_curves import Floats, draw

# Common practice, no source, for all of these.
RESONANCE_HZ = (2000.0, 8000.0)
HIGHEST_SHARE = 0.42  # of the sample rate
DECAY_S = (0.0003, 0.002)
LEAST_RADIANS = 4.0  # of ringing within one decay, so that a resonance is one
SCATTER_DB = (1.5, 4.0)  # from knock to knock
LOAD_WIDTH = (0.4, 0.9)  # of the loaded zone: 0.5 is half the ring
OUT_OF_LOAD = 0.05  # amplitude left outside the zone
TEN_DB_DOWN = 3.0  # half widths of a resonance to where its power is a tenth: (1 + 3²)


@dataclass(frozen=True, slots=True)
class Knocking:
    """How one fault knocks, the same in every recording of a scene.

    Attributes
    ----------
    resonances : tuple of (float, float)
        Frequency and decay time of what each knock makes ring. [Hz], [s]
    scatter_db : float
        Sd of the knocks' levels. [dB]
    slip : float
        Sd of their spacing, relative; the error adds up. [-]
    load_width : float or None
        Width of the loaded zone the fault turns through; None if it does not turn.
    """

    resonances: tuple[tuple[float, float], ...]
    scatter_db: float
    slip: float
    load_width: float | None


def draw_knocking(
    rng: np.random.Generator, sample_rate_hz: float, *, slip: float, through_load: bool
) -> Knocking:
    """Draw one to three resonances and how unlike the knocks are."""
    limits = (RESONANCE_HZ[0], min(RESONANCE_HZ[1], HIGHEST_SHARE * sample_rate_hz))
    resonances = []
    for _ in range(int(rng.integers(1, 4))):
        frequency = draw(rng, limits)
        shortest = max(DECAY_S[0], LEAST_RADIANS / (math.pi * frequency))
        resonances.append((frequency, math.exp(draw(rng, (math.log(shortest), _LONGEST)))))
    width = draw(rng, LOAD_WIDTH)
    return Knocking(tuple(resonances), draw(rng, SCATTER_DB), slip, width if through_load else None)


_LONGEST = math.log(DECAY_S[1])


def event_places(
    turns: Floats, rng: np.random.Generator, slip: float = 0.0
) -> tuple[Floats, Floats]:
    """Draw where events fall that come once a turn.

    Parameters
    ----------
    turns : ndarray of float64, shape (coarse_samples,)
        Rising; one event for each whole step.
    slip : float
        Sd of the spacing, relative; it adds up. [-]

    Returns
    -------
    place : ndarray of float64, shape (events,)
        In coarse samples, fractions included.
    at : ndarray of float64, shape (events,)
        The same in `turns`.
    """
    span = float(turns[-1] - turns[0])
    count = math.ceil(span * (1.0 + 5.0 * slip)) + 2
    spacing = 1.0 + slip * rng.standard_normal(count)
    at = turns[0] + rng.uniform() + np.cumsum(spacing) - spacing[0]
    at = at[(at >= turns[0]) & (at < turns[-1])]
    return np.interp(at, turns, np.arange(turns.size)), at


def make_knocks(
    knocking: Knocking,
    turns: Floats,
    ring_turns: Floats,
    crank: CrankTurning,
    gain: NDArray[np.float32],
    rng: np.random.Generator,
) -> list[BandPart]:
    """Make the knocks of a recording, one part for each resonance, level not yet set.

    Parameters
    ----------
    turns, ring_turns : ndarray of float64, shape (coarse_samples,)
        One knock for each step of `turns`; the loaded zone is passed once for each step of
        `ring_turns`.
    gain : ndarray of float32, shape (coarse_samples,)
    """
    place, _ = event_places(turns, rng, knocking.slip)
    level_db = knocking.scatter_db * rng.standard_normal(place.size)
    amplitude = 10.0 ** (level_db / 20.0) * np.interp(place, np.arange(gain.size), gain)
    if knocking.load_width is not None:
        passed = np.interp(place, np.arange(ring_turns.size), ring_turns) + rng.uniform()
        amplitude *= load_share(passed, knocking.load_width)
    train = _pulses(place * crank.clock.factor, amplitude, crank.clock.full_samples)
    struck = fft.rfft(train)
    return [
        BandPart(
            struck * _ringing(frequency, decay_s, crank),
            frequency - TEN_DB_DOWN / (2.0 * math.pi * decay_s),
            min(frequency + TEN_DB_DOWN / (2.0 * math.pi * decay_s), crank.clock.rate_hz / 2.0),
        )
        for frequency, decay_s in knocking.resonances
    ]


def load_share(turns: Floats, width: float) -> Floats:
    """Share of the load a place on a ring bears along its turn.

    [1 - (1 - cos φ) / (2 ε)]^1.5 within the zone, ε its width: the load on the balls of a
    bearing after Stribeck (from memory). A little is left outside of it.

    >>> load_share(np.array([0.0, 0.5]), 0.5)
    array([1.  , 0.05])
    """
    bearing = 1.0 - (1.0 - np.cos(2.0 * np.pi * turns)) / (2.0 * width)
    share = np.maximum(bearing, 0.0) ** 1.5
    return np.asarray(np.maximum(share, OUT_OF_LOAD), dtype=np.float64)


def _pulses(place: Floats, amplitude: Floats, samples: int) -> NDArray[np.float32]:
    """Single samples at fractional places, each shared by its two neighbours."""
    first = np.floor(place).astype(np.intp)
    after = place - first
    kept = first < samples - 1
    first, after, amplitude = first[kept], after[kept], amplitude[kept]
    train = np.bincount(first, amplitude * (1.0 - after), samples)
    train += np.bincount(first + 1, amplitude * after, samples)
    return np.asarray(train, dtype=np.float32)


def _ringing(frequency_hz: float, decay_s: float, crank: CrankTurning) -> Spectrum:
    """Transform of exp(-t / decay) sin(2π f t), its peak about 1, at every bin."""
    clock = crank.clock
    bins = np.arange(clock.full_samples // 2 + 1) * (clock.rate_hz / clock.full_samples)
    omega = 2.0 * np.pi * frequency_hz
    s = 1.0 / decay_s + 2j * np.pi * bins
    response = (2.0 * omega / decay_s) / (s * s + omega**2)
    return np.asarray(response, dtype=np.complex64)
