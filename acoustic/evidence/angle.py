"""From time to crank angle: samples at equal steps of the crankshaft's turn.

Computed order tracking: the speed is integrated to an angle and the sound is
interpolated at equal angles, so that a line that follows the engine stays in one bin
however the idle wanders.

References
----------
.. [1] K. R. Fyfe, E. D. S. Munck, Analysis of computed order tracking, Mechanical
   Systems and Signal Processing 11 (1997) 187-205 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from acoustic.recording.recording import Recording, Stretch
from acoustic.recording.speed_trace import SpeedTrace

_ANGLE_STEP_S = 0.005
# Fifth-order splines on a grid twice as fine as the band needs keep false tones from
# interpolation below -75 dB; linear interpolation would make tones of its own.
_SPLINE_ORDER = 5
_OVERSAMPLING = 2


@dataclass(frozen=True, slots=True, eq=False)
class AngularSound:
    """Sound of one stretch at equal steps of crank angle.

    Attributes
    ----------
    samples : ndarray of float32, shape (points,)
    per_revolution : int
    highest_order : float
        Orders above this were filtered away or are not to be trusted.
    """

    samples: NDArray[np.float32]
    per_revolution: int
    highest_order: float

    @property
    def revolutions(self) -> float:
        """Turns of the crankshaft covered."""
        return self.samples.size / self.per_revolution


def points_per_revolution(highest_order: float, speed_spread: float) -> int:
    """Points per turn, a power of two, that carry `highest_order`.

    `speed_spread` is highest over lowest speed: the low-pass is set in Hz by the lowest
    speed and must still pass the highest order at the highest speed.
    """
    needed = 2.3 * highest_order * speed_spread
    return int(2 ** np.ceil(np.log2(needed)))


def resample_to_angle(
    recording: Recording, stretch: Stretch, speed: SpeedTrace, per_revolution: int
) -> AngularSound:
    """Resample one stretch at equal crank angles.

    Parameters
    ----------
    recording : Recording
    stretch : Stretch
    speed : SpeedTrace
    per_revolution : int
        Points per turn.

    Returns
    -------
    AngularSound
    """
    rate_hz = recording.sample_rate_hz
    first, last = int(stretch.start_s * rate_hz), int(stretch.end_s * rate_hz)
    sound = recording.samples[first:last]
    time_s = first / rate_hz + np.arange(0.0, sound.size / rate_hz, _ANGLE_STEP_S)
    speed_hz = speed.at(time_s)
    passed_hz = 0.5 * per_revolution * float(speed_hz.min())
    sound, rate_hz = _limit_band(sound, rate_hz, passed_hz)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (speed_hz[1:] + speed_hz[:-1]) * _ANGLE_STEP_S)])
    wanted = np.arange(int(turns[-1] * per_revolution)) / per_revolution
    position = np.interp(wanted, turns, np.arange(time_s.size) * (_ANGLE_STEP_S * rate_hz))
    samples = map_coordinates(
        sound, position[None, :], order=_SPLINE_ORDER, mode="nearest", output=np.float32
    )
    # Band limits above which soxr's transition or the recording's own Nyquist bites.
    highest_hz = 0.92 * min(passed_hz, recording.sample_rate_hz / 2)
    return AngularSound(samples, per_revolution, highest_hz / float(speed_hz.max()))


def _limit_band(
    sound: NDArray[np.float32], rate_hz: float, passed_hz: float
) -> tuple[NDArray[np.float32], float]:
    """Low-pass at `passed_hz` and bring the rate to about twice what that needs."""
    if rate_hz > 2 * passed_hz:
        narrow_hz = float(np.ceil(2 * passed_hz))
        sound = soxr.resample(sound, rate_hz, narrow_hz)
        rate_hz = narrow_hz
    if rate_hz < 2 * _OVERSAMPLING * passed_hz:
        sound = soxr.resample(sound, rate_hz, rate_hz * _OVERSAMPLING)
        rate_hz *= _OVERSAMPLING
    return np.asarray(sound, dtype=np.float32), rate_hz
