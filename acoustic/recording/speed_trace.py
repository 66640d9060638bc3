"""Crankshaft speed over time, with how it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import SpeedError


@dataclass(frozen=True, slots=True, eq=False)
class SpeedTrace:
    """Crankshaft speed at the times `time_s`, linear in between, held outside.

    Attributes
    ----------
    time_s : ndarray, shape (points,)
        Seconds from the first sample of the recording, increasing. [s]
    speed_hz : ndarray, shape (points,)
        Crankshaft turns per second. [Hz]
    source : str
        ``"heard"`` from the sound, ``"given"`` by the user, ``"log"`` from a file.
    uncertainty : float
        Relative sd of the whole trace (one common factor). [-]
    confidence : float
        For a heard speed: log likelihood over the next best speed [nat]; else nan.
    note : str
        One sentence for people ("heard from the firing comb: 26.7 firings a second").
    """

    time_s: NDArray[np.float64]
    speed_hz: NDArray[np.float64]
    source: Literal["heard", "given", "log"]
    uncertainty: float
    confidence: float = float("nan")
    note: str = ""

    def __post_init__(self) -> None:
        time = np.array(self.time_s, dtype=np.float64)
        speed = np.array(self.speed_hz, dtype=np.float64)
        if time.shape != speed.shape or time.ndim != 1 or time.size == 0:
            raise SpeedError("A speed trace needs as many times as speeds, and at least one.")
        if not (np.all(np.isfinite(speed)) and np.all(speed > 0)):
            raise SpeedError(
                "Engine speed must be above 0 rpm everywhere. Give the speed at which the "
                "clip was recorded."
            )
        if np.any(np.diff(time) <= 0):
            raise SpeedError("The times of a speed trace must increase from row to row.")
        time.flags.writeable = speed.flags.writeable = False
        object.__setattr__(self, "time_s", time)
        object.__setattr__(self, "speed_hz", speed)

    def at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Speed at any times, shape as given. [Hz]"""
        return np.interp(time_s, self.time_s, self.speed_hz)

    @property
    def mean_rpm(self) -> float:
        """Median speed. [1/min]"""
        return 60.0 * float(np.median(self.speed_hz))

    @property
    def low_rpm(self) -> float:
        """Lower end of where the speed was (5 %), uncertainty included. [1/min]"""
        return 60.0 * float(np.quantile(self.speed_hz, 0.05)) * (1 - 2 * self.uncertainty)

    @property
    def high_rpm(self) -> float:
        """Upper end of where the speed was (95 %), uncertainty included. [1/min]"""
        return 60.0 * float(np.quantile(self.speed_hz, 0.95)) * (1 + 2 * self.uncertainty)
