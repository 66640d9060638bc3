"""The way from the drive to the phone: uneven over frequency, other at every place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedFamily
from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.random_curves import slow_curve
from acoustic.synthetic.scene_settings import Condition, Surroundings
from acoustic.synthetic.surroundings import log_grid_hz, over_bins

FINENESS_PER_OCTAVE = 0.8  # ups and downs per octave; common practice, no source


def transfer_amplitude(
    clock: Clock, settings: Surroundings, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Draw the amplitude of the way to the phone, shape (bins of the full transform,).

    Smooth random resonances of `settings.transfer_db` rms on a log frequency scale.
    """
    grid = log_grid_hz(clock)
    per_octave = grid.size / np.log2(grid[-1] / grid[0])
    level_db = settings.transfer_db * slow_curve(rng, grid.size, per_octave, FINENESS_PER_OCTAVE)
    return over_bins(clock, grid, 10.0 ** (level_db / 20.0))


def level_change_db(family: ExpectedFamily, condition: Condition, settings: Surroundings) -> float:
    """How much louder a family is under a condition than in front of the drive, unloaded. [dB]

    At its own point a part is louder and at others' softer; what a load switched on does to a
    mechanism stands in the tables.
    """
    loaded = sum(family.load_db.get(load, 0.0) for load in condition.loads)
    if condition.probe_part is None:
        return loaded
    at_own = family.part == condition.probe_part
    return loaded + (settings.own_point_db if at_own else settings.other_point_db)
