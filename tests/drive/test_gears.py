"""Gear trains: ratio, sense, mesh."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.drive.gears import gear_train

teeth = st.lists(st.integers(8, 200), min_size=2, max_size=5)


@given(teeth)
def test_mesh_is_the_same_for_every_wheel(counts) -> None:
    """Teeth times speed is one figure along the train, and only the ends set the ratio."""
    train = gear_train(counts)
    for count, turn in zip(counts, train.turns, strict=True):
        assert count * turn == pytest.approx(train.mesh)
    assert train.ratio == pytest.approx(counts[0] / counts[-1])


@given(teeth)
def test_there_and_back(counts) -> None:
    """The train driven from its other end has the inverse ratio and the same sense."""
    forth, back = gear_train(counts), gear_train(counts[::-1])
    assert forth.ratio * back.ratio == pytest.approx(1)
    assert forth.sense == back.sense == (1 if len(counts) % 2 else -1)


@given(st.integers(8, 200), st.integers(8, 200))
def test_tooth_repeat(first, second) -> None:
    """The same teeth meet after lcm meshes: never oftener than either wheel turns."""
    train = gear_train([first, second])
    assert train.hunting[0] * math.lcm(first, second) == pytest.approx(train.mesh)
    assert train.hunting[0] <= min(train.turns) + 1e-12
    assert train.assembly_phases[0] * math.lcm(first, second) == first * second
