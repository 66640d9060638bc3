"""Following the engine comb through a clip: first widely, then closely.

The first search tries every speed of the range. Then the sound is stretched so that this
speed becomes steady, and the little that is left is followed with shorter frames on a
fine grid, the same comb for all frames.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.drive.drive import Engine
from acoustic.recording.speed_comb import comb_kernel
from acoustic.recording.speed_path import best_path, between_cells
from acoustic.recording.speed_settings import CloseSearch, SpeedSettings
from acoustic.recording.speed_sound import SpeedSound, make_steady, white_frames

TRUST_POWER = 4.0
LEAST_TRUST = 0.1
END_POINTS = 10


@dataclass(frozen=True, slots=True, eq=False)
class FollowedSpeed:
    """A speed followed through the sound, perhaps a multiple of the engine's.

    Attributes
    ----------
    time_s, speed_hz : ndarray, shape (points,)
        [s], [Hz]
    trust : tuple of float
        How far each view is to be trusted against the best one, 0 to 1.
    score : ndarray, shape (points,)
        Comb score along the path, about 1 where there is only noise. [-]
    """

    time_s: NDArray[np.float64]
    speed_hz: NDArray[np.float64]
    trust: tuple[float, ...]
    score: NDArray[np.float64]

    @property
    def median_hz(self) -> float:
        """Median speed. [Hz]"""
        return float(np.median(self.speed_hz))

    def times(self, ratio: float) -> FollowedSpeed:
        """Return the same path at a multiple of the speed."""
        return FollowedSpeed(self.time_s, ratio * self.speed_hz, self.trust, self.score)

    def to_the_ends(self, start_s: float, end_s: float) -> FollowedSpeed:
        """Carry the path on, straight, to where the used sound begins and ends.

        The middles of the first and last frame lie half a frame inside.
        """
        size = min(END_POINTS, self.time_s.size)
        first, last = slice(None, size), slice(-size, None)
        ends_s = np.array([min(start_s, self.time_s[0]), max(end_s, self.time_s[-1])])
        ends_hz = [
            self.speed_hz[edge] + slope * (at_s - self.time_s[edge])
            for edge, place, at_s in ((0, first, ends_s[0]), (-1, last, ends_s[1]))
            for slope in [np.polyfit(self.time_s[place], self.speed_hz[place], 1)[0]]
        ]
        time_s = np.concatenate([ends_s[:1], self.time_s, ends_s[1:]])
        speed_hz = np.concatenate([ends_hz[:1], self.speed_hz, ends_hz[1:]])
        score = np.concatenate([self.score[:1], self.score, self.score[-1:]])
        new = np.concatenate([[True], np.diff(time_s) > 0])
        return FollowedSpeed(time_s[new], speed_hz[new], self.trust, score[new])


def follow_widely(
    views: tuple[SpeedSound, ...],
    engine: Engine,
    range_hz: tuple[float, float],
    settings: SpeedSettings,
) -> FollowedSpeed | None:
    """Follow the comb over a whole range of speeds; None if too few frames fit in."""
    s = settings
    cells = max(3, int(np.log(range_hz[1] / range_hz[0]) / s.grid) + 1)
    speeds_hz = range_hz[0] * np.exp(s.grid * np.arange(cells))
    time_s, scores = _comb_scores(
        tuple(replace(view, top_hz=min(view.top_hz, s.wide_top_hz)) for view in views),
        engine,
        speeds_hz,
        (s.window_s, s.hop_s),
        s.neighbourhood_hz,
    )
    if time_s.size < 3:
        return None
    total = np.sum(scores, axis=0)
    path, _ = best_path(total, np.diff(time_s) / s.hop_s, s.step_sd / s.grid)
    cell = gaussian_filter1d(between_cells(total, path), 1.0, mode="nearest")
    speed_hz = speeds_hz[0] * np.exp(s.grid * cell)
    # Each score has about sd 1 in noise, so the mean score is what a view has to say.
    said = [max(0.0, float(score[np.arange(path.size), path].mean())) for score in scores]
    trust = tuple((each / max(*said, 1e-9)) ** TRUST_POWER for each in said)
    along = total[np.arange(path.size), path].astype(np.float64)
    return FollowedSpeed(time_s, speed_hz, trust, along)


def follow_closely(
    views: tuple[SpeedSound, ...],
    engine: Engine,
    rough: FollowedSpeed,
    search: CloseSearch,
    settings: SpeedSettings,
) -> FollowedSpeed:
    """Follow the comb again, near a speed that is roughly known."""
    steady = make_steady(views, rough.time_s, rough.speed_hz)
    cells = round(search.reach / search.grid)
    near_hz = steady.speed_hz * np.exp(search.grid * np.arange(-cells, cells + 1))
    kept = [k for k, trust in enumerate(rough.trust) if trust >= LEAST_TRUST]
    heard = tuple(steady.views[k] for k in kept)
    steady_s, scores = _comb_scores(
        heard, engine, near_hz, (search.window_s, search.hop_s), settings.neighbourhood_hz
    )
    if steady_s.size < 3:
        return rough
    score = sum(
        (np.float32(rough.trust[k]) * each for k, each in zip(kept, scores, strict=True)),
        start=np.zeros((1, 1), dtype=np.float32),
    )
    path, _ = best_path(score, np.diff(steady_s) / search.hop_s, search.step_sd / search.grid)
    left = search.grid * (between_cells(score, path) - cells)
    left = gaussian_filter1d(left, search.smooth_s / search.hop_s, mode="nearest")
    time_s = np.interp(steady_s, steady.steady_s, steady.real_s)
    speed_hz = np.interp(time_s, rough.time_s, rough.speed_hz) * np.exp(left)
    along = score[np.arange(path.size), path] / np.linalg.norm([rough.trust[k] for k in kept])
    return FollowedSpeed(time_s, speed_hz, rough.trust, np.asarray(along, dtype=np.float64))


def _comb_scores(
    views: tuple[SpeedSound, ...],
    engine: Engine,
    speeds_hz: NDArray[np.float64],
    frame_s: tuple[float, float],
    neighbourhood_hz: float,
) -> tuple[NDArray[np.float64], list[NDArray[np.float32]]]:
    """Middles of the frames [s] and, view by view, their comb scores."""
    time_s = np.empty(0)
    scores = []
    for view in views:
        frames = white_frames(view, *frame_s, view.top_hz, neighbourhood_hz)
        bins = frames.level.shape[1]
        kernel = comb_kernel(engine, speeds_hz, bins, frames.bin_hz, view.top_hz)
        scores.append(np.asarray(frames.level @ kernel, dtype=np.float32))
        time_s = frames.time_s
    return time_s, scores
