"""Rattle: loose things that knock in step with the firing, at random, or after switching off.

The figures are common practice, no source, where nothing else is said.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, CrankTurning
from acoustic.synthetic.engine_sound import firing_phases
from acoustic.synthetic.made_noise import MadeNoise, Occasion, event_times_s, in_band
from acoustic.synthetic.random_curves import Floats, draw, slow_curve
from acoustic.synthetic.ringing import Ringing, draw_ringing, strike

PULLEY_HZ, PULLEY_DECAY_S = (1500.0, 8000.0), (0.0005, 0.003)
SHIELD_HZ, SHIELD_DECAY_S = (800.0, 6000.0), (0.0008, 0.004)
SCATTER_DB = (4.0, 6.0)  # from knock to knock

FIRINGS_HEARD = (0.25, 0.7)  # share of the firings that give a knock
TIMING_JITTER = (0.02, 0.08)  # sd, in firing intervals
CLUSTER_FIRINGS = (3.0, 12.0)  # how many firings in a row are alike
CYLINDERS_UNLIKE = 0.3  # sd of what single cylinders add to the leaning to knock
BOUNCE_CHANCE, BOUNCE_S, BOUNCE_DB = (0.2, 0.6), (0.002, 0.008), (3.0, 10.0)
JOLT_CHANCE, JOLT_HZ, JOLT_DB = 0.5, (2.0, 8.0), (2.0, 6.0)  # of the belt

KNOCKS_HZ = (5.0, 40.0)
BUZZ_CHANCE = 0.4
BUZZ_HZ, BUZZ_SHARE, BUZZ_REGULARITY = (15.0, 45.0), (0.3, 0.7), 4.0
BUZZ_ORDERS = (1, 6)  # multiples of the firing order that may meet the resonance
BUZZ_DETUNING, BUZZ_WIDTH = (-0.01, 0.01), (0.003, 0.01)  # relative to the resonance

RUN_ON_S = (1.0, 3.0)  # from standstill of the crank
RUN_ON_HZ = (6.0, 25.0)  # knocks a second while the crank runs down
RUN_ON_REGULARITY = 8.0


def make_firing_rattle(on: Occasion) -> MadeNoise:
    """Make the rattle of an overrunning pulley, decoupler or tensioner arm.

    A share of the firings gives a knock, some a second one when the part bounces; knocks
    come in clusters, at a drawn place within the firing interval, and may wax and wane with
    the jolting belt.
    """
    drive, crank, kept, fresh = on.drive, on.crank, on.kept, on.fresh
    ringing = draw_ringing(kept, crank.clock.rate_hz, PULLEY_HZ, PULLEY_DECAY_S)
    scatter_db, share, jitter = (draw(kept, r) for r in (SCATTER_DB, FIRINGS_HEARD, TIMING_JITTER))
    delay, cluster = kept.uniform(), draw(kept, CLUSTER_FIRINGS)
    bounce_chance, bounce_db = draw(kept, BOUNCE_CHANCE), draw(kept, BOUNCE_DB)
    jolt_db = draw(kept, JOLT_DB) if kept.uniform() < JOLT_CHANCE else 0.0
    jolting = _jolting(crank, draw(kept, JOLT_HZ), fresh)

    firing, at = _firing_times_s(drive, crank, delay, jitter, fresh)
    jolt = np.interp(at, np.arange(jolting.size) / CONTROL_RATE_HZ, jolting)
    leaning = _leaning(firing, firing_phases(drive).size, cluster, kept, fresh)
    leaning += jolt_db / max(JOLT_DB) * jolt
    heard = leaning > np.quantile(leaning, 1.0 - share)
    at, level_db = at[heard], (jolt_db * jolt + scatter_db * fresh.standard_normal(at.size))[heard]
    bounced = fresh.uniform(size=at.size) < bounce_chance
    again = at[bounced] + fresh.uniform(*BOUNCE_S, np.count_nonzero(bounced))
    times = np.concatenate((at, again))
    levels = np.concatenate((level_db, level_db[bounced] - bounce_db))
    return _struck(ringing, times, levels, crank, fresh)


def _firing_times_s(
    drive: Drive, crank: CrankTurning, delay: float, jitter: float, fresh: np.random.Generator
) -> tuple[NDArray[np.int_], Floats]:
    """Number every firing and say when its knock falls, from the first sample made. [s]"""
    phases = firing_phases(drive)
    cycle = crank.angle_rev * drive.engine.order_step
    cycles = np.arange(-1, math.ceil(float(cycle[-1])) + 1)
    at = (cycles[:, np.newaxis] + phases).ravel()
    firing = np.arange(at.size)
    at = at + (delay + jitter * fresh.standard_normal(at.size)) / phases.size
    inside = (at > cycle[0]) & (at < cycle[-1])
    place = np.interp(at[inside], cycle, np.arange(cycle.size))
    return firing[inside], place / crank.clock.coarse_rate_hz


def _leaning(
    firing: NDArray[np.int_],
    cylinders: int,
    cluster: float,
    kept: np.random.Generator,
    fresh: np.random.Generator,
) -> Floats:
    """How much each firing leans to a knock: alike in clusters, unlike by cylinder."""
    by_cylinder = CYLINDERS_UNLIKE * kept.standard_normal(cylinders)
    clustered = slow_curve(fresh, firing.size, 1.0, 1.0 / (2.0 * math.pi * cluster), 1.0)
    alone = fresh.standard_normal(firing.size)
    leaning = math.sqrt(0.6) * clustered + math.sqrt(0.4) * alone
    return np.asarray(leaning + by_cylinder[firing % cylinders], dtype=np.float64)


def _jolting(crank: CrankTurning, rate_hz: float, fresh: np.random.Generator) -> Floats:
    """A swing from -1 to 1 at a rate that wanders by 5 %, on the control clock."""
    wander = slow_curve(fresh, crank.control_time_s.size, CONTROL_RATE_HZ, 0.3)
    turns = np.cumsum(rate_hz * (1.0 + 0.05 * wander)) / CONTROL_RATE_HZ + fresh.uniform()
    return np.asarray(np.cos(2.0 * np.pi * turns), dtype=np.float64)


def make_random_rattle(on: Occasion) -> MadeNoise:
    """Make the rattle of a loose shield or bracket: single knocks, or buzzing in bursts.

    Buzzing comes when an order of the engine meets a resonance of the loose part. A sheet
    that hits its bracket bounces irregularly, so its knocks keep no step even then.
    """
    crank, kept, fresh = on.crank, on.kept, on.fresh
    ringing = draw_ringing(kept, crank.clock.rate_hz, SHIELD_HZ, SHIELD_DECAY_S)
    scatter_db, buzzes = draw(kept, SCATTER_DB), kept.uniform() < BUZZ_CHANCE
    if buzzes:
        rate, regularity = _buzz_rate_hz(on), BUZZ_REGULARITY
    else:
        low, high = KNOCKS_HZ
        waxing = slow_curve(fresh, crank.control_time_s.size, CONTROL_RATE_HZ, 0.5)
        rate = low * (high / low) ** kept.uniform() * np.exp(0.4 * waxing - 0.08)
        regularity = 1.0
    times = event_times_s(np.asarray(rate, dtype=np.float64), regularity, fresh)
    return _struck(ringing, times, scatter_db * fresh.standard_normal(times.size), crank, fresh)


def _buzz_rate_hz(on: Occasion) -> Floats:
    """Knocks a second: none but while an order of the engine is near the resonance.

    A shield has many resonances: at every speed one of them lies close to some order.
    """
    crank, kept, fresh = on.crank, on.kept, on.fresh
    order = on.drive.engine.firing_order * int(kept.integers(*BUZZ_ORDERS))
    detuning, width = draw(kept, BUZZ_DETUNING), draw(kept, BUZZ_WIDTH)
    rate, share = draw(kept, BUZZ_HZ), draw(kept, BUZZ_SHARE)
    resonance_hz = order * crank.mean_speed_hz * (1.0 + detuning)
    off = (order * crank.control_speed_hz / resonance_hz - 1.0) / width
    swing = 1.0 / np.sqrt(1.0 + off**2)
    # The loose part also shifts by itself, which matters alone where the speed is held.
    shifting = slow_curve(fresh, off.size, CONTROL_RATE_HZ, 1.0)
    driven = swing + 0.15 * shifting
    return np.where(driven > np.quantile(driven, 1.0 - share), rate, 0.0)


def make_run_on_rattle(on: Occasion) -> MadeNoise:
    """Make the rattle of a pulley that runs on when the engine is switched off.

    Knocks come from switch-off to one to three seconds after standstill, ever more seldom
    as the pulley's rotor slows down.

    Raises
    ------
    SettingsError
        The engine is not switched off in this recording.
    """
    crank, kept, fresh = on.crank, on.kept, on.fresh
    if crank.switched_off_s is None or crank.stands_s is None:
        raise SettingsError(
            "A rattle after switching off needs an engine that is switched off: give the "
            "condition a switch_off_s."
        )
    ringing = draw_ringing(kept, crank.clock.rate_hz, PULLEY_HZ, PULLEY_DECAY_S)
    scatter_db, first_hz, run_on_s = (draw(kept, r) for r in (SCATTER_DB, RUN_ON_HZ, RUN_ON_S))
    time = crank.control_time_s
    left = np.clip(1.0 - (time - crank.stands_s) / run_on_s, 0.0, 1.0)
    left[time < crank.switched_off_s] = 0.0
    times = event_times_s(first_hz * left, RUN_ON_REGULARITY, fresh)
    turning = np.interp(times, np.arange(left.size) / CONTROL_RATE_HZ, left)
    level_db = 10.0 * np.log10(np.maximum(turning, 0.01))
    level_db += scatter_db * fresh.standard_normal(times.size)
    return _struck(ringing, times, level_db, crank, fresh)


def _struck(
    ringing: Ringing,
    times_s: Floats,
    level_db: Floats,
    crank: CrankTurning,
    fresh: np.random.Generator,
) -> MadeNoise:
    sound = strike(ringing, times_s, level_db, crank.clock, fresh)
    return in_band(sound, *ringing.band_hz, crank.clock)
