"""Plain sounds at known speeds, and what is needed to look at them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.evidence.order_spectrum import track_orders
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

RATE_HZ = 8000.0


@pytest.fixture(scope="session")
def four() -> Engine:
    """Four cylinders, four strokes, even fire: firing order 2, lines at half orders."""
    return Engine(4, 4, 2.0, 0.5, False, (650, 900), (650, 3000), "clockwise")


@pytest.fixture(scope="session")
def two_stroke(four: Engine) -> Engine:
    """A two-stroke: whole orders only."""
    return replace(four, cylinders=2, strokes=2, order_step=1.0)


@pytest.fixture(scope="session")
def odd_fire(four: Engine) -> Engine:
    """A V6 that fires unevenly: every half order may be loud."""
    return replace(four, cylinders=6, firing_order=3.0, odd_fire=True)


@pytest.fixture(scope="session")
def steady() -> Callable[..., SpeedTrace]:
    """A speed that does not change: `steady(20.0)` is 1200 rpm."""

    def make(speed_hz: float) -> SpeedTrace:
        return SpeedTrace(np.array([0.0]), np.array([speed_hz]), "given", 0.0)

    return make


@pytest.fixture(scope="session")
def wandering() -> Callable[..., SpeedTrace]:
    """A speed that swings slowly by ± `share`, once in 7 s."""

    def make(speed_hz: float, share: float, seconds: float) -> SpeedTrace:
        time = np.arange(0.0, seconds, 0.02)
        swing = 1.0 + share * np.sin(2 * np.pi * time / 7.0)
        return SpeedTrace(time, speed_hz * swing, "given", 0.0)

    return make


@pytest.fixture(scope="session")
def sound_of() -> Callable[..., Recording]:
    """A recording of tones that follow a speed, tones that do not, and white noise.

    `orders` and `fixed_hz` map a position to an rms; noise has rms `noise`.
    """

    def make(
        speed: SpeedTrace,
        seconds: float,
        orders: dict[float, float] | None = None,
        fixed_hz: dict[float, float] | None = None,
        noise: float = 0.02,
        seed: int = 1,
    ) -> Recording:
        time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
        turns = np.cumsum(speed.at(time)) / RATE_HZ
        sound = noise * np.random.default_rng(seed).standard_normal(time.size)
        for order, rms in (orders or {}).items():
            sound += rms * np.sqrt(2) * np.sin(2 * np.pi * order * turns + order)
        for hz, rms in (fixed_hz or {}).items():
            sound += rms * np.sqrt(2) * np.sin(2 * np.pi * hz * time)
        return Recording(sound.astype(np.float32), RATE_HZ)

    return make


@pytest.fixture(scope="session")
def stretches() -> Callable[..., Stretches]:
    """Stretches to use: `stretches((0, 10), (12, 22))`."""

    def make(*parts: tuple[float, float]) -> Stretches:
        return Stretches(tuple(Stretch(*part) for part in parts), ())

    return make


@pytest.fixture(scope="session")
def tracked(four: Engine, stretches: Callable[..., Stretches]) -> Callable[..., OrderSpectrum]:
    """Order spectrum of a whole recording, or of the parts given."""

    def make(
        recording: Recording,
        speed: SpeedTrace,
        parts: Iterable[tuple[float, float]] = (),
        engine: Engine = four,
        highest_hz: float = 3600.0,
    ) -> OrderSpectrum:
        used = stretches(*(tuple(parts) or ((0.0, recording.duration_s),)))
        return track_orders(recording, used, speed, engine, highest_hz)

    return make


@pytest.fixture(scope="session")
def band_at() -> Callable[[OrderSpectrum, float], OrderBand]:
    """The band of a spectrum that holds an order."""

    def find(spectrum: OrderSpectrum, order: float) -> OrderBand:
        return next(b for b in spectrum.bands if b.orders[0] <= order <= b.orders[-1])

    return find
