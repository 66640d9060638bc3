"""What trains of knocks say for a rattle, and what they must not say."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.evidence.impact_findings import (
    AT_RANDOM,
    WITH_FIRING,
    RattleSettings,
    RattleWeights,
    impact_findings,
    ln_ratio,
    rattle_features,
)
from acoustic.evidence.impacts import ImpactTrain

TURNS = 300.0


def train_of(turns, excess) -> ImpactTrain:
    """Knocks at these crank angles at 13 turns a second, with this share of the power."""
    turns = np.sort(np.asarray(turns, dtype=float))
    return ImpactTrain(
        times_s=turns / 13.0,
        turns=turns,
        strength_db=np.full(turns.size, 14.0),
        level_db=np.full(turns.size, 14.0),
        needed_db=np.zeros((1, 128)),
        piece=np.zeros(turns.size, dtype=np.intp),
        cry=np.zeros(turns.size, dtype=bool),
        low_hz=2000.0,
        high_hz=5000.0,
        seconds=TURNS / 13.0,
        revolutions=TURNS,
        excess=excess,
    )


def at_some_firings(rng, share, order=2.0):
    kept = np.flatnonzero(rng.random(int(TURNS * order)) < share)
    return np.clip((kept + 0.3 + 0.05 * rng.standard_normal(kept.size)) / order, 0, TURNS - 1e-6)


def ratios(train, engine):
    return {one.noise: one.ln_ratio for one in impact_findings(train, engine)}


def test_a_rattle_at_some_firings(four) -> None:
    """45 % of the firings, power 3 dB below the rest of the band."""
    found = ratios(train_of(at_some_firings(np.random.default_rng(1), 0.45), 0.5), four)
    assert found[WITH_FIRING] > 2.0
    assert found[AT_RANDOM] < 0.0


def test_a_rattle_in_no_step(four) -> None:
    """Nine knocks a second at random."""
    found = ratios(train_of(TURNS * np.random.default_rng(2).random(200), 0.5), four)
    assert found[AT_RANDOM] > 2.0
    assert found[WITH_FIRING] < 0.0


def test_what_a_healthy_engine_leaves(four) -> None:
    """One firing in thirty a little louder than usual: neither rattle."""
    found = ratios(train_of(at_some_firings(np.random.default_rng(3), 0.03), 0.008), four)
    assert found[WITH_FIRING] < 0.0
    assert found[AT_RANDOM] < 0.0


def test_knocks_of_a_shaft_are_neither(four) -> None:
    """In step with order 1.37: no rattle at random, none of the firings."""
    found = ratios(train_of(at_some_firings(np.random.default_rng(4), 0.6, 1.37), 0.5), four)
    assert found[AT_RANDOM] < 0.0
    assert found[WITH_FIRING] < 0.0


def test_no_knocks_speak_against_both(four) -> None:
    """A clip that could have shown them and did not; one that could not says nothing."""
    assert all(value < 0.0 for value in ratios(train_of([], 0.0), four).values())
    unlooked = impact_findings(None, four)
    assert [(one.ln_ratio, one.level_db) for one in unlooked] == [(0.0, None)] * 2
    assert {one.noise for one in unlooked} == {WITH_FIRING, AT_RANDOM}


def test_ratio_by_hand() -> None:
    """1 + 2 ln(0.08 + 0.02) + 0.1 (-10) = -4.605; cut at the limit."""
    settings = RattleSettings(few=0.02, limit=50.0)
    weights = RattleWeights(1.0, 2.0, 0.1)
    assert ln_ratio(0.08, -10.0, weights, settings) == pytest.approx(-4.60517)
    assert ln_ratio(0.08, -10.0, weights, replace(settings, limit=2.0)) == -2.0


def test_features_are_counts_per_turn(four) -> None:
    """150 knocks in 300 turns, all in step: half a knock a turn, and all the power."""
    turns = 2.0 * np.arange(150) + 0.4
    features = rattle_features(train_of(turns, 0.5), four)
    assert features.in_step == pytest.approx(0.5)
    assert features.in_no_step == pytest.approx(0.0)
    assert features.power_in_step_db == pytest.approx(10 * np.log10(0.503))


def test_words_tell_what_was_measured(four) -> None:
    """Count, length, band; no line break."""
    for finding in impact_findings(
        train_of(TURNS * np.random.default_rng(6).random(90), 0.4), four
    ):
        assert "\n" not in finding.words
        assert 0.0 <= finding.share <= 1.0
    assert "90 knocks in 23 s at 2.0-5.0 kHz" in finding.words


def test_the_share_is_never_above_one(four) -> None:
    """Knocks in every second of a stretch that begins and ends within one."""
    train = train_of(np.arange(0.0, TURNS - 1e-6, 0.37), 0.5)
    train = replace(train, times_s=train.times_s + 0.9)
    assert all(0.9 < one.share <= 1.0 for one in impact_findings(train, four))


def test_cries_are_not_counted_but_show_step(four) -> None:
    """180 cries in step with order 1.37 and 45 of their faint sisters, a fifth of a turn off.

    The 45 alone are too few and too far off to show step; with the cries they are a shaft's.
    """
    rng = np.random.default_rng(7)
    loud, faint = at_some_firings(rng, 0.45, 1.37), at_some_firings(rng, 0.11, 1.37)
    faint = np.clip(faint + 0.2 / 1.37 * rng.standard_normal(faint.size), 0, TURNS - 1e-6)
    train = train_of(np.concatenate([loud, faint]), 0.2)
    cries = replace(train, cry=np.isin(train.turns, loud))
    features = rattle_features(cries, four)
    assert cries.knocks == faint.size
    assert features.in_step + features.in_no_step <= faint.size / TURNS + 1e-9
    assert ratios(cries, four)[AT_RANDOM] < 0.0
    assert ratios(train_of(faint, 0.2), four)[AT_RANDOM] > 0.0
