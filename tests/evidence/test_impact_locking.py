"""Knocks in step with the engine, a shaft or nothing, from trains of known angles."""

import numpy as np
import pytest

from acoustic.evidence.impact_locking import (
    ShaftRange,
    any_locking,
    engine_locking,
    shaft_locking,
)
from acoustic.evidence.impacts import ImpactTrain

TURNS = 320.0
POINTS = 128


def train_of(turns, level_db=30.0, needed_db=None) -> ImpactTrain:
    """Knocks at these crank angles at 13 turns a second, all of one loudness."""
    turns = np.sort(np.asarray(turns, dtype=float))
    needed = np.zeros(POINTS) if needed_db is None else needed_db
    return ImpactTrain(
        times_s=turns / 13.0,
        turns=turns,
        strength_db=np.full(turns.size, level_db),
        level_db=np.full(turns.size, level_db),
        needed_db=needed[None, :],
        piece=np.zeros(turns.size, dtype=np.intp),
        cry=np.zeros(turns.size, dtype=bool),
        low_hz=2000.0,
        high_hz=5000.0,
        seconds=TURNS / 13.0,
        revolutions=TURNS,
        excess=0.2,
    )


def best_of(lockings):
    return min(lockings, key=lambda one: one.p_value)


def test_in_step_with_the_firings(four) -> None:
    """Half of the firings, jitter 0.04 of an interval: exp(-(2 pi 0.04)²/2) = 0.969."""
    rng = np.random.default_rng(1)
    firing = np.flatnonzero(rng.random(640) < 0.5)
    found = engine_locking(
        train_of((firing + 0.3 + 0.04 * rng.standard_normal(firing.size)) / 2), four
    )
    by_name = {one.name: one for one in found}
    assert [one.order for one in found] == [0.5, 1.0, 2.0]
    assert by_name["firings"].vector_strength == pytest.approx(0.969, abs=0.015)
    assert by_name["firings"].phase_rev == pytest.approx(0.3, abs=0.02)
    assert by_name["firings"].p_value < 1e-20
    assert by_name["working cycle"].vector_strength < 0.3


def test_in_step_with_one_cylinder(four) -> None:
    """One knock in most working cycles: in step with the cycle, and so with all above it."""
    rng = np.random.default_rng(2)
    cycle = np.flatnonzero(rng.random(160) < 0.8)
    found = engine_locking(train_of(2 * cycle + 0.7 + 0.02 * rng.standard_normal(cycle.size)), four)
    assert found[0].name == "working cycle"
    assert found[0].vector_strength > 0.9


def test_at_random_is_in_step_with_nothing(four) -> None:
    """Over 200 trains no more than 2 % reach p < 0.01 with the engine, 1 % with a shaft."""
    rng = np.random.default_rng(3)
    engine, shaft = [], []
    for _ in range(200):
        train = train_of(TURNS * rng.random(150))
        engine.append([one.p_value for one in engine_locking(train, four)])
        shaft.append(any_locking(train, four).p_value)
    assert np.mean(np.array(engine) < 0.01) <= 0.02
    assert np.mean(np.array(shaft) < 0.01) <= 0.01 + 0.01


def test_masked_by_every_firing_is_not_in_step(four) -> None:
    """Knocks at random, heard only in the quiet two thirds of each firing interval."""
    rng = np.random.default_rng(4)
    needed = np.where(np.arange(POINTS) % 32 < 11, 40.0, 0.0)
    turns = TURNS * rng.random(600)
    turns = turns[needed[(turns * 64).astype(int) % POINTS] < 30.0]
    unmasked = engine_locking(train_of(turns), four)[-1]
    assert unmasked.p_value < 1e-6, "the mask alone looks like step with the firings"
    masked = engine_locking(train_of(turns, needed_db=needed), four)[-1]
    assert masked.p_value > 0.01
    assert masked.vector_strength < 0.15


def test_clusters_do_not_count_as_many(four) -> None:
    """Five knocks to a cluster, clusters at random: one in twenty falls below 5 %, or so."""
    rng = np.random.default_rng(5)
    low = 0
    for _ in range(100):
        start = TURNS * rng.random(40)
        turns = (start[:, None] + 0.05 * rng.random((40, 5))).ravel()
        low += engine_locking(train_of(turns[turns < TURNS]), four)[0].p_value < 0.05
    assert low <= 12


def test_in_step_with_a_shaft_that_creeps(four) -> None:
    """Order 1.37, slip wandering by 0.2 %: found to 0.3 %, by range and without."""
    rng = np.random.default_rng(6)
    crank = np.arange(0.0, TURNS, 0.01)
    shaft = np.cumsum(1.37 * 0.01 * (1 + 0.002 * np.sin(2 * np.pi * crank / 90)))
    kept = np.flatnonzero(rng.random(int(shaft[-1])) < 0.6)
    turns = np.interp(kept + 0.2 + 0.03 * rng.standard_normal(kept.size), shaft, crank)
    train = train_of(turns)
    others = [ShaftRange("pump", 1.30, 1.345), ShaftRange("idler", 1.36, 1.42)]
    pump, idler = shaft_locking(train, four, others)
    assert idler.order == pytest.approx(1.37, rel=0.003)
    assert idler.vector_strength > 0.85
    assert idler.p_value < 1e-10
    assert pump.vector_strength < 0.5 * idler.vector_strength
    free = any_locking(train, four)
    assert free.order == pytest.approx(1.37, rel=0.003)
    assert best_of(engine_locking(train, four)).vector_strength < 0.3


def test_what_the_engine_does_is_nobody_elses(four) -> None:
    """Knocks in step with the firings say nothing for a shaft beside their order."""
    rng = np.random.default_rng(7)
    turns = (np.arange(640) + 0.1 * rng.standard_normal(640)) / 2
    found = any_locking(train_of(turns[(turns > 0) & (turns < TURNS)]), four)
    assert found.vector_strength < 0.3
    (at_engine,) = shaft_locking(train_of(turns[turns > 0]), four, [ShaftRange("fan", 1.99, 2.01)])
    assert at_engine.p_value == 1.0


def test_too_few_knocks_say_nothing(four) -> None:
    """None, one and three knocks."""
    for turns in ([], [5.0], [5.1, 105.4, 208.8]):
        train = train_of(turns)
        assert any_locking(train, four).p_value == 1.0
        assert all(one.p_value > 0.05 for one in engine_locking(train, four))
