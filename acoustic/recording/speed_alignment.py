"""Laying a speed log over the heard speed when nobody knows their offset.

A log from a diagnostic reader starts at some other moment than the recording. Where the
speed varies, the shape of the heard speed finds the offset; a held speed has no shape, so
only the mean of the log can be used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

_LARGEST_OFFSET_S = 20.0
_STEP_S = 0.02
# Found on a 3 Hz log with 2 rpm noise over 40 s of 0.8 % wander (made sound): the true
# offset correlates at 0.94, the next best at 0.42.
_LOWEST_PEAK = 0.7
_LOWEST_LEAD = 0.2
_WIDEST_PEAK_S = 4.0
_FEWEST_ROWS = 8
_HELD = 0.002  # relative scatter of a held speed as heard
_LOG_UNCERTAINTY = 0.003  # relative; rounding and delay of diagnostic readers, judgement


@dataclass(frozen=True, slots=True, eq=False)
class SpeedLog:
    """Crankshaft speed as logged.

    Attributes
    ----------
    time_s : ndarray, shape (rows,)
        From the first row of the log, increasing. [s]
    speed_rpm : ndarray, shape (rows,)
    name : str
        File name without folders.
    """

    time_s: Floats
    speed_rpm: Floats
    name: str = "speed log"

    def __post_init__(self) -> None:
        for field in ("time_s", "speed_rpm"):
            values = np.array(getattr(self, field), dtype=np.float64)
            values.flags.writeable = False
            object.__setattr__(self, field, values)


def align_speed_log(
    log: SpeedLog, heard: SpeedTrace | None, duration_s: float, start_s: float = 0.0
) -> SpeedTrace:
    """Lay a log over a recording.

    The log is slid by up to 20 s either way and correlated with the heard speed smoothed
    to the log's rate. If one offset stands out, the result has the fine course of the
    heard speed and the level of the log, so that a heard speed locked to a wrong multiple
    is put right. Else only the mean of the log is given, with its scatter as uncertainty.

    Parameters
    ----------
    log : SpeedLog
    heard : SpeedTrace or None
        Speed heard in the recording, None if it could not be heard.
    duration_s : float
        Length of the recording. [s]
    start_s : float
        Where in its file the recording begins, if only a part of a long file is used: the
        log is taken to start within 20 s of the file, not of the part. [s]

    Returns
    -------
    SpeedTrace
        With ``source="log"`` and a note that says how it was laid over.
    """
    from_start_s = log.time_s - start_s
    near = from_start_s >= -_LARGEST_OFFSET_S
    near &= from_start_s <= duration_s + _LARGEST_OFFSET_S
    if not np.any(near):
        return _mean_only(log.speed_rpm / 60.0, "it does not reach the part of the clip used")
    time_s, speed_hz = _thinned(from_start_s[near], log.speed_rpm[near] / 60.0)
    if heard is None or heard.time_s.size < 2:
        return _mean_only(speed_hz, "the speed could not be heard, so its offset is not known")
    if min(_scatter(speed_hz), _scatter(heard.speed_hz)) < _HELD:
        return _mean_only(speed_hz, "the speed is held, so there is nothing to align")
    offsets_s = np.arange(-_LARGEST_OFFSET_S, _LARGEST_OFFSET_S + _STEP_S / 2, _STEP_S)
    courses = _heard_at(time_s, offsets_s, heard, duration_s)
    correlation = _correlate(courses, speed_hz)
    best = int(np.argmax(correlation))
    peak = float(correlation[best])
    runner_up, width_s = _rivals(correlation, best)
    if peak < _LOWEST_PEAK or peak - runner_up < _LOWEST_LEAD or width_s > _WIDEST_PEAK_S:
        return _mean_only(speed_hz, f"no offset stands out (best correlation {peak:.2f})")
    offset_s = round(float(offsets_s[best]), 2) + 0.0  # no minus zero
    ratio = float(np.nanmedian(speed_hz / courses[best]))
    return SpeedTrace(
        time_s=heard.time_s,
        speed_hz=heard.speed_hz * ratio,
        source="log",
        uncertainty=_LOG_UNCERTAINTY,
        note=(
            f"speed log laid over the sound: its first row is at {offset_s:+.2f} s of the clip "
            f"(correlation {peak:.2f}, next best {runner_up:.2f}); heard speed times "
            f"{ratio:.3f}"
        ),
    )


def _mean_only(speed_hz: Floats, reason: str) -> SpeedTrace:
    mean_hz = float(np.mean(speed_hz))
    return SpeedTrace(
        time_s=np.zeros(1),
        speed_hz=np.array([mean_hz]),
        source="log",
        uncertainty=max(_scatter(speed_hz), _LOG_UNCERTAINTY),
        note=f"mean of the speed log, {60 * mean_hz:.0f} rpm: {reason}",
    )


def _scatter(speed_hz: Floats) -> float:
    """Relative standard deviation."""
    return float(np.std(speed_hz) / np.mean(speed_hz))


def _thinned(time_s: Floats, speed_hz: Floats) -> tuple[Floats, Floats]:
    """Average a fast log down to 10 rows a second."""
    bins = np.floor(time_s / 0.1).astype(int)
    _, first = np.unique(bins, return_index=True)
    counts = np.diff(np.append(first, time_s.size))
    return np.add.reduceat(time_s, first) / counts, np.add.reduceat(speed_hz, first) / counts


def _heard_at(time_s: Floats, offsets_s: Floats, heard: SpeedTrace, duration_s: float) -> Floats:
    """Heard speed at the rows of the log, for each offset; nan outside the recording.

    Shape (offsets, rows).
    """
    from scipy.ndimage import uniform_filter1d

    fine_s = np.arange(0.0, duration_s, _STEP_S)
    interval_s = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    smooth = uniform_filter1d(heard.at(fine_s), max(1, round(interval_s / _STEP_S)))
    rows_s = time_s[np.newaxis] + offsets_s[:, np.newaxis]
    course = np.interp(rows_s, fine_s, smooth)
    return np.where((rows_s >= 0) & (rows_s <= duration_s), course, np.nan)


def _correlate(courses: Floats, speed_hz: Floats) -> Floats:
    """Correlation for each offset; -1 where too few rows overlap. Shape (offsets,)."""
    inside = np.isfinite(courses)
    rows = inside.sum(axis=1)
    enough = rows >= max(_FEWEST_ROWS, 0.5 * float(rows.max()))
    count = np.maximum(rows, 1)[:, np.newaxis]
    x = np.where(inside, courses, 0.0)
    y = np.where(inside, speed_hz, 0.0)
    x = np.where(inside, x - x.sum(axis=1, keepdims=True) / count, 0.0)
    y = np.where(inside, y - y.sum(axis=1, keepdims=True) / count, 0.0)
    power = np.sqrt(np.sum(x * x, axis=1) * np.sum(y * y, axis=1))
    return np.where(enough & (power > 0), np.sum(x * y, axis=1) / np.maximum(power, 1e-30), -1.0)


def _rivals(correlation: Floats, best: int) -> tuple[float, float]:
    """Next best peak of the correlation, and width of the best one. [-, s]."""
    low = correlation < correlation[best] - _LOWEST_LEAD
    left = np.flatnonzero(low[:best])
    right = np.flatnonzero(low[best:])
    start = int(left[-1]) if left.size else 0
    end = best + int(right[0]) if right.size else correlation.size
    padded = np.concatenate([[-1.0], correlation, [-1.0]])
    peaks = (correlation >= padded[:-2]) & (correlation >= padded[2:])
    peaks[start:end] = False  # the flank of the best is no rival
    return float(np.max(correlation[peaks], initial=-1.0)), (end - start) * _STEP_S
