"""Firing orders of four-stroke engines; sources in engine_orders.csv."""

import pytest

from acoustic.drive.engine import fires_unevenly, firing_order, order_step


def test_table_of_cylinders(published) -> None:
    """Firing order, interval and Hz of one to twelve cylinders."""
    for row in published("engine_orders.csv"):
        order = firing_order(int(row["cylinders"]), strokes=4)
        assert order == float(row["firing_order"])
        assert 360 / order == pytest.approx(float(row["firing_interval_deg"]))
        assert order * 800 / 60 == pytest.approx(float(row["firing_hz_at_800_rpm"]), abs=1e-4)
        assert order * 3000 / 60 == pytest.approx(float(row["firing_hz_at_3000_rpm"]), abs=1e-4)


def test_one_weak_cylinder_shows_at_half_order() -> None:
    """A four-stroke repeats every two turns, so its lines stand half an order apart."""
    assert order_step(4) == 0.5
    assert order_step(2) == 1.0


def test_ninety_degree_v6_on_three_crankpins_fires_unevenly() -> None:
    """Odd fire at 90 and 150 degrees in turn (from memory); an even V6 at 120."""
    assert fires_unevenly([0, 90, 240, 330, 480, 570], strokes=4)
    assert not fires_unevenly([0, 120, 240, 360, 480, 600], strokes=4)
