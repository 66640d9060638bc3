"""Intervals, tests and their correction, against figures worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.evidence.family_levels import FamilyLevel
from acoustic.verdict.change_statistics import (
    SideLevel,
    difference,
    holm,
    side_level,
    take_scatter,
)
from acoustic.verdict.change_values import ChangeSettings, TakeScatter

SETTINGS = ChangeSettings()
MANY = TakeScatter(2.0, 1e6, "as many takes as one could wish for")


def side(level_db, found=True, takes=3, error_db=0.0, limit_db=-20.0):
    """One side of a comparison."""
    return SideLevel(found, level_db, error_db, limit_db, limit_db, takes)


def loud(level_db, sd=1e-3):
    """One take with a line at a level."""
    power = 10 ** (level_db / 10)
    return FamilyLevel(power, sd * power, 0.01, sd * power)


def test_holm_by_hand():
    """Four p-values: 4 x .005, 3 x .01, 2 x .03, then never less than the one before.

    S. Holm, Scand. J. Statistics 6 (1979) 65-70 (the rule from memory; the figures by hand).
    """
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.5, 0.6]) == pytest.approx([1.0, 1.0])
    assert holm([]) == ()


def test_the_interval_by_hand():
    """Takes that differ by 2 dB, three a side: 1.645 x sqrt(4/3 + 4/3) = 2.69 dB either way."""
    found = difference(side(0.0), side(-10.0), MANY, SETTINGS)
    assert found.change_db == pytest.approx(-10.0)
    assert found.low_db == pytest.approx(-12.69, abs=0.01)
    assert found.high_db == pytest.approx(-7.31, abs=0.01)
    # (-10 + 3) / 1.633 = -4.29: one in a hundred thousand
    assert found.p_lower == pytest.approx(9e-6, rel=0.1)
    assert found.p_higher > 0.99


def test_the_error_of_the_segments_is_inflated_and_added():
    """1 dB a side, times 1.5, beside the placement: sqrt(2 x 2.25 + 8/3) = 2.68 dB."""
    found = difference(side(0.0, error_db=1.0), side(0.0, error_db=1.0), MANY, SETTINGS)
    assert found.high_db == pytest.approx(1.645 * 2.677, abs=0.01)


def test_two_one_sided_tests_need_the_interval_inside_the_margin():
    """At a 90 % interval of ±2.69 dB no change is 'unchanged' within 3 dB; 1 dB is not."""
    assert difference(side(0.0), side(0.0), MANY, SETTINGS).p_alike < 0.05
    assert difference(side(0.0), side(1.0), MANY, SETTINGS).p_alike > 0.05


def test_found_on_one_side_only_the_limit_stands_in():
    """Heard at 0 dB before, below -20 dB after: at least 20 dB less the interval's reach."""
    gone = difference(side(0.0), side(0.0, found=False, limit_db=-20.0), MANY, SETTINGS)
    assert gone.change_db is None
    assert gone.low_db == -np.inf
    assert gone.high_db == pytest.approx(-20.0 + 2.69, abs=0.01)
    new = difference(side(0.0, found=False, limit_db=-20.0), side(0.0), MANY, SETTINGS)
    assert new.high_db == np.inf
    assert new.p_higher < 1e-6
    assert new.p_lower == 1.0


def test_a_side_is_the_mean_of_decibels_where_all_takes_show_it():
    """0, -2 and -4 dB: -2 dB, though the powers' mean is higher."""
    level = side_level([loud(0.0), loud(-2.0), loud(-4.0)])
    assert level.found
    assert level.level_db == pytest.approx(-2.0)


def test_three_takes_show_their_own_scatter():
    """Takes 4 dB about their mean widen the scatter; those alike and two say nothing."""
    wide = [([loud(-4.0), loud(0.0), loud(4.0)], [loud(-4.0), loud(0.0), loud(4.0)])]
    same = [([loud(0.0)] * 3, [loud(0.0)] * 3)]
    usual = take_scatter([], contact=False, settings=SETTINGS)
    assert usual.sd_db == SETTINGS.hand_held_sd_db
    # (6 x 2.5² + 2 x 32) / (6 + 4) = 10.15
    assert take_scatter(wide, False, SETTINGS).sd_db == pytest.approx(np.sqrt(10.15), abs=0.01)
    assert take_scatter(same, False, SETTINGS).sd_db == usual.sd_db
    two = [([loud(-4.0), loud(4.0)], [loud(-4.0), loud(4.0)])]
    assert take_scatter(two, False, SETTINGS).sd_db == usual.sd_db
    assert take_scatter([], contact=True, settings=SETTINGS).sd_db == SETTINGS.contact_sd_db
