"""Crank angle that keeps step with the firings however small an error the speed trace has.

A speed that is wrong by 0.05 % has lost a quarter of a firing interval after 25 s of idle,
and nothing that knocks with the firing would seem to. So one line of the engine's own comb
is shifted to zero frequency; the phase that is left says how far the angle has drifted, and
is taken out again. The angle's zero stays arbitrary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.drive.drive import Engine
from acoustic.evidence.stretch_spectrum import StretchSpectrum
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

_ANGLE_STEP_S = 0.005
_TOP_HZ = 400.0
_LOWEST_HZ = 20.0
_MEANS_PER_TURN = 4


@dataclass(frozen=True, slots=True)
class PhaseSettings:
    """How the drift is followed.

    Attributes
    ----------
    bandwidth_order : float
        Half-power bandwidth about the engine's line: wider follows faster drift, narrower
        lets in less noise.
    highest_multiple : int
        Firing multiples looked at, the strongest of which is followed.
    least_ratio : float
        Power in that bandwidth over the same beside the line, below which the given speed
        is trusted more than the line.
    """

    bandwidth_order: float = 0.15
    highest_multiple: int = 6
    least_ratio: float = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class CrankAngle:
    """Crank angle over a stretch, linear between the points.

    Attributes
    ----------
    time_s, turns : ndarray, shape (points,)
        Seconds from the first sample of the recording; turns of the crankshaft, 0 at the
        stretch's start. [s], [rev]
    followed_order : float or None
        Line of the engine the angle was kept in step with; None if none stood out.
    """

    time_s: Floats
    turns: Floats
    followed_order: float | None

    def at(self, time_s: Floats) -> Floats:
        """Turns at any times. [rev]"""
        return np.asarray(np.interp(time_s, self.time_s, self.turns))


def crank_angle(
    sound: StretchSpectrum, speed: SpeedTrace, engine: Engine, settings: PhaseSettings
) -> CrankAngle:
    """Crank angle of a stretch, in step with the engine's own strongest low line.

    Parameters
    ----------
    sound : StretchSpectrum
    speed : SpeedTrace
    engine : Engine
        An engine of even fire is followed at its firing order or a multiple of it; one
        that fires unevenly at any line of its comb.
    settings : PhaseSettings
    """
    time_s = sound.start_s + np.arange(0.0, sound.duration_s + _ANGLE_STEP_S, _ANGLE_STEP_S)
    speed_hz = speed.at(time_s)
    steps = 0.5 * (speed_hz[1:] + speed_hz[:-1]) * _ANGLE_STEP_S
    turns = np.concatenate([[0.0], np.cumsum(steps)])
    low, rate_hz = sound.band(0.0, _TOP_HZ)
    at_s = sound.start_s + np.arange(low.size) / rate_hz
    angle = np.interp(at_s, time_s, turns)
    mean_hz = float(np.median(speed_hz))
    # Means over a quarter turn: what they fold lies whole turns away from the line.
    block = max(1, round(rate_hz / mean_hz / _MEANS_PER_TURN))
    block_s = at_s[: at_s.size // block * block].reshape(-1, block).mean(axis=1)
    best: tuple[float, float, Floats] | None = None
    for order in _lines_to_follow(engine, mean_hz, settings):
        drift, ratio = _drift(low, angle, order, block, settings)
        if ratio > settings.least_ratio and (best is None or ratio > best[1]):
            best = (order, ratio, drift)
    if best is None:
        return CrankAngle(time_s, turns, None)
    return CrankAngle(time_s, turns + np.interp(time_s, block_s, best[2]), best[0])


def _lines_to_follow(engine: Engine, mean_hz: float, settings: PhaseSettings) -> list[float]:
    firing = engine.firing_order
    step = engine.order_step if engine.odd_fire else firing
    count = round(settings.highest_multiple * firing / step)
    orders = [step * number for number in range(1, count + 1)]
    return [o for o in orders if _LOWEST_HZ < o * mean_hz < 0.8 * _TOP_HZ]


def _drift(
    low: NDArray[np.complex64],
    angle: Floats,
    order: float,
    block: int,
    settings: PhaseSettings,
) -> tuple[Floats, float]:
    """How far the angle lags behind the line [rev], and how far the line stands out."""
    # Half-power bandwidth of a Gaussian low-pass: exp(-(2 pi f s)^2) = 1/2.
    spread = np.sqrt(np.log(2.0)) / (np.pi * settings.bandwidth_order) * _MEANS_PER_TURN
    signals = []
    for place in (
        order,
        order - 2 * settings.bandwidth_order,
        order + 2 * settings.bandwidth_order,
    ):
        shifted = low * np.exp((-2 * np.pi * place * angle) * 1j)
        shifted = shifted[: low.size // block * block].reshape(-1, block).mean(axis=1)
        real, imaginary = (gaussian_filter1d(part, spread) for part in (shifted.real, shifted.imag))
        signals.append(real + 1j * imaginary)
    line, *beside = signals
    noise = np.mean([np.mean(np.abs(signal) ** 2) for signal in beside])
    phase = np.unwrap(np.angle(line)) / (2 * np.pi * order)
    return phase - phase[0], float(np.mean(np.abs(line) ** 2) / max(noise, 1e-30))
