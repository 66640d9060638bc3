"""Following the engine comb through a clip: first widely, then closely.

The first search tries every speed of the range. Then the sound is stretched so that this
speed becomes steady, and the little that is left is followed with shorter frames on a
fine grid, the same comb for all frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.drive.drive import Engine
from acoustic.recording.speed_comb import comb_kernel
from acoustic.recording.speed_path import best_path, between_cells
from acoustic.recording.speed_settings import SpeedSettings
from acoustic.recording.speed_sound import LowSound, make_steady, white_frames


@dataclass(frozen=True, slots=True, eq=False)
class FollowedSpeed:
    """A speed followed through the sound, perhaps a multiple of the engine's.

    Attributes
    ----------
    time_s, speed_hz : ndarray, shape (points,)
        [s], [Hz]
    score : float
        Comb score per frame, about 1 in noise. [-]
    """

    time_s: NDArray[np.float64]
    speed_hz: NDArray[np.float64]
    score: float

    @property
    def median_hz(self) -> float:
        """Median speed. [Hz]"""
        return float(np.median(self.speed_hz))

    def times(self, ratio: float) -> FollowedSpeed:
        """Return the same path at a multiple of the speed."""
        return FollowedSpeed(self.time_s, ratio * self.speed_hz, self.score)


def follow_widely(
    sound: LowSound, engine: Engine, range_hz: tuple[float, float], settings: SpeedSettings
) -> FollowedSpeed | None:
    """Follow the comb over a whole range of speeds; None if too few frames fit in."""
    s = settings
    frames = white_frames(sound, s.window_s, s.hop_s, s.top_hz, s.neighbourhood_hz)
    if frames.time_s.size < 3:
        return None
    cells = max(3, int(np.log(range_hz[1] / range_hz[0]) / s.grid) + 1)
    speeds_hz = range_hz[0] * np.exp(s.grid * np.arange(cells))
    bins = frames.level.shape[1]
    score = frames.level @ comb_kernel(engine, speeds_hz, bins, frames.bin_hz, s.top_hz)
    hops = np.diff(frames.time_s) / s.hop_s
    path, total = best_path(score, hops, s.step_sd * np.sqrt(s.hop_s / 0.1) / s.grid)
    speed_hz = speeds_hz[0] * np.exp(s.grid * between_cells(score, path))
    return FollowedSpeed(frames.time_s, speed_hz, total / path.size)


def follow_closely(
    sound: LowSound, engine: Engine, rough: FollowedSpeed, settings: SpeedSettings
) -> FollowedSpeed:
    """Follow the comb again, near a speed that is roughly known."""
    s = settings
    smooth_hz = gaussian_filter1d(rough.speed_hz, 1.0, mode="nearest")
    steady = make_steady(sound, rough.time_s, smooth_hz)
    fine = white_frames(steady.sound, s.fine_window_s, s.fine_hop_s, s.top_hz, s.neighbourhood_hz)
    if fine.time_s.size < 3:
        return rough
    reach = round(s.fine_reach / s.fine_grid)
    near_hz = steady.speed_hz * np.exp(s.fine_grid * np.arange(-reach, reach + 1))
    score = fine.level @ comb_kernel(engine, near_hz, fine.level.shape[1], fine.bin_hz, s.top_hz)
    hops = np.diff(fine.time_s) / s.fine_hop_s
    path, total = best_path(score, hops, s.fine_step_sd / s.fine_grid)
    left = s.fine_grid * (between_cells(score, path) - reach)
    left = gaussian_filter1d(left, s.smooth_s / s.fine_hop_s, mode="nearest")
    time_s = np.interp(fine.time_s, steady.steady_s, steady.real_s)
    speed_hz = np.interp(time_s, rough.time_s, smooth_hz) * np.exp(left)
    return FollowedSpeed(time_s, speed_hz, total / path.size)
