"""Noise that does not belong to the engine: coloured, with broad resonances."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.random_curves import Floats, draw, humps_db, noise_spectrum
from acoustic.synthetic.scene_settings import Surroundings

LOWEST_HZ = 20.0
SHAPE_POINTS = 400


def over_bins(clock: Clock, grid_hz: Floats, values: Floats) -> NDArray[np.float32]:
    """Read a curve over frequency at every bin of the full-rate transform."""
    bins = np.arange(clock.full_samples // 2 + 1) * (clock.rate_hz / clock.full_samples)
    return np.asarray(np.interp(bins, grid_hz, values), dtype=np.float32)


def log_grid_hz(clock: Clock) -> Floats:
    """Frequencies, even on a log scale, from 20 Hz to half the sample rate. [Hz]"""
    return np.geomspace(LOWEST_HZ, clock.rate_hz / 2.0, SHAPE_POINTS)


def make_noise_spectrum(
    clock: Clock, settings: Surroundings, rng: np.random.Generator
) -> NDArray[np.complex64]:
    """Draw the transform of the surrounding noise, level not yet set.

    Power falls as 1/f^slope with Lorentzian humps on top; below 20 Hz it is flat.
    """
    grid = log_grid_hz(clock)
    level_db = -10.0 * draw(rng, settings.slope) * np.log10(grid / LOWEST_HZ)
    count = int(rng.integers(settings.humps[0], settings.humps[1] + 1))
    level_db += humps_db(rng, grid, count, 100.0, 6000.0)
    return noise_spectrum(rng, over_bins(clock, grid, 10.0 ** (level_db / 20.0)))
