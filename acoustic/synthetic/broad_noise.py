"""Broad noise: the steady hiss of an air leak, and the flutter of a flapping belt span.

The figures are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.fft as fft

from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, Clock, CrankTurning
from acoustic.synthetic.made_noise import (
    MadeNoise,
    Occasion,
    Signal,
    in_band,
    limits_below,
    on_coarse_clock,
)
from acoustic.synthetic.random_curves import Floats, draw, noise_spectrum, slow_curve
from acoustic.synthetic.ringing import draw_ringing, strike

HISS_LOW_HZ, HISS_HIGH_HZ = (1500.0, 4000.0), (9000.0, 16000.0)
HISS_TILT_DB = (-2.0, 1.0)  # per octave
HISS_WANDER_DB, HISS_WANDER_HZ = (0.1, 0.5), 0.2

SWINGS_HZ = (12.0, 45.0)
SWINGS_DRIFT, DRIFT_HZ = (0.004, 0.008), (0.05, 0.3)  # relative rms, and its corner
BELT_LOW_HZ, BELT_HIGH_HZ = (200.0, 400.0), (1500.0, 2500.0)
DEPTH = (0.8, 2.2)  # power is as exp(depth · cos): 7 to 19 dB from crest to trough
SWING_SCATTER_DB = (1.0, 2.5)  # from swing to swing
WAXING_DB = (1.0, 3.0)  # of the whole flap, slow
SLAP_HZ, SLAP_DECAY_S = (300.0, 1500.0), (0.003, 0.006)
SLAP_CHANCE, SLAP_DB = (0.3, 0.9), (-10.0, -3.0)  # per swing; power against the noise
SLAP_SCATTER_DB, SLAP_JITTER = 3.0, 0.03  # from slap to slap; sd, in swings


def make_hiss(on: Occasion) -> MadeNoise:
    """Make a steady hiss, flat or nearly so from a drawn edge on, that swells with nothing."""
    crank, kept, fresh = on.crank, on.kept, on.fresh
    clock = crank.clock
    low, high = draw(kept, HISS_LOW_HZ), draw(kept, HISS_HIGH_HZ)
    low, high = limits_below((low, high), clock.rate_hz)
    noise = _noise(clock, low, high, draw(kept, HISS_TILT_DB), fresh)
    points = crank.control_time_s.size
    wander_db = draw(kept, HISS_WANDER_DB) * slow_curve(
        fresh, points, CONTROL_RATE_HZ, HISS_WANDER_HZ
    )
    return in_band(_swell(noise, wander_db, crank), low, high, clock)


def make_flutter(on: Occasion) -> MadeNoise:
    """Make the flap of a slack belt span: its loudness swings at a rate of its own, in Hz.

    The rate is that of the span, set by tension and length; it drifts by a per cent and
    does not follow the speed. At the crest the belt may slap.
    """
    crank, kept, fresh = on.crank, on.kept, on.fresh
    clock = crank.clock
    low, high = limits_below((draw(kept, BELT_LOW_HZ), draw(kept, BELT_HIGH_HZ)), clock.rate_hz)
    swings_hz, drift, drift_hz, depth = (
        draw(kept, r) for r in (SWINGS_HZ, SWINGS_DRIFT, DRIFT_HZ, DEPTH)
    )
    points = crank.control_time_s.size
    rate = swings_hz * (1.0 + drift * slow_curve(fresh, points, CONTROL_RATE_HZ, drift_hz))
    swings = np.cumsum(rate) / CONTROL_RATE_HZ + fresh.uniform()
    crest_db = _crests_db(swings, kept, fresh)
    noise = _noise(clock, low, high, 0.0, fresh)
    turns = on_coarse_clock(swings, crank)
    by_swing_db = np.interp(turns, np.arange(crest_db.size), crest_db)
    swing_db = 10.0 * math.log10(math.e) * depth * np.cos(2.0 * np.pi * turns)
    gain = 10.0 ** ((by_swing_db + swing_db) / 20.0)
    noise.reshape(-1, clock.factor)[:] *= gain.astype(np.float32)[:, np.newaxis]
    sound = noise / np.sqrt(np.mean(noise**2))
    slaps = _slaps(swings, crest_db, crank, kept, fresh)
    return in_band(np.asarray(sound + slaps, dtype=np.float32), low, high, clock)


def _crests_db(swings: Floats, kept: np.random.Generator, fresh: np.random.Generator) -> Floats:
    """Level of every swing: it scatters, and the flap as a whole waxes and wanes. [dB]"""
    count = math.ceil(float(swings[-1])) + 2
    waxing_db = draw(kept, WAXING_DB) * slow_curve(fresh, count, 1.0, 0.02)
    scatter_db = draw(kept, SWING_SCATTER_DB)
    return np.asarray(waxing_db + scatter_db * fresh.standard_normal(count), dtype=np.float64)


def _slaps(
    swings: Floats,
    crest_db: Floats,
    crank: CrankTurning,
    kept: np.random.Generator,
    fresh: np.random.Generator,
) -> Signal:
    """Blows at some of the crests, of a drawn mean square."""
    ringing = draw_ringing(kept, crank.clock.rate_hz, SLAP_HZ, SLAP_DECAY_S)
    chance, level_db = draw(kept, SLAP_CHANCE), draw(kept, SLAP_DB)
    crests = np.arange(1, crest_db.size - 1)
    at = crests + SLAP_JITTER * fresh.standard_normal(crests.size)
    slaps = fresh.uniform(size=crests.size) < chance
    slaps &= (at > swings[0]) & (at < swings[-1])
    times = np.interp(at[slaps], swings, np.arange(swings.size) / CONTROL_RATE_HZ)
    loud_db = crest_db[crests[slaps]] + SLAP_SCATTER_DB * fresh.standard_normal(times.size)
    sound = strike(ringing, times, loud_db, crank.clock, fresh)
    power = float(np.mean(sound**2))
    scale = math.sqrt(10.0 ** (level_db / 10.0) / power) if power > 0 else 0.0
    return sound * np.float32(scale)


def _noise(
    clock: Clock, low_hz: float, high_hz: float, tilt_db: float, rng: np.random.Generator
) -> Signal:
    """Noise between two edges of 24 dB/octave, tilted by so many decibels per octave."""
    size = clock.full_samples
    frequency = np.arange(size // 2 + 1, dtype=np.float32) * np.float32(clock.rate_hz / size)
    frequency[0] = frequency[1]
    rise, fall = (frequency / np.float32(low_hz)) ** 4, (frequency / np.float32(high_hz)) ** 4
    tilt = (frequency / np.float32(low_hz)) ** np.float32(tilt_db / (20.0 * math.log10(2.0)))
    shape = rise / (1.0 + rise) / (1.0 + fall) * tilt
    return np.asarray(fft.irfft(noise_spectrum(rng, shape), size), dtype=np.float32)


def _swell(noise: Signal, level_db: Floats, crank: CrankTurning) -> Signal:
    """Let the level of a noise follow a curve on the control clock."""
    gain = 10.0 ** (on_coarse_clock(level_db, crank) / 20.0)
    swollen = noise.reshape(-1, crank.clock.factor) * gain.astype(np.float32)[:, np.newaxis]
    return np.asarray(swollen.ravel(), dtype=np.float32)
