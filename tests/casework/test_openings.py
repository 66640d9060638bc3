"""Order of opening: small examples by hand, and against all orders and all stopping points."""

import itertools

import numpy as np
import pytest

from acoustic.casework.openings import OpeningSettings, access_hours, best_search, ratio_order
from acoustic.verdict.belief import Belief

PARTS = ("alternator", "water pump", "guide idler", "tensioner", "compressor")


def single_faults(chances):
    """Belief that at most one of these parts is faulty."""
    sets = tuple(((k,), p) for k, p in enumerate(chances))
    none = 1 - sum(chances)
    return Belief(PARTS[: len(chances)], (((), none), *sets), ({},) * len(chances))


def test_three_parts_by_hand(with_hours):
    """Per hour 0.5, 1.5, 0.2: second, first, third: 0.2 + 0.7 x 1 + 0.2 x 1 = 1.1 h."""
    drive = with_hours({"alternator": 1.0, "water pump": 0.2, "guide idler": 1.0})
    search = best_search(drive, single_faults([0.5, 0.3, 0.2]))
    assert [one.part for one in search.openings] == ["water pump", "alternator", "guide idler"]
    assert search.expected_hours == search.working_hours == pytest.approx(1.1)
    assert [one.probability for one in search.openings] == pytest.approx([0.3, 0.5 / 0.7, 1.0])


def test_the_ratio_rule_against_all_orders(with_hours):
    """No order of any choice of parts has fewer expected hours: all 326 of five tried."""
    draw = np.random.default_rng(11)
    stopped = 0
    for _ in range(40):
        chances = draw.dirichlet(np.ones(6))[:5]
        hours = dict(zip(PARTS, draw.uniform(0.2, 4.0, 5), strict=True))
        search = best_search(
            with_hours(hours), single_faults(chances), OpeningSettings(unfound_hours=4.0)
        )
        by_part = dict(zip(PARTS, chances, strict=True))
        least = np.inf
        for count in range(6):
            for order in itertools.permutations(PARTS, count):
                reached, cost = 1.0, 0.0
                for part in order:
                    cost += reached * hours[part]
                    reached -= by_part[part]
                least = min(least, cost + reached * 4.0)
        assert search.expected_hours == pytest.approx(least)
        stopped += len(search.openings) < 5
    assert stopped > 5  # stopping early was put to the test as well


def test_what_is_dear_and_unlikely_stays_shut(with_hours):
    """3.5 h for a chance of 0.1: rather leave it unfound, which counts 8 h."""
    search = best_search(with_hours({"alternator": 3.5}), single_faults([0.1]))
    assert search.openings == ()
    assert search.expected_hours == 8.0
    dearer = best_search(
        with_hours({"alternator": 3.5}), single_faults([0.1]), OpeningSettings(unfound_hours=40.0)
    )
    assert dearer.expected_hours == pytest.approx(3.5 + 0.9 * 40)
    assert (search.working_hours, dearer.working_hours) == (0.0, pytest.approx(3.5))


def test_two_faults_are_counted_once():
    """Both or the first alone: once the first is found sound nothing is left."""
    belief = Belief(PARTS[:2], (((0,), 0.5), ((0, 1), 0.5)), ({}, {}))
    assert ratio_order(belief, {"alternator": 1.0, "water pump": 1.0}) == (("alternator", 1.0),)


def test_an_unknown_access_time_is_said(with_hours):
    """It is reckoned with an hour, and known to be unknown."""
    drive = with_hours({"alternator": 0.0})
    assert access_hours(drive, "belt main") == (1.0, False)
    assert access_hours(drive, "guide idler") == (0.4, True)
    assert access_hours(drive, "alternator") == (0.1, True)
