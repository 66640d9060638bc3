"""Which bins are the engine's own."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.evidence.engine_bins import (
    active_comb_bins,
    distance_to_multiples,
    engine_bins,
    lobes_of_hidden_lines,
)


def _orders(low: float, high: float, turns: int) -> np.ndarray:
    return np.arange(round(low * turns), round(high * turns) + 1) / turns


def _flag_at(orders: np.ndarray, flags: np.ndarray, order: float) -> bool:
    return bool(flags[np.argmin(np.abs(orders - order))])


def test_distance_to_multiples() -> None:
    """5.3 lies 0.2 from 5.5, 5.5 on it and 0.05 from nothing nearer."""
    found = distance_to_multiples(np.array([5.3, 5.5, 5.55]), 0.5)
    assert found == pytest.approx([0.2, 0.0, 0.05])


def test_every_half_order_of_a_four_stroke(four) -> None:
    """With 64 turns 5 bins round each half order go: 5/32 of the places."""
    orders = _orders(1.0, 11.0, 64)
    flags = engine_bins(orders, 64, four)
    for order in (2.0, 4.5, 7.0):
        assert _flag_at(orders, flags, order)
    for order in (2.25, 4.3, 6.75):
        assert not _flag_at(orders, flags, order)
    assert flags.mean() == pytest.approx(5 / 32, abs=0.01)


def test_a_two_stroke_has_whole_orders_only(two_stroke) -> None:
    """Half orders are free there."""
    orders = _orders(1.0, 11.0, 64)
    flags = engine_bins(orders, 64, two_stroke)
    assert _flag_at(orders, flags, 5.0)
    assert not _flag_at(orders, flags, 5.5)


def test_short_segments_leave_out_firing_multiples_wide_and_the_rest_narrow(four) -> None:
    """16 turns: 0.15 orders round 50 (firing), only the middle bin round 51 and 50.5."""
    orders = _orders(45.0, 60.0, 16)
    flags = engine_bins(orders, 16, four)
    assert _flag_at(orders, flags, 50.0) and _flag_at(orders, flags, 50.125)
    for order in (51.0, 50.5):
        assert _flag_at(orders, flags, order)
        assert not _flag_at(orders, flags, order + 2 / 16)


def test_an_odd_fire_engine_is_loud_at_any_half_order(odd_fire, four) -> None:
    """None of its half orders stands out, so all are left out as widely as firing multiples."""
    orders = _orders(45.0, 60.0, 16)
    odd = engine_bins(orders, 16, odd_fire)
    even = engine_bins(orders, 16, replace(four, firing_order=3.0))
    assert np.all(odd | ~even)
    assert _flag_at(orders, odd, 50.5 + 2 / 16) and not _flag_at(orders, even, 50.5 + 2 / 16)


def _noise_excess(orders: np.ndarray, freedom: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.log(rng.chisquare(freedom, orders.size) / freedom)


def test_a_comb_that_shows_is_left_out_wider(four) -> None:
    """Half-order lines 6 dB up between orders 60 and 100 go, where they are and nowhere else."""
    orders = _orders(40.0, 130.0, 16)
    excess = _noise_excess(orders, 60.0, 3)
    combed = (orders > 60) & (orders < 100)
    # A Hann line: the bins beside its top hold a quarter of its power.
    for away, power in ((0.0, 3.0), (1 / 16, 0.75)):
        there = combed & (np.abs(distance_to_multiples(orders, 0.5) - away) < 0.03)
        excess[there] = np.log(np.exp(excess[there]) + power)
    flags = active_comb_bins(orders, excess, 16, 60.0, four)
    on_comb = distance_to_multiples(orders, 0.5) < 0.04
    firing = distance_to_multiples(orders, 2.0) < 0.2
    assert flags[on_comb & ~firing & (orders > 65) & (orders < 95)].mean() > 0.95
    assert not flags[(orders < 50) | (orders > 110)].any()
    assert not flags[distance_to_multiples(orders, 0.5) > 0.15].any()


def test_noise_shows_no_comb(four) -> None:
    """In noise alone hardly a place counts as comb (3 sd of 1 in 700 looks)."""
    orders = _orders(40.0, 130.0, 16)
    shares = [
        active_comb_bins(orders, _noise_excess(orders, 60.0, seed), 16, 60.0, four).mean()
        for seed in range(20)
    ]
    assert np.mean(shares) < 0.01


def test_one_loud_tone_is_no_comb(four) -> None:
    """A part's line on a half order, 20 dB up, does not make the half orders the engine's."""
    orders = _orders(40.0, 130.0, 16)
    excess = _noise_excess(orders, 60.0, 4)
    excess[np.argmin(np.abs(orders - 75.5))] += np.log(100.0)
    assert not active_comb_bins(orders, excess, 16, 60.0, four).any()


def test_skirt_of_a_hidden_line_is_hidden_too() -> None:
    """A line at a hidden zone's edge falls away outside it; that slope is no line."""
    hidden = np.zeros(20, dtype=bool)
    hidden[8:11] = True
    excess = np.zeros(20)
    excess[8:14] = [0.5, 3.0, 4.0, 3.0, 1.5, 0.2]
    lobes = lobes_of_hidden_lines(excess, hidden)
    assert np.flatnonzero(lobes).tolist() == [11, 12, 13]


def test_a_line_beside_a_hidden_zone_stays_visible() -> None:
    """Where the level rises away from the zone, the line is out there."""
    hidden = np.zeros(20, dtype=bool)
    hidden[8:11] = True
    excess = np.zeros(20)
    excess[10:14] = [0.5, 2.0, 4.0, 2.0]
    assert not lobes_of_hidden_lines(excess, hidden)[11:14].any()
