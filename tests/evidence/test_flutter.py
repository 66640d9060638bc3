"""Loudness that swings at a rate in Hz, apart from what the engine makes swing."""

import numpy as np
import pytest

from acoustic.evidence.flutter import find_flutter, flutter_finding
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.recording.recording import Recording

RATE_HZ = 8000.0
SECONDS = 24.0
SPEED_HZ = 13.0
COUNT = int(SECONDS * RATE_HZ)
TIME = np.arange(COUNT) / RATE_HZ
NOISE = 0.05 * np.random.default_rng(6).standard_normal(COUNT)


@pytest.fixture(scope="module")
def looked_at(stretches):
    """Short-time spectrum of a whole sound."""

    def look(sound: np.ndarray):
        recording = Recording(sound.astype(np.float32), RATE_HZ)
        used = stretches((0.0, sound.size / RATE_HZ))
        return short_time_spectrum(recording, used, 0.0053, 3600.0)

    return look


def swinging(turns: np.ndarray, depth: float) -> np.ndarray:
    """Noise whose amplitude swings once for each step of `turns`."""
    return NOISE * (1 + depth * np.sin(2 * np.pi * turns))


def test_a_swing_off_the_half_orders(looked_at, steady, four) -> None:
    """17.7 Hz at 13 turns a second is order 1.36: neither 1 nor 1.5."""
    found = find_flutter(looked_at(swinging(17.7 * TIME, 0.3)), steady(SPEED_HZ), four)
    assert found.rate_hz == pytest.approx(17.7, abs=0.2)
    assert found.excess_db > 10
    finding = flutter_finding(looked_at(swinging(17.7 * TIME, 0.3)), steady(SPEED_HZ), four)
    assert finding.ln_ratio > 2


def test_the_engines_own_swing_is_none(looked_at, steady, four) -> None:
    """Firing order 2 and half order 1.5 are the engine's; plain noise swings with nothing."""
    for turns in (2.0 * SPEED_HZ * TIME, 1.5 * SPEED_HZ * TIME):
        finding = flutter_finding(looked_at(swinging(turns, 0.5)), steady(SPEED_HZ), four)
        assert finding.ln_ratio < 0
    assert flutter_finding(looked_at(NOISE), steady(SPEED_HZ), four).ln_ratio < 0


def test_a_swing_that_follows_the_speed_is_told(looked_at, wandering, four) -> None:
    """Under a speed that swings by 2.5 % order 2.3 is sharp over orders and a flutter is not."""
    speed = wandering(SPEED_HZ, 0.025, SECONDS)
    turned = np.cumsum(speed.at(TIME)) / RATE_HZ
    turning = find_flutter(looked_at(swinging(2.3 * turned, 0.3)), speed, four)
    free = find_flutter(looked_at(swinging(2.3 * SPEED_HZ * TIME, 0.3)), speed, four)
    assert turning.sharp_over_orders > 0.8 > turning.sharp_over_hz
    assert free.sharp_over_hz > 0.8 > free.sharp_over_orders
    assert turning.turning > 0.8 > 0.5 > free.turning


def test_nothing_to_look_at(looked_at, steady, four) -> None:
    """Silence and two seconds say nothing."""
    for sound in (0 * NOISE, NOISE[: int(2 * RATE_HZ)], NOISE[:10]):
        assert flutter_finding(looked_at(sound), steady(SPEED_HZ), four).ln_ratio == 0.0
