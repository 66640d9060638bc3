"""The price of chance and strangers."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from acoustic.verdict.clutter import (
    WEAK_RATE,
    StrayTone,
    clutter,
    family_links,
    stranger_weights,
    stray_rate,
)
from acoustic.verdict.hot_tones import HotTone, hot_tones
from acoustic.verdict.line_likelihood import (
    LATTICE_STEP,
    STRAY_SHARES,
    VOICE_LEVELS_DB,
    LineTable,
    line_table,
)
from acoustic.verdict.strangers import Strangers

LINES = {17.3: -6.0, 23.26: -3.0, 61.27: -8.0}


@pytest.fixture(scope="module")
def table(spectrum_of, settings) -> LineTable:
    """Three tones at 810 rpm."""
    return line_table(spectrum_of(LINES), settings.likelihood)


def _made_table(stray: np.ndarray, half_window: np.ndarray) -> LineTable:
    return LineTable(
        ln_order=2.0 + LATTICE_STEP * np.arange(stray.size),
        held=np.zeros((1, 1, 1)),
        held_at=np.zeros(stray.size, dtype=np.intp),
        stray_by_level=np.tile(stray, (STRAY_SHARES.size, 1)),
        weak_stray=np.ones(stray.size),
        half_window=half_window,
        visible=np.ones(stray.size, dtype=bool),
        mean_speed_hz=13.5,
        levels_db=VOICE_LEVELS_DB,
    )


def _price_by_hand(table: LineTable, rates: np.ndarray) -> np.ndarray:
    """Every window added up place by place."""
    price = np.empty(rates.size)
    for i, half in enumerate(table.half_window):
        near = slice(max(0, i - half), i + half + 1)
        seen = table.visible[near]
        heard = rates[near] * table.stray[near] + WEAK_RATE * table.weak_stray[near]
        heard, expected = heard[seen].sum(), (rates[near] + WEAK_RATE)[seen].sum()
        price[i] = (1 + LATTICE_STEP * heard) / (1 + LATTICE_STEP * expected)
    return price


def test_price_equals_the_sum_place_by_place() -> None:
    """Windows of one width, values over 40 powers of ten, an invisible part: exact."""
    rng = np.random.default_rng(6)
    stray = 10 ** rng.uniform(-1, 40, 400) * (rng.random(400) < 0.05) + rng.random(400)
    table = _made_table(stray, np.full(400, 12))
    visible = np.ones(400, dtype=bool)
    visible[100:140] = False
    table = replace(table, visible=visible)
    rates = rng.uniform(0.1, 2.0, 400)
    assert clutter(table, rates) == pytest.approx(_price_by_hand(table, rates), rel=1e-9)


def test_shrinking_windows_are_summed_to_a_tenth(table) -> None:
    """On a real table one width serves its neighbourhood: right within 15 % everywhere."""
    rates = np.full(table.ln_order.size, Strangers().first_rate)
    ours, by_hand = clutter(table, rates), _price_by_hand(table, rates)
    # Where a window just reaches a tone or just does not, a step more or less is a jump.
    share = np.mean(np.abs(ours / by_hand - 1.0) < 0.15)
    assert share > 0.99


def test_a_place_without_a_tone_costs_nothing_and_one_with_a_tone_much(table) -> None:
    """Price near 1 in noise, well above at a tone: somebody else may make it."""
    price = clutter(table, np.full(table.ln_order.size, Strangers().first_rate))
    assert price[table.place_of(np.log(30.27))] == pytest.approx(1.0, abs=0.05)
    assert price[table.place_of(np.log(17.3))] > 10.0


def test_where_a_stranger_is_expected_and_all_is_quiet_the_price_falls() -> None:
    """Ten strangers per e-fold expected, none heard: below 1, never to nothing."""
    table = _made_table(np.full(300, 0.2), np.full(300, 20))
    few, many = (clutter(table, np.full(300, rate)) for rate in (0.3, 100.0))
    assert np.all(many < few)
    assert np.all(many > 0.2)


def test_crowding_raises_the_price(table) -> None:
    """If the tones about turn out to be strangers', one more there proves less."""
    hot = hot_tones(table)
    place = table.place_of(np.log(19.27))
    explained, strangers = (
        stray_rate(table, hot, np.full(len(hot), p), (), ())[place] for p in (0.0, 1.0)
    )
    assert strangers > 2 * explained
    prices = [
        clutter(table, stray_rate(table, hot, np.full(len(hot), p), (), ()))[
            table.place_of(np.log(17.3))
        ]
        for p in (0.0, 1.0)
    ]
    assert prices[1] > prices[0]


def test_hot_tones_are_the_planted_ones(table) -> None:
    """One window per tone, its peak at the tone, windows apart."""
    hot = hot_tones(table)
    strong = [tone for tone in hot if tone.strength > 3.0]
    assert [np.exp(tone.ln_order) for tone in strong] == pytest.approx(sorted(LINES), rel=1e-3)
    for tone, following in pairwise(hot):
        assert tone.first <= tone.place <= tone.last < following.place


def test_noise_has_few_hot_tones(spectrum_of, settings) -> None:
    """What is contested in noise alone is next to nothing: all weak."""
    for seed in range(4):
        hot = hot_tones(line_table(spectrum_of({}, seed=seed), settings.likelihood))
        assert all(tone.strength < 3.0 for tone in hot)


