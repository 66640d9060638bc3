"""What a blow makes ring: a few resonances close together that die away."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.made_noise import Signal, limits_below
from acoustic.synthetic.random_curves import Floats

# Common practice, no source, for all of these.
MODES = (2, 5)  # two to four resonances
SPREAD = 2.5  # ratio of the highest to the lowest of them, at most
UNLIKE_DB = 4.0  # how unlike in level they are
LEAST_RADIANS = 4.0  # of ringing within one decay, so that a resonance is one
TEN_DB_DOWN = 3.0  # half widths of a resonance to where its power is a tenth: 1 + 3²
TOLD_FOR = 7.0  # decay times a ring is made for: 61 dB
TIMBRE_DB = 2.0  # how unlike two blows excite one resonance


@dataclass(frozen=True, slots=True)
class Ringing:
    """Resonances of a part that is struck: frequency, decay time, level. [Hz], [s], [dB]"""

    modes: tuple[tuple[float, float, float], ...]

    @property
    def band_hz(self) -> tuple[float, float]:
        """From where the lowest resonance has a tenth of its power to the same of the highest."""
        half = [TEN_DB_DOWN / (2.0 * math.pi * decay_s) for _, decay_s, _ in self.modes]
        low = min(f - width for (f, _, _), width in zip(self.modes, half, strict=True))
        high = max(f + width for (f, _, _), width in zip(self.modes, half, strict=True))
        return max(low, 0.3 * min(f for f, _, _ in self.modes)), high


def draw_ringing(
    rng: np.random.Generator,
    rate_hz: float,
    resonance_hz: tuple[float, float],
    decay_s: tuple[float, float],
) -> Ringing:
    """Draw two to four resonances close together, all between two frequencies."""
    low, high = limits_below(resonance_hz, rate_hz)
    last = max(low, high / math.sqrt(SPREAD))
    first = low * (last / low) ** rng.uniform()
    above = min(high, SPREAD * first) / first
    others = [first * above ** rng.uniform() for _ in range(int(rng.integers(*MODES)) - 1)]
    return Ringing(
        tuple(
            (f, _draw_decay(rng, f, decay_s), UNLIKE_DB * rng.standard_normal())
            for f in (first, *others)
        )
    )


def _draw_decay(
    rng: np.random.Generator, frequency_hz: float, decay_s: tuple[float, float]
) -> float:
    """Draw how long a resonance rings, at least for it to be one. [s]"""
    longest = decay_s[1]
    shortest = min(max(decay_s[0], LEAST_RADIANS / (2.0 * math.pi * frequency_hz)), longest)
    return float(shortest * (longest / shortest) ** rng.uniform())


def strike(
    ringing: Ringing, time_s: Floats, level_db: Floats, clock: Clock, rng: np.random.Generator
) -> Signal:
    """Strike a part at each of these times, from the first sample made.

    Parameters
    ----------
    time_s, level_db : ndarray of float64, shape (blows,)

    Returns
    -------
    ndarray of float32, shape (full_samples,)
    """
    longest = max(decay_s for _, decay_s, _ in ringing.modes)
    time = np.arange(math.ceil(TOLD_FOR * longest * clock.rate_hz)) / clock.rate_hz
    rings = np.array(
        [np.exp(-time / d) * np.sin(2.0 * np.pi * f * time) for f, d, _ in ringing.modes]
    )
    loud = 10.0 ** (np.array([level for _, _, level in ringing.modes]) / 20.0)
    # A level is that of the whole ring, so one that rings longer starts softer.
    rings *= (loud / np.sqrt(np.sum(rings**2, axis=1)))[:, np.newaxis]
    unlike_db = TIMBRE_DB * rng.standard_normal((time_s.size, rings.shape[0]))
    gains = 10.0 ** ((level_db[:, np.newaxis] + unlike_db) / 20.0)
    sound = np.zeros(clock.full_samples, np.float32)
    for start, gain in zip(np.round(time_s * clock.rate_hz).astype(int), gains, strict=True):
        inside = sound[start : start + time.size]
        inside += (gain @ rings)[: inside.size].astype(np.float32)
    return sound
