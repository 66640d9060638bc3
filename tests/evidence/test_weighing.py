"""A figure becomes weight on a straight line with two ends."""

import pytest

from acoustic.evidence.weighing import Weighing, cannot_tell, not_there


def test_line_and_its_ends() -> None:
    """Half a nat per unit from 10: nothing at 10, 1 at 12, and no more than 3 or less than -1."""
    weighing = Weighing(even=10.0, slope=0.5, least=-1.0, most=3.0)
    assert [weighing.ln_ratio(x) for x in (10.0, 12.0, 99.0, -99.0)] == [0.0, 1.0, 3.0, -1.0]


def test_what_cannot_be_told_says_nothing() -> None:
    """A noise that could not show weighs 0; one that did not show weighs the lower end."""
    weighing = Weighing(even=10.0, slope=0.5, least=-1.0, most=3.0)
    assert cannot_tell("hiss", "too short").ln_ratio == 0.0
    assert not_there("hiss", weighing, "nothing").ln_ratio == pytest.approx(-1.0)
