"""Trains of events behind a family's envelope lines."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive, ExpectedLine
from acoustic.drive.expected import expected_families
from acoustic.synthetic.trains import Train, choose_train, find_trains


def line(order: float, label: str, chance: float = 0.5) -> ExpectedLine:
    """One line of the envelope."""
    return ExpectedLine(order, label, chance, 0.0, natural=False, shows_as="impacts")


RACE = (
    line(5.0, "race", 0.8),
    line(10.0, "race, 2nd harmonic"),
    line(3.8, "race less one turn", 0.6),
    line(6.2, "race plus one turn"),
    line(8.8, "second strike less one turn"),
    line(11.2, "second strike plus one turn"),
    line(1.2, "ring through the load"),
    line(2.4, "ring through the load, 2nd harmonic"),
)


def test_side_lines_tell_the_turn_and_are_no_trains() -> None:
    """Race at 5 with lines 1.2 to both sides: one train of 5 that swells 1.2 times a turn."""
    (train,) = find_trains(RACE)
    assert (train.label, train.order) == ("race", 5.0)
    assert train.turn_order == pytest.approx(1.2)
    assert train.turn_probability == 0.6
    assert train.probability == 0.8


def test_events_that_come_twice_a_turn_only() -> None:
    """A formula with harmonics 2 and 4 only strikes twice a turn."""
    (train,) = find_trains([line(2.0, "joint, 2nd harmonic"), line(4.0, "joint, 4th harmonic")])
    assert train.order == 2.0
    assert train.turn_order is None


def test_outer_race_of_an_idler_swells_with_its_ring(drive: Drive) -> None:
    """The outer ring turns: 6203 has 8 balls, d / D = 6.75 / 28.5 (published table).

    Its outer race is struck 8/2 (1 - 6.75/28.5) = 3.053 times a turn of the ring.
    """
    families = {(f.part, f.mechanism): f for f in expected_families(drive)}
    trains = find_trains(families["idler", "outer race"].envelope_lines)
    turn = families["idler", "run-out"].lines[0].order
    (train,) = trains
    assert train.order / turn == pytest.approx(3.053, abs=0.01)
    assert train.turn_order == pytest.approx(turn)
    (inner,) = find_trains(families["idler", "inner race"].envelope_lines)
    assert inner.turn_order is None


def test_trains_are_drawn_by_their_chance(rng: np.random.Generator) -> None:
    """Chances .6 and .2: three of four draws."""
    likely, seldom = (
        Train(name, 1.0, (line(1.0, name, c),)) for name, c in (("a", 0.6), ("b", 0.2))
    )
    drawn = [choose_train((likely, seldom), rng).label for _ in range(400)]
    assert drawn.count("a") / 400 == pytest.approx(0.75, abs=0.08)
