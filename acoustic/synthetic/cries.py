"""Short cries in step with a shaft or the belt: the chirp of a misaligned pulley."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.synthetic.band_part import BandPart
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.critical_band import critical_edges_hz
from acoustic.synthetic.knocks import event_places
from acoustic.synthetic.random_curves import Floats, draw

# Common practice, no source, for all of these.
TONE_HZ = (1000.0, 5000.0)
HIGHEST_SHARE = 0.42  # of the sample rate
LENGTH_S = (0.02, 0.06)
LONGEST_SHARE = 0.6  # of the spacing: cries do not run into each other
GLIDE = (0.01, 0.05)  # of the frequency, over one cry
HZ_SCATTER = 0.01  # relative, from cry to cry
LENGTH_SCATTER = 0.15
PLACE_SCATTER = 0.02  # of a turn
LEVEL_SCATTER_DB = (2.0, 4.0)
MISSING = (0.05, 0.25)  # share of turns without a cry
RISE_SHARE = 0.2  # of a cry's length


@dataclass(frozen=True, slots=True)
class Crying:
    """How one fault cries, the same in every recording of a scene.

    `glide` is the rise (or fall) of the frequency over one cry, relative; `missing` the
    share of turns without one. [Hz], [s], [dB]
    """

    tone_hz: float
    length_s: float
    glide: float
    scatter_db: float
    missing: float


def draw_crying(rng: np.random.Generator, sample_rate_hz: float) -> Crying:
    """Draw how a fault cries."""
    low, high = TONE_HZ[0], min(TONE_HZ[1], HIGHEST_SHARE * sample_rate_hz)
    return Crying(
        tone_hz=low * (high / low) ** rng.uniform(),
        length_s=draw(rng, LENGTH_S),
        glide=draw(rng, GLIDE) * (1.0 if rng.uniform() < 0.5 else -1.0),
        scatter_db=draw(rng, LEVEL_SCATTER_DB),
        missing=draw(rng, MISSING),
    )


def make_cries(
    crying: Crying,
    turns: Floats,
    crank: CrankTurning,
    gain: NDArray[np.float32],
    rng: np.random.Generator,
) -> list[BandPart]:
    """Make the cries of a recording, one for each step of `turns`, level not yet set.

    The band is the critical band about the tone, or as wide as the glide where that is wider.
    """
    clock = crank.clock
    _, at = event_places(turns, rng)
    at = at[rng.uniform(size=at.size) >= crying.missing]
    at = at + PLACE_SCATTER * rng.standard_normal(at.size)
    place = np.interp(at, turns, np.arange(turns.size))
    per_second = float(turns[-1] - turns[0]) * clock.coarse_rate_hz / turns.size
    length = min(crying.length_s, LONGEST_SHARE / per_second)
    sound = np.zeros(clock.full_samples, np.float32)
    level_db = crying.scatter_db * rng.standard_normal(at.size)
    loud = 10.0 ** (level_db / 20.0) * np.interp(place, np.arange(gain.size), gain)
    for start, amplitude in zip((place * clock.factor).astype(int), loud, strict=True):
        cry = _cry(crying, length, clock.rate_hz, rng)
        inside = sound[start : start + cry.size]
        inside += np.float32(amplitude) * cry[: inside.size]
    swept = crying.tone_hz * (abs(crying.glide) / 2.0 + 3.0 * HZ_SCATTER) + 1.0 / length
    low, high = critical_edges_hz(crying.tone_hz)
    low, high = min(low, crying.tone_hz - swept), max(high, crying.tone_hz + swept)
    return [BandPart(fft.rfft(sound), low, min(high, clock.rate_hz / 2.0))]


def _cry(
    crying: Crying, length_s: float, rate_hz: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """One cry: it rises within a fifth of its length and dies away over the rest."""
    length_s *= max(0.5, 1.0 + LENGTH_SCATTER * rng.standard_normal())
    tone = crying.tone_hz * (1.0 + HZ_SCATTER * rng.standard_normal())
    time = np.arange(math.ceil(length_s * rate_hz)) / rate_hz
    along = time / length_s
    turns = tone * time * (1.0 + 0.5 * crying.glide * (along - 1.0)) + rng.uniform()
    shape = np.minimum(along / RISE_SHARE, (1.0 - along) / (1.0 - RISE_SHARE))
    cry = np.sin(0.5 * np.pi * np.maximum(shape, 0.0)) ** 2 * np.sin(2.0 * np.pi * turns)
    return np.asarray(cry, dtype=np.float32)
