"""The way from the drive to the phone: uneven over frequency, other at every place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.random_curves import slow_curve
from acoustic.synthetic.scene_settings import Surroundings
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


def point_level_db(part: str, probe_part: str | None, settings: Surroundings) -> float:
    """How much louder a part is at this place than in front of the drive. [dB]"""
    if probe_part is None:
        return 0.0
    return settings.own_point_db if part == probe_part else settings.other_point_db
