"""Lines on the engine's comb: an extra one is seen, a resonance is not."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.evidence.comb import comb_levels
from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.evidence.tones import claimed, find_tones

SPEED_HZ = 13.3
TURNS = 32


def _spectrum(extra_db: dict[float, float], hump_db: float = 0.0, seed: int = 1) -> OrderSpectrum:
    """A four's half orders from 12 to 40 in noise, levels scattered by 1.5 dB.

    Firing multiples 25 dB over the floor, whole orders 15, halves 8. `extra_db` adds a
    second source of that power (over the floor) to a line; `hump_db` lifts everything
    round order 25 as a resonance does.
    """
    rng = np.random.default_rng(seed)
    orders = np.arange(12 * TURNS, 40 * TURNS + 1) / TURNS
    power = rng.chisquare(30, orders.size) / 30
    for line in np.arange(12.0, 40.5, 0.5):
        over_db = 25.0 if line % 2 == 0 else 15.0 if line % 1 == 0 else 8.0
        at = round((line - 12.0) * TURNS)
        line_power = 10 ** ((over_db + 1.5 * rng.standard_normal()) / 10)
        line_power += 10 ** (extra_db.get(line, -99.0) / 10)
        for step, share in ((-1, 0.25), (0, 1.0), (1, 0.25)):
            if 0 <= at + step < power.size:
                power[at + step] += share * line_power
    resonance = hump_db / (1.0 + ((orders - 25.0) / 1.5) ** 2)
    level_db = 10 * np.log10(power) + resonance
    own = np.abs(orders * 2 - np.round(orders * 2)) / 2 < 2.2 / TURNS
    band = OrderBand(
        orders=orders,
        revolutions=TURNS,
        level_db=level_db,
        floor_db=resonance,
        excess=(level_db - resonance) * np.log(10) / 10,
        engine=own,
        visible=~own,
        segments=16,
        freedom=30.0,
        persistence=np.ones(orders.size),
    )
    return OrderSpectrum((band,), SPEED_HZ, 40 * SPEED_HZ, 60.0, 400.0)


def _chance_at(spectrum: OrderSpectrum, order: float, engine) -> float:
    comb = comb_levels(spectrum, engine)
    (index,) = np.flatnonzero(np.isclose(comb.orders, order))
    return float(comb.chance()[index] * comb.orders.size)


def test_an_ordinary_comb_shows_no_extra_line(four) -> None:
    """In 30 engines with ordinary scatter no more than 2 lines pass 1 % per recording."""
    count = sum(
        int(np.sum(comb.chance() * comb.orders.size < 0.01))
        for comb in (comb_levels(_spectrum({}, seed=seed), four) for seed in range(30))
    )
    assert count <= 2


def test_a_locked_mesh_on_a_whole_order_is_seen(four) -> None:
    """A gear of 19 teeth, 12 dB over the engine's own 19th order, stands out."""
    spectrum = _spectrum({19.0: 27.0})
    assert _chance_at(spectrum, 19.0, four) < 0.01
    assert _chance_at(spectrum, 21.0, four) > 0.2


def test_a_mesh_on_a_firing_multiple_needs_more(four) -> None:
    """Firing multiples scatter more: 6 dB over the engine is nothing there, 15 dB is seen."""
    assert _chance_at(_spectrum({20.0: 31.0}), 20.0, four) > 0.05
    assert _chance_at(_spectrum({20.0: 40.0}), 20.0, four) < 0.01


def test_a_resonance_is_no_extra_line(four) -> None:
    """12 dB of hump over three orders lifts the neighbours too: nothing is called."""
    called = 0
    for seed in range(10):
        comb = comb_levels(_spectrum({}, hump_db=12.0, seed=seed), four)
        called += int(np.sum(comb.chance() * comb.orders.size < 0.01))
    assert called <= 1


def test_level_above_neighbours_by_hand(four) -> None:
    """Without scatter the extra line reads as its power ratio: 15 + 27 dB is 12.3 dB up."""
    above = []
    for seed in range(12):
        comb = comb_levels(_spectrum({19.0: 27.0}, seed=seed), four)
        above.append(float(comb.above_neighbours_db[np.isclose(comb.orders, 19.0)][0]))
    expected = 10 * np.log10((10**1.5 + 10**2.7) / 10**1.5)
    assert np.median(above) == pytest.approx(expected, abs=1.0)


def test_a_two_stroke_has_no_half_order_lines(two_stroke) -> None:
    """Only whole orders are looked at."""
    orders = comb_levels(_spectrum({}), two_stroke).orders
    assert np.array_equal(orders, np.round(orders))


def test_nothing_below_the_phones_range(four) -> None:
    """At 4 turns a second 60 Hz is order 15: lower ones are not judged."""
    spectrum = replace(_spectrum({}), mean_speed_hz=4.0)
    assert comb_levels(spectrum, four).orders.min() >= 15.0


def test_segments_too_short_say_nothing(four) -> None:
    """With 10 turns the half orders are not resolved."""
    spectrum = _spectrum({})
    coarse = replace(spectrum, bands=(replace(spectrum.bands[0], revolutions=10),))
    assert comb_levels(coarse, four).orders.size == 0


def test_an_extra_line_is_listed_but_never_claimed(four, steady) -> None:
    """It is a tone on the comb; engines have loud orders, so "something is there" is not said."""
    spectrum = _spectrum({19.0: 30.0})
    tones = find_tones(spectrum, comb_levels(spectrum, four), None, steady(SPEED_HZ))
    (extra,) = [tone for tone in tones if tone.on_comb]
    assert extra.order == 19.0
    assert extra.kind == "cannot tell"  # at one held speed, without a spectrum over Hz
    assert extra.frequency_hz == pytest.approx(19 * SPEED_HZ)
    assert extra not in claimed(tones)
