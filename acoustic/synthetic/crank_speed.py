"""How the crankshaft turns in a recording: held, wandering or swept, and its angle.

Everything tonal is made on a coarse clock (about 16 kHz) that starts a little before the
recording and ends a little after it, so that nothing rings at its ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.drive.drive import Engine
from acoustic.synthetic.random_curves import Floats, draw, slow_curve
from acoustic.synthetic.scene_settings import Condition

CONTROL_RATE_HZ = 100.0
MARGIN_S = 0.1
IDLE_WANDER = (0.004, 0.012)  # relative rms at idle; common practice, no source
HELD_WANDER = (0.0015, 0.004)  # with a steady foot; common practice, no source
CYCLE_WANDER = 0.0005  # from one working cycle to the next; common practice, no source
HELD_ABOVE_RPM = 1200.0
RUN_DOWN_S = (0.7, 1.3)  # from switch-off to standstill; common practice, no source
QUIETER_WHEN_SLOWER = 1.5  # power of the speed an engine's amplitude falls with; the same


@dataclass(frozen=True, slots=True)
class Clock:
    """Sample counts and rates of a scene.

    `coarse_samples` times `factor` samples make the full-rate signal, of which
    `samples` from `first` on are the recording.
    """

    rate_hz: float
    factor: int
    coarse_samples: int
    first: int
    samples: int

    @property
    def coarse_rate_hz(self) -> float:
        """Rate of the coarse clock. [Hz]"""
        return self.rate_hz / self.factor

    @property
    def full_samples(self) -> int:
        """Length of the full-rate signal, margins included."""
        return self.coarse_samples * self.factor


@dataclass(frozen=True, slots=True, eq=False)
class CrankTurning:
    """Crankshaft speed and angle on the coarse clock.

    Attributes
    ----------
    speed_hz, angle_rev : ndarray of float64, shape (coarse_samples,)
        The angle starts at 0 with the first sample of the margin. [Hz], [rev]
    control_time_s, control_speed_hz : ndarray of float64
        The same speed at 100 Hz, time from the first sample of the recording.
    swing : float
        Relative amplitude of the speed swing within a firing interval. [-]
    swing_phase : float
        [rad]
    switched_off_s, stands_s : float or None
        When the engine is switched off and when it stands still, from the first sample
        of the recording; None where it runs to the end. [s]
    """

    clock: Clock
    speed_hz: Floats
    angle_rev: Floats
    control_time_s: Floats
    control_speed_hz: Floats
    swing: float
    swing_phase: float
    switched_off_s: float | None = None
    stands_s: float | None = None

    def in_recording(self) -> slice:
        """Coarse samples that lie in the recording."""
        first = self.clock.first // self.clock.factor
        return slice(first, first + math.ceil(self.clock.samples / self.clock.factor))

    @property
    def mean_speed_hz(self) -> float:
        """Mean over the recording, as long as the engine is on. [Hz]"""
        inside = self.in_recording()
        stop = inside.stop
        if self.switched_off_s is not None:
            stop = inside.start + round(self.switched_off_s * self.clock.coarse_rate_hz)
        return float(np.mean(self.speed_hz[inside.start : stop]))

    def running_gain(self) -> NDArray[np.float32]:
        """Amplitude of all that the engine drives: 1 while it is on, 0 when it stands.

        Shape (coarse_samples,).
        """
        gain = np.ones(self.clock.coarse_samples, np.float32)
        if self.switched_off_s is not None:
            off = round((self.switched_off_s + MARGIN_S) * self.clock.coarse_rate_hz)
            slower = self.speed_hz[off:] / self.speed_hz[off]
            gain[off:] = np.clip(slower, 0.0, 1.0) ** QUIETER_WHEN_SLOWER
        return gain


def scene_clock(duration_s: float, sample_rate_hz: int) -> Clock:
    """Lay out the samples of a recording of this length."""
    factor = max(1, sample_rate_hz // 16000)
    coarse_rate = sample_rate_hz / factor
    wanted = math.ceil((duration_s + 2 * MARGIN_S) * coarse_rate)
    return Clock(
        rate_hz=float(sample_rate_hz),
        factor=factor,
        coarse_samples=fft.next_fast_len(wanted, real=True),
        first=round(MARGIN_S * coarse_rate) * factor,
        samples=round(duration_s * sample_rate_hz),
    )


def turn_crank(
    condition: Condition,
    engine: Engine,
    clock: Clock,
    turn_fluctuation: tuple[float, float],
    rng: np.random.Generator,
) -> CrankTurning:
    """Draw how the crankshaft turns under this condition."""
    time = np.arange(clock.coarse_samples) / clock.coarse_rate_hz - MARGIN_S
    length_s = clock.coarse_samples / clock.coarse_rate_hz
    points = math.ceil(length_s * CONTROL_RATE_HZ) + 2
    control_time = np.arange(points) / CONTROL_RATE_HZ - MARGIN_S
    control_speed = _mean_course_hz(condition, control_time) * (
        1.0 + _wander(condition, engine, points, rng)
    )
    off_s = stands_s = None
    if condition.switch_off_s is not None:
        off_s = condition.duration_s - condition.switch_off_s
        stands_s = off_s + draw(rng, RUN_DOWN_S)
        control_speed *= np.interp(control_time, (off_s, stands_s), (1.0, 0.0))
    speed = np.interp(time, control_time, control_speed)
    swing = draw(rng, turn_fluctuation) * (800.0 / condition.rpm) ** 2
    return CrankTurning(
        clock=clock,
        speed_hz=speed,
        angle_rev=np.cumsum(speed) / clock.coarse_rate_hz,
        control_time_s=control_time,
        control_speed_hz=control_speed,
        swing=swing,
        swing_phase=draw(rng, (0.0, 2.0 * np.pi)),
        switched_off_s=off_s,
        stands_s=stands_s,
    )


def _mean_course_hz(condition: Condition, time_s: Floats) -> Floats:
    """Give the held speed, or the even sweep from the first to the last speed."""
    start = condition.rpm / 60.0
    end = start if condition.end_rpm is None else condition.end_rpm / 60.0
    share = np.clip(time_s / condition.duration_s, 0.0, 1.0)
    return np.asarray(start + (end - start) * share, dtype=np.float64)


def _wander(
    condition: Condition, engine: Engine, points: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Draw the relative speed wander: slow drift, hunting of the governor, cycle scatter."""
    wander = condition.wander
    if wander is None:
        wander = draw(rng, IDLE_WANDER if condition.rpm < HELD_ABOVE_RPM else HELD_WANDER)
    drift = slow_curve(rng, points, CONTROL_RATE_HZ, draw(rng, (0.1, 0.4)), steepness=1.5)
    hunting = slow_curve(rng, points, CONTROL_RATE_HZ, draw(rng, (0.6, 1.5)), steepness=3.0)
    share = draw(rng, (0.2, 0.7))
    curve = np.sqrt(1.0 - share) * drift + np.sqrt(share) * hunting
    curve /= np.sqrt(np.mean(curve**2))
    cycle_hz = condition.rpm / 60.0 * engine.order_step
    cycles = slow_curve(rng, points, CONTROL_RATE_HZ, min(cycle_hz, 20.0), steepness=2.0)
    return np.asarray(wander * curve + min(CYCLE_WANDER, wander) * cycles, dtype=np.float64)
