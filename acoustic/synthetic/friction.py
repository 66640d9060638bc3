"""Friction that cries: chirps that keep step with nothing, and squeal.

The figures are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import scipy.fft as fft

from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, CrankTurning
from acoustic.synthetic.cries import draw_crying, make_cries
from acoustic.synthetic.critical_band import critical_edges_hz
from acoustic.synthetic.made_noise import (
    HIGHEST_SHARE,
    MadeNoise,
    Occasion,
    event_times_s,
    in_band,
    limits_below,
    on_coarse_clock,
)
from acoustic.synthetic.random_curves import Floats, draw, slow_curve

CRIES_HZ = (1.5, 8.0)  # chirps a second, on the average
CRIES_REGULARITY = 2.0  # spacing scatters by 70 %
SQUEAL_HZ = (700.0, 3500.0)
PARTIALS = (1, 5)  # the tone and up to three harmonics
PARTIAL_DB = (4.0, 15.0)  # each under the one before
SQUEALS = (1, 4)  # one to three in a recording
COVERED = (0.2, 0.9)  # of the recording
SHORTEST_SHARE = 0.5  # of an even share, for a squeal and for a pause
RISE_S, FALL_S = (0.02, 0.1), (0.05, 0.3)
DRIFT, DRIFT_HZ = (0.002, 0.008), (0.05, 0.3)  # relative rms of the slow drift, and its corner
ROUGH, ROUGH_HZ = (0.001, 0.004), (20.0, 60.0)  # the same of the stick-slip roughness
ROUGH_LEVEL = (0.1, 0.35)  # relative rms of the amplitude


def make_free_chirps(on: Occasion) -> MadeNoise:
    """Make cries of 20 to 60 ms that keep step with nothing."""
    crank, kept, fresh = on.crank, on.kept, on.fresh
    crying = draw_crying(kept, crank.clock.rate_hz)
    points = crank.control_time_s.size
    waxing = slow_curve(fresh, points, CONTROL_RATE_HZ, 0.3)
    rate = draw(kept, CRIES_HZ) * np.exp(0.4 * waxing - 0.08)
    times = event_times_s(rate, CRIES_REGULARITY, fresh)
    # One step from each time to the next: what cries once a step then cries at no steady order.
    length_s = points / CONTROL_RATE_HZ
    steps = np.interp(
        np.arange(points) / CONTROL_RATE_HZ,
        np.concatenate(([0.0], times, [length_s])),
        np.arange(times.size + 2.0),
    )
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    (part,) = make_cries(crying, on_coarse_clock(steps, crank), crank, gain, fresh)
    sound = np.asarray(fft.irfft(part.spectrum, crank.clock.full_samples), dtype=np.float32)
    return in_band(sound, part.low_hz, part.high_hz, crank.clock)


def make_squeal(on: Occasion) -> MadeNoise:
    """Make a loud friction tone that does not follow the speed, in one to three stretches.

    The band is the critical band about the tone; its harmonics lie above it.
    """
    crank, kept, fresh = on.crank, on.kept, on.fresh
    clock = crank.clock
    low, high = limits_below(SQUEAL_HZ, clock.rate_hz)
    tone_hz = low * (high / low) ** kept.uniform()
    partials_db = -np.cumsum(kept.uniform(*PARTIAL_DB, int(kept.integers(*PARTIALS))))
    partials_db -= partials_db[0]
    drift, drift_hz, rough, rough_hz, rough_level = (
        draw(kept, r) for r in (DRIFT, DRIFT_HZ, ROUGH, ROUGH_HZ, ROUGH_LEVEL)
    )
    points = crank.control_time_s.size
    slow = drift * on_coarse_clock(slow_curve(fresh, points, CONTROL_RATE_HZ, drift_hz), crank)
    quick = slow_curve(fresh, clock.coarse_samples, clock.coarse_rate_hz, rough_hz)
    frequency = tone_hz * (1.0 + slow + rough * quick)
    turns = np.cumsum(np.repeat(frequency, clock.factor)) / clock.rate_hz
    turns -= np.floor(turns)
    tone = np.exp(2j * np.pi * turns.astype(np.float32)).astype(np.complex64)
    sound, partial = np.zeros(clock.full_samples, np.float32), np.ones_like(tone)
    for number, level_db in enumerate(partials_db, start=1):
        partial *= tone
        if number * tone_hz < HIGHEST_SHARE * clock.rate_hz:
            sound += np.float32(10.0 ** (level_db / 20.0)) * partial.imag
    grip = slow_curve(fresh, clock.coarse_samples, clock.coarse_rate_hz, rough_hz)
    gate = _stretches(crank, kept, fresh) * np.maximum(1.0 + rough_level * grip, 0.1)
    sound.reshape(-1, clock.factor)[:] *= gate.astype(np.float32)[:, np.newaxis]
    swept = tone_hz * 3.0 * drift
    low, high = critical_edges_hz(tone_hz)
    return in_band(sound, min(low, tone_hz - swept), max(high, tone_hz + swept), clock)


def _stretches(
    crank: CrankTurning, kept: np.random.Generator, fresh: np.random.Generator
) -> Floats:
    """Gain that is 1 while it squeals, in one to three stretches of the recording.

    Shape (coarse_samples,); it rises within .1 s.
    """
    clock = crank.clock
    count, covered = int(kept.integers(*SQUEALS)), draw(kept, COVERED)
    length_s = clock.samples / clock.rate_hz
    squeals = covered * length_s * _shares(count, fresh)
    pauses = (1.0 - covered) * length_s * _shares(count + 1, fresh)
    lengths = np.empty(2 * count + 1)
    lengths[0::2], lengths[1::2] = pauses, squeals
    turning = clock.first / clock.rate_hz + np.cumsum(lengths)
    time = np.arange(clock.coarse_samples) / clock.coarse_rate_hz
    gain = np.zeros(time.size)
    for start, end in zip(turning[0:-1:2], turning[1::2], strict=True):
        rise = min(draw(fresh, RISE_S), (end - start) / 3.0)
        fall = min(draw(fresh, FALL_S), (end - start) / 3.0)
        gain += np.interp(time, (start, start + rise, end - fall, end), (0.0, 1.0, 1.0, 0.0))
    return np.asarray(np.sin(0.5 * np.pi * gain) ** 2, dtype=np.float64)


def _shares(count: int, rng: np.random.Generator) -> Floats:
    """Cut 1 into so many pieces, none shorter than half an even share."""
    uneven = rng.dirichlet(np.ones(count))
    return np.asarray(SHORTEST_SHARE / count + (1.0 - SHORTEST_SHARE) * uneven, dtype=np.float64)
