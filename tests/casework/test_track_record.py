"""The record over closed cases: counts, reliability, temperature, priors."""

import numpy as np
import pytest

from acoustic.casework.track_record import (
    LEAST_FOR_TEMPERATURE,
    ClosedCase,
    fit_priors,
    fit_temperature,
    tempered,
    track_record,
    wilson,
    with_own_record,
)
from acoustic.verdict.belief import Belief

KINDS = ("idler", "alternator")


def a_case(stated: float, found: tuple[str, ...]) -> ClosedCase:
    """An idler stated faulty so surely, else an alternator."""
    sets = (((0,), stated), ((1,), 1.0 - stated))
    return ClosedCase("made", Belief(KINDS, sets, ({}, {})), found, KINDS)


def test_wilson_against_a_worked_example() -> None:
    """5 of 10 at 95 %: 0.237 to 0.763 (Brown, Cai, DasGupta 2001, from memory)."""
    assert wilson(0.5, 10, 1.96) == pytest.approx((0.237, 0.763), abs=5e-4)


def test_first_suspects_are_counted() -> None:
    """Two of three right; the one where nothing was found is counted apart."""
    record = track_record([a_case(0.9, ("idler",)), a_case(0.9, ()), a_case(0.3, ("alternator",))])
    assert (record.cases, record.first_right, record.found_nothing) == (3, 2, 1)
    assert record.temperature is None
    assert record.priors == {}
    assert sum(band.count for band in record.bands) == 6


def test_too_sure_answers_get_a_temperature_above_one() -> None:
    """0.95 stated, 0.7 true: T = ln(19) / ln(7/3) = 3.48 brings them together."""
    closed = [a_case(0.95, ("idler",))] * 70 + [a_case(0.95, ("alternator",))] * 30
    temperature, low, high = fit_temperature(closed)
    assert temperature == pytest.approx(np.log(19) / np.log(7 / 3), rel=0.03)
    assert low < temperature < high
    assert tempered(closed[0].belief, temperature).faulty[0] == pytest.approx(0.7, abs=0.01)


def test_honest_answers_keep_a_temperature_about_one() -> None:
    """0.8 stated and 0.8 true."""
    closed = [a_case(0.8, ("idler",))] * 80 + [a_case(0.8, ("alternator",))] * 20
    temperature, low, high = fit_temperature(closed)
    assert temperature == pytest.approx(1.0, abs=0.03)
    assert low < 1.0 < high


def test_few_cases_fit_nothing() -> None:
    """One short of enough."""
    few = [a_case(0.9, ("idler",))] * (LEAST_FOR_TEMPERATURE - 1)
    assert fit_temperature(few) is None
    assert fit_priors(few) == {}
    belief = few[0].belief
    assert with_own_record(belief, KINDS, track_record(few)) == belief


def test_a_kind_found_oftener_gets_a_higher_prior() -> None:
    """40 of 40 stated 0.5 each: (40 + 5) / (20 + 5) = 1.8 for idlers, 5 / 25 for the other."""
    priors = fit_priors([a_case(0.5, ("idler",))] * 40)
    assert priors["idler"] == (pytest.approx(1.8), 40)
    assert priors["alternator"] == (pytest.approx(0.2), 0)
