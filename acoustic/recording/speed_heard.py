"""The crankshaft speed heard from the sound, with its runners-up, or a refusal.

First the engine comb is followed through the clip over the whole range of speeds. Then
the sound is stretched so that this speed becomes steady, and the little that is left is
followed with shorter frames on a fine grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_comb import comb_kernel
from acoustic.recording.speed_path import BLOCKED, best_path, between_cells
from acoustic.recording.speed_sound import (
    LowSound,
    WhiteFrames,
    low_sound,
    make_steady,
    white_frames,
)
from acoustic.recording.speed_trace import SpeedTrace


@dataclass(frozen=True, slots=True)
class SpeedSettings:
    """How the speed is heard. Figures fitted on made scenes unless a source is given.

    Attributes
    ----------
    rate_hz : float
        Sample rate listened at; the comb ends well below half of it. [Hz]
    top_hz : float
        Highest engine order used. [Hz]
    window_s, hop_s : float
        Frames of the first search. [s]
    grid : float
        Step of the speeds tried first. [-]
    step_sd : float
        Usual change of speed in 0.1 s. [-]
    neighbourhood_hz : float
        Width over which levels are compared. [Hz]
    fine_window_s, fine_hop_s, fine_reach, fine_grid, fine_step_sd : float
        The same for the second search, within `fine_reach` about the first. [s, -]
    smooth_s : float
        Standard deviation of the smoothing of the finished trace. [s]
    least_score, least_gap : float
        Comb score and its gap to the best other speed below which no speed is told. [-]
    sure_gap : float
        Gap from which the speed needs no checking. [-]
    shortest_s : float
        Used sound needed. [s]
    """

    rate_hz: float = 3000.0
    top_hz: float = 1200.0
    window_s: float = 1.0
    hop_s: float = 0.2
    grid: float = 0.002
    step_sd: float = 0.004
    neighbourhood_hz: float = 60.0
    fine_window_s: float = 0.5
    fine_hop_s: float = 0.05
    fine_reach: float = 0.015
    fine_grid: float = 0.0005
    fine_step_sd: float = 0.0015
    smooth_s: float = 0.1
    least_score: float = 4.0
    least_gap: float = 0.1
    sure_gap: float = 0.5
    shortest_s: float = 2.5


@dataclass(frozen=True, slots=True)
class OtherSpeed:
    """A speed that was not chosen: as a multiple of the chosen one, and its score."""

    rpm: float
    multiple: float
    score: float


@dataclass(frozen=True, slots=True, eq=False)
class HeardSpeed:
    """What listening for the speed gave.

    Attributes
    ----------
    trace : SpeedTrace or None
        None when no speed can be told.
    confidence : float
        Score gap to the best other speed; nan when nothing was heard at all. [-]
    reason : str
        One sentence: what the speed rests on, or why it is refused and what to do.
    others : tuple of OtherSpeed
        Best other speeds, best first.
    score : float
        Comb score of the best speed per frame. [-]
    best_rpm : float
        The best speed even when refused; nan when nothing was heard. [1/min]
    """

    trace: SpeedTrace | None
    confidence: float
    reason: str
    others: tuple[OtherSpeed, ...] = ()
    score: float = float("nan")
    best_rpm: float = float("nan")


GIVE_IT = "Give the rpm to ±5 %, or record nearer the engine block or the exhaust."


def hear_speed(
    recording: Recording,
    stretches: Stretches,
    engine: Engine,
    settings: SpeedSettings = SpeedSettings(),
    prior_rpm: tuple[float, float] | None = None,
) -> HeardSpeed:
    """Hear the crankshaft speed.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Only the used ones are listened to; the trace is straight across gaps.
    engine : Engine
        Cylinders set the comb; idle and working range set where to look.
    settings : SpeedSettings
    prior_rpm : (float, float), optional
        Where to look instead. [1/min]

    Returns
    -------
    HeardSpeed

    Raises
    ------
    SpeedError
        If `prior_rpm` is not a range above 0.
    """
    low_rpm, high_rpm = prior_rpm or _search_range(engine)
    if not 0 < low_rpm < high_rpm:
        raise SpeedError(
            f"Speed range {low_rpm:g} to {high_rpm:g} rpm makes no sense. Give the lower "
            "end first, both above 0."
        )
    sound = low_sound(recording, stretches, settings.rate_hz)
    s = settings
    frames = white_frames(sound, s.window_s, s.hop_s, s.top_hz, s.neighbourhood_hz)
    if stretches.used_s < s.shortest_s or frames.time_s.size < 3:
        return HeardSpeed(
            None,
            float("nan"),
            f"Only {stretches.used_s:.1f} s of usable sound: too short to hear the engine "
            f"speed. {GIVE_IT}",
        )
    cells = int(np.log(high_rpm / low_rpm) / s.grid) + 1
    speeds_hz = low_rpm / 60 * np.exp(s.grid * np.arange(cells))
    score = frames.level @ comb_kernel(
        engine, speeds_hz, frames.level.shape[1], frames.bin_hz, s.top_hz
    )
    hops = np.diff(frames.time_s) / s.hop_s
    sd_cells = s.step_sd * np.sqrt(s.hop_s / 0.1) / s.grid
    path, total = best_path(score, hops, sd_cells)
    rough_hz = speeds_hz[0] * np.exp(s.grid * between_cells(score, path))
    level, gap, others = _runner_up(score, path, total, hops, sd_cells, speeds_hz)
    best_rpm = 60 * float(np.median(rough_hz))
    refusal = _refusal(level, gap, best_rpm, others, s)
    if refusal:
        return HeardSpeed(None, gap, refusal, others, level, best_rpm)
    time_s, fine_hz = _refined(sound, frames, rough_hz, engine, s)
    firing_hz = engine.firing_order * float(np.median(fine_hz))
    note = f"heard from the engine orders: {firing_hz:.1f} firings a second"
    if gap < s.sure_gap:
        note += f"; check it, {others[0].rpm:.0f} rpm fits nearly as well"
    uncertainty = float(np.hypot(0.0005, 0.0015 / np.sqrt(max(1.0, stretches.used_s))))
    trace = SpeedTrace(time_s, fine_hz, "heard", uncertainty, gap, note)
    return HeardSpeed(trace, gap, note, others, level, best_rpm)


def _search_range(engine: Engine) -> tuple[float, float]:
    """Idle and working speeds with a margin. [1/min]"""
    low = min(engine.idle_rpm[0], engine.working_rpm[0])
    return 0.85 * low, 1.05 * max(engine.working_rpm[1], engine.idle_rpm[1])


def _runner_up(
    score: NDArray[np.float32],
    path: NDArray[np.intp],
    total: float,
    hops: NDArray[np.float64],
    sd_cells: float,
    speeds_hz: NDArray[np.float64],
) -> tuple[float, float, tuple[OtherSpeed, ...]]:
    """Score per frame, its gap to the best path 4 % away, and that other speed."""
    away = int(np.ceil(np.log(1.04) / np.log(speeds_hz[1] / speeds_hz[0])))
    near = np.abs(np.arange(score.shape[1]) - path[:, None]) < away
    frames = path.size
    blocked = np.where(near, BLOCKED, score)
    other, second = best_path(blocked, hops, sd_cells)
    if second < -1e5:
        return total / frames, total / frames, ()
    here, there = (60 * float(np.median(speeds_hz[p])) for p in (path, other))
    found = OtherSpeed(there, there / here, second / frames)
    return total / frames, (total - second) / frames, (found,)


def _refusal(
    level: float, gap: float, best_rpm: float, others: tuple[OtherSpeed, ...], s: SpeedSettings
) -> str:
    """Why no speed is told, or nothing."""
    if level < s.least_score:
        return f"No engine orders stand out of this sound, so its speed is unknown. {GIVE_IT}"
    if gap < s.least_gap and others:
        return (
            f"{best_rpm:.0f} and {others[0].rpm:.0f} rpm explain this sound equally well, so "
            f"the speed is not told. {GIVE_IT}"
        )
    return ""


def _refined(
    sound: LowSound,
    frames: WhiteFrames,
    rough_hz: NDArray[np.float64],
    engine: Engine,
    s: SpeedSettings,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Second search in the sound made steady: times [s] and speeds [Hz]."""
    smooth_hz = gaussian_filter1d(rough_hz, 1.0, mode="nearest")
    steady = make_steady(sound, frames.time_s, smooth_hz)
    fine = white_frames(steady.sound, s.fine_window_s, s.fine_hop_s, s.top_hz, s.neighbourhood_hz)
    reach = round(s.fine_reach / s.fine_grid)
    speeds_hz = steady.speed_hz * np.exp(s.fine_grid * np.arange(-reach, reach + 1))
    score = fine.level @ comb_kernel(engine, speeds_hz, fine.level.shape[1], fine.bin_hz, s.top_hz)
    hops = np.diff(fine.time_s) / s.fine_hop_s
    path, _ = best_path(score, hops, s.fine_step_sd / s.fine_grid)
    left = s.fine_grid * (between_cells(score, path) - reach)
    left = gaussian_filter1d(left, s.smooth_s / s.fine_hop_s, mode="nearest")
    time_s = np.interp(fine.time_s, steady.steady_s, steady.real_s)
    return time_s, np.interp(time_s, frames.time_s, smooth_hz) * np.exp(left)
