"""Smearing along places where only some are wanted."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.chosen_blur import ChosenBlur


@pytest.mark.parametrize("chosen", [[0, 1, 2, 3], [50], [10, 11, 30, 31, 60, 99], list(range(100))])
def test_chosen_places_are_smeared_as_if_all_were(chosen) -> None:
    """At each chosen place what scipy's filter gives over the whole, ends included."""
    values = np.random.default_rng(5).lognormal(0.0, 3.0, (4, 100))
    wanted = np.zeros(100, dtype=bool)
    wanted[chosen] = True
    everywhere = np.ones(100, dtype=bool)
    blurred = ChosenBlur(wanted, 2.0).blurred(values, everywhere)
    whole = gaussian_filter1d(values, 2.0, axis=1, mode="nearest")
    assert blurred == pytest.approx(whole[:, wanted], rel=1e-12)


def test_what_is_not_visible_is_nothing() -> None:
    """A chosen place that cannot be seen gives 0, whatever lies beside it."""
    visible = np.arange(20) != 7
    chosen = (np.arange(20) == 7) | (np.arange(20) == 8)
    left, right = ChosenBlur(chosen, 2.0).blurred(np.ones(20), visible)
    assert (left, right) == (0.0, pytest.approx(1.0))