def _tone(order: float, strength: float, table: LineTable) -> HotTone:
    place = int(table.place_of(np.log(order)))
    half = int(table.half_window[place])
    return HotTone(place, place - half, place + half, float(np.log(order)), strength)


def test_a_harmonic_is_paid_for_once(table) -> None:
    """2 x 11.63 and 11.63 are one family: the weaker gains weight, the stronger none."""
    rates = np.full(table.ln_order.size, Strangers().first_rate)
    links = family_links([_tone(11.63, 50.0, table), _tone(23.26, 5.0, table)], rates)
    assert links[1, 0] > 5.0
    assert links[0, 1] == 0.0
    assert np.all(np.diag(links) == 0.0)


def test_unrelated_tones_are_not_linked(table) -> None:
    """11.63 and 17.91 stand in no simple ratio and at no common side spacing."""
    rates = np.full(table.ln_order.size, Strangers().first_rate)
    links = family_links([_tone(11.63, 50.0, table), _tone(17.91, 5.0, table)], rates)
    assert links.max() < 0.3


def test_a_lone_tone_weighs_one(table) -> None:
    """Nobody to be the companion of."""
    rates = np.full(table.ln_order.size, Strangers().first_rate)
    weights = stranger_weights([table], [[_tone(11.63, 5.0, table)]], [rates])
    assert weights.tolist() == [1.0]
    assert stranger_weights([table], [[]], [rates]).size == 0


@pytest.mark.parametrize(
    ("order", "gains"), [(23.26, True), (23.26 / 2, True), (17.91, False)],
    ids=["same order", "same frequency", "neither"],
)  # fmt: skip
def test_a_strangers_tone_comes_again(table, spectrum_of, settings, order, gains) -> None:
    """At twice the speed a tone is expected at its order, or at its frequency (half the order)."""
    faster = line_table(spectrum_of({}, 27.0), settings.likelihood)
    rates = [np.full(t.ln_order.size, Strangers().first_rate) for t in (table, faster)]
    hot = [[_tone(23.26, 50.0, table)], [_tone(order, 50.0, faster)]]
    first, second = stranger_weights([table, faster], hot, rates)
    assert first == 1.0
    assert bool(second > 20.0) is gains


def test_at_one_speed_a_strangers_tone_stays_where_it_is(table) -> None:
    """Heard a fourth time it is as surely a stranger's as the second: it comes again once."""
    rates = [np.full(table.ln_order.size, Strangers().first_rate)] * 4
    hot = [[_tone(23.26, 50.0, table)]] * 4
    first, second, *later = stranger_weights([table] * 4, hot, rates)
    assert first == 1.0
    assert later == pytest.approx([second] * 2)
    moved = [hot[0], [_tone(23.26 * 1.005, 50.0, table)]]
    assert stranger_weights([table] * 2, moved, rates[:2])[1] < 0.1 * second


def test_where_bins_are_wide_a_tone_is_the_same_half_a_bin_off(table) -> None:
    """Low orders are measured coarsely: what comes again need not peak where it did before."""
    order = 1.9
    half_bin = float(table.half_window[table.place_of(np.log(order))]) * LATTICE_STEP / 5
    assert half_bin > 0.003  # more than a tone moves at one speed
    rates = [np.full(table.ln_order.size, Strangers().first_rate)] * 2
    first = [_tone(order, 50.0, table)]
    same, off = (
        stranger_weights([table] * 2, [first, [_tone(other, 50.0, table)]], rates)[1]
        for other in (order, order * np.exp(half_bin))
    )
    assert off > 0.4 * same > 4.0


def test_strangers_of_a_healthy_recording_are_expected(table) -> None:
    """A tone nobody explained in the reference raises the rate at its order and frequency."""
    stray = StrayTone(float(np.log(23.26)), 1.0, 27.0)
    plain = stray_rate(table, (), None, (), ())
    raised = stray_rate(table, (), None, (stray,), ())
    for order in (23.26, 46.52):
        place = table.place_of(np.log(order))
        assert raised[place] > 20 * plain[place]
    place = table.place_of(np.log(30.0))
    assert raised[place] == plain[place]


def test_weak_strangers_crowd_weak_places_only(spectrum_of, settings) -> None:
    """Twelve faint tones of nobody's: one more faint one proves little, a loud one still much."""
    faint = {20.3 + 2.17 * n: -12.0 for n in range(12)}
    table = line_table(spectrum_of(faint | {31.62: 12.0}), settings.likelihood)
    hot = hot_tones(table)
    known = np.array([float(abs(np.exp(tone.ln_order) - 31.62) > 0.1) for tone in hot])
    rates = stray_rate(table, hot, known, (), ())
    loud = rates[int(table.place_of(np.log(31.62)))]
    weak = rates[int(table.place_of(np.log(20.3 + 2.17 * 4)))]
    assert weak > 3 * Strangers().first_rate
    assert loud < 0.7 * weak


def test_lone_rate_holds_where_nothing_was_heard(spectrum_of, settings) -> None:
    """Without strangers the rate of none of the levels rises above what was expected."""
    table = line_table(spectrum_of({}), settings.likelihood)
    rates = stray_rate(table, (), np.empty(0), (), ())
    assert rates.max() <= Strangers().first_rate * (1 + 1e-9)
