"""The engine comb: orders and scores."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.recording.speed_comb import comb_kernel, engine_orders, firing_strength

BIN_HZ, BINS = 0.5, 1600


def engine_of(cylinders: int, strokes: int = 4) -> Engine:
    per_turn = cylinders / 2 if strokes == 4 else float(cylinders)
    step = 0.5 if strokes == 4 else 1.0
    return Engine(
        cylinders, strokes, per_turn, step, False, (600.0, 1100.0), (600.0, 2200.0), "clockwise"
    )


def test_orders_of_a_four() -> None:
    """A four-stroke four fires twice a turn (handbook): orders 2, 4 are firing orders."""
    order, firing, whole = engine_orders(engine_of(4), 4.0)
    assert order.tolist() == [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0]
    assert order[firing].tolist() == [2.0, 4.0]
    assert order[whole].tolist() == [1.0, 2.0, 3.0, 4.0]


def test_orders_of_a_three_and_of_a_two_stroke() -> None:
    """A four-stroke three fires 1.5 times a turn; a two-stroke two 2 times, no halves."""
    order, firing, _ = engine_orders(engine_of(3), 3.0)
    assert order[firing].tolist() == [1.5, 3.0]
    order, firing, _ = engine_orders(engine_of(2, strokes=2), 4.0)
    assert order.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert order[firing].tolist() == [2.0, 4.0]


def test_strength_of_an_uneven_twin() -> None:
    """Firings at 0 and 270 of 720 degrees: order o turns the second by 270 o degrees.

    Two unit arrows at an angle a have a mean of |cos(a/2)|: order 2 cancels (540 degrees),
    order 4 adds up (1080), orders 0.5 and 1.5 by hand.
    """
    twin = replace(engine_of(2), odd_fire=True, firing_phases=(0.0, 0.375))
    order = np.array([0.5, 1.0, 1.5, 2.0, 2.5, 4.0])
    by_hand = [np.cos(np.radians(67.5)), np.sqrt(0.5), np.cos(np.radians(22.5)), 0.0]
    by_hand += [by_hand[2], 1.0]
    assert firing_strength(twin, order) == pytest.approx(by_hand, abs=1e-9)


def test_even_angles_stated_are_even_firing() -> None:
    """Angles of an even six give the strengths it has without them: 1 at 3, 6, else 0."""
    six = engine_of(6)
    stated = replace(six, firing_phases=tuple(k / 6 for k in range(6)))
    order = np.arange(1, 13) * 0.5
    assert firing_strength(stated, order) == pytest.approx(firing_strength(six, order), abs=1e-9)
    assert np.flatnonzero(firing_strength(stated, order) > 0.5).tolist() == [5, 11]


def test_the_comb_is_highest_at_the_true_speed() -> None:
    """Lines at the half orders of 13 turns a second, firing orders higher."""
    speeds_hz = np.array([6.5, 9.75, 10.4, 13.0, 13.4, 15.6, 17.33, 19.5, 26.0])
    level = np.zeros((1, BINS), dtype=np.float32)
    for cycle in range(1, 100):
        place = round(6.5 * cycle / BIN_HZ)
        if place < BINS:
            level[0, place] = 4.0 if cycle % 4 == 0 else 1.0
    score = level @ comb_kernel(engine_of(4), speeds_hz, BINS, BIN_HZ, 600.0)
    assert speeds_hz[int(score.argmax())] == 13.0


def test_the_cylinder_count_decides_which_multiple_fits() -> None:
    """Lines at 27 Hz and its multiples are 810 rpm on a four and 540 rpm on a six."""
    speeds_hz = np.array([9.0, 13.5, 18.0])
    level = np.zeros((1, BINS), dtype=np.float32)
    level[0, (np.arange(27, 600, 27) / BIN_HZ).astype(int)] = 4.0
    four, six = (
        level @ comb_kernel(engine_of(cylinders), speeds_hz, BINS, BIN_HZ, 600.0)
        for cylinders in (4, 6)
    )
    assert speeds_hz[int(four.argmax())] == 13.5
    assert speeds_hz[int(six.argmax())] == 9.0


def test_white_noise_scores_about_one() -> None:
    """Independent levels of sd 1: score of mean 0 and sd about 1 at every speed."""
    rng = np.random.default_rng(3)
    level = rng.standard_normal((2000, BINS)).astype(np.float32)
    score = level @ comb_kernel(engine_of(4), np.array([11.0, 13.7, 31.3]), BINS, BIN_HZ, 600.0)
    assert score.mean(axis=0) == pytest.approx(0.0, abs=0.1)
    assert np.all((score.std(axis=0) > 0.7) & (score.std(axis=0) < 1.4))
