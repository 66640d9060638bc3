"""Which multiple of a followed speed is the engine's."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.recording.speed_multiple import line_odds, log_likelihood, multiples
from acoustic.recording.speed_sound import SpeedSound

RATE_HZ = 3000.0
SPEED_HZ = 13.0


def engine_of(cylinders: int) -> Engine:
    return Engine(
        cylinders, 4, cylinders / 2, 0.5, False, (600.0, 1100.0), (600.0, 2200.0), "clockwise"
    )


def steady_engine(cylinders: int, others: float, seed: int = 5) -> SpeedSound:
    """Half orders of 13 turns a second in noise, those between firings at `others`."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(15 * RATE_HZ)) / RATE_HZ
    sound = 0.5 * rng.standard_normal(time_s.size)
    for cycle in range(1, 90):
        level = 0.2 if cycle % cylinders == 0 else 0.2 * others
        phase = 2 * np.pi * (0.5 * cycle * SPEED_HZ * time_s + rng.uniform())
        sound += level * np.cos(phase)
    return SpeedSound(sound.astype(np.float32), RATE_HZ, ((0.0, 15.0),), 20.0, 400.0)


def test_multiples_are_ratios_of_small_whole_numbers() -> None:
    """Between 0.59 and 1.5 with terms up to 8, written out by hand."""
    fifths = [3 / 5, 4 / 5, 6 / 5, 7 / 5]
    expected = [5 / 8, 2 / 3, 5 / 7, 3 / 4, 5 / 6, 6 / 7, 7 / 8, 1]
    expected += [8 / 7, 7 / 6, 5 / 4, 4 / 3, 3 / 2, *fifths]
    assert multiples(0.59, 1.5) == pytest.approx(sorted(expected))


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8])
@pytest.mark.parametrize("others", [0.2, 0.5])
def test_the_true_multiple_is_likeliest(cylinders: int, others: float) -> None:
    """Of all multiples from a third to three times the speed, 1 wins."""
    odds = line_odds(steady_engine(cylinders, others), 3.0, 400.0, 40.0)
    assert odds is not None
    ratios = multiples(0.3, 3.1)
    found = [log_likelihood(odds, ratio * SPEED_HZ, engine_of(cylinders)) for ratio in ratios]
    assert ratios[int(np.argmax(found))] == 1.0


def test_noise_speaks_for_no_speed() -> None:
    """White noise: every multiple is less likely than no engine, or hardly more."""
    noise = np.random.default_rng(7).standard_normal(int(15 * RATE_HZ)).astype(np.float32)
    odds = line_odds(SpeedSound(noise, RATE_HZ, ((0.0, 15.0),), 20.0, 400.0), 3.0, 400.0, 40.0)
    assert odds is not None
    assert max(log_likelihood(odds, r * SPEED_HZ, engine_of(4)) for r in multiples(0.3, 3.1)) < 6


def test_too_short_a_piece_says_nothing() -> None:
    """2 s hold no frame of 3 s."""
    noise = np.zeros(6000, dtype=np.float32)
    view = SpeedSound(noise, RATE_HZ, ((0.0, 2.0),), 20.0, 400.0)
    assert line_odds(view, 3.0, 400.0, 40.0) is None
