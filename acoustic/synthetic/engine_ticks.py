"""Sharp noises of a sound engine: loud injectors, diesel knock, the tick of a fuel pump.

None of them is a fault. They are there for what judges a recording to meet them. The
figures are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.engine_sound import firing_phases
from acoustic.synthetic.made_noise import Signal
from acoustic.synthetic.random_curves import Floats, draw
from acoustic.synthetic.ringing import draw_ringing, strike
from acoustic.synthetic.scene_settings import EngineSound, Range

CAM_ORDER = 0.5  # of the camshaft of a four-stroke
INJECTOR_HZ, INJECTOR_DECAY_S = (3000.0, 9000.0), (0.0003, 0.001)
OPEN_S, CLOSING_DB = (0.0015, 0.004), (-4.0, 2.0)  # from opening to closing; its level
INJECTOR_JITTER, INJECTOR_SCATTER_DB = 0.0005, (0.5, 1.0)  # sd in working cycles; sd
KNOCK_HZ, KNOCK_DECAY_S = (1000.0, 5000.0), (0.001, 0.004)
KNOCK_JITTER, KNOCK_SCATTER_DB = 0.002, (2.5, 5.0)
LOBES = (2, 5)  # two to four on the pump's cam
PUMP_HZ, PUMP_DECAY_S = (1500.0, 6000.0), (0.0008, 0.002)
PUMP_JITTER, PUMP_SCATTER_DB = 0.0005, (0.5, 1.5)
BY_CYLINDER_DB = 1.5


def make_engine_ticks(
    drive: Drive, crank: CrankTurning, settings: EngineSound, rng: np.random.Generator
) -> Signal | None:
    """Make the sharp noises the settings ask for, on a comb of mean square 1.

    Returns
    -------
    ndarray of float32, shape (full_samples,), or None
        None, and nothing is drawn, where the settings ask for none.
    """
    wanted = (
        (settings.injector_db, make_injectors),
        (settings.diesel_knock_db, make_diesel_knock),
        (settings.fuel_pump_db, make_fuel_pump),
    )
    total: Signal | None = None
    for level_db, make in wanted:
        if level_db is not None:
            ticks = np.float32(10.0 ** (draw(rng, level_db) / 20.0)) * make(drive, crank, rng)
            total = ticks if total is None else total + ticks
    return total


def make_injectors(drive: Drive, crank: CrankTurning, rng: np.random.Generator) -> Signal:
    """Make two clicks for every firing, opening and closing, of mean square 1."""
    open_s, closing_db = draw(rng, OPEN_S), draw(rng, CLOSING_DB)
    phases = (firing_phases(drive) + rng.uniform()) % 1.0
    times, levels = _ticks(crank, drive, phases, INJECTOR_JITTER, INJECTOR_SCATTER_DB, rng)
    both = np.concatenate((times, times + open_s))
    levels = np.concatenate((levels, levels + closing_db))
    return _struck(both, levels, INJECTOR_HZ, INJECTOR_DECAY_S, crank, rng)


def make_diesel_knock(drive: Drive, crank: CrankTurning, rng: np.random.Generator) -> Signal:
    """Make a clatter at every firing that scatters from cycle to cycle, of mean square 1."""
    phases = (firing_phases(drive) + rng.uniform(0.0, 0.05)) % 1.0
    times, levels = _ticks(crank, drive, phases, KNOCK_JITTER, KNOCK_SCATTER_DB, rng)
    return _struck(times, levels, KNOCK_HZ, KNOCK_DECAY_S, crank, rng)


def make_fuel_pump(drive: Drive, crank: CrankTurning, rng: np.random.Generator) -> Signal:
    """Make a tick for every lobe of the cam that drives a fuel pump, of mean square 1."""
    ticks = max(1, round(int(rng.integers(*LOBES)) * CAM_ORDER / drive.engine.order_step))
    phases = (np.arange(ticks) / ticks + rng.uniform()) % 1.0
    times, levels = _ticks(crank, drive, phases, PUMP_JITTER, PUMP_SCATTER_DB, rng)
    return _struck(times, levels, PUMP_HZ, PUMP_DECAY_S, crank, rng)


def _ticks(
    crank: CrankTurning,
    drive: Drive,
    phases: Floats,
    jitter: float,
    scatter_db: Range,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Time and level of a tick at each of these phases of every working cycle. [s], [dB]"""
    cycle = crank.angle_rev * drive.engine.order_step
    cycles = np.arange(math.ceil(float(cycle[-1])))
    at = cycles[:, np.newaxis] + phases + jitter * rng.standard_normal((cycles.size, phases.size))
    levels = BY_CYLINDER_DB * rng.standard_normal(phases.size) + draw(
        rng, scatter_db
    ) * rng.standard_normal(at.shape)
    inside = (at > cycle[0]) & (at < cycle[-1])
    place = np.interp(at[inside], cycle, np.arange(cycle.size))
    return place / crank.clock.coarse_rate_hz, levels[inside]


def _struck(
    times_s: Floats,
    level_db: Floats,
    resonance_hz: Range,
    decay_s: Range,
    crank: CrankTurning,
    rng: np.random.Generator,
) -> Signal:
    ringing = draw_ringing(rng, crank.clock.rate_hz, resonance_hz, decay_s)
    sound = strike(ringing, times_s, level_db, crank.clock, rng)
    return np.asarray(sound / np.sqrt(np.mean(sound**2)), dtype=np.float32)
