"""What one place of the spectrum says for a line of a given level."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.verdict.line_likelihood import (
    FAMILY_LEVELS_DB,
    LATTICE_STEP,
    LineTable,
    line_table,
)

SPEED_HZ = 13.5


@pytest.fixture(scope="module")
def table(spectrum_of, settings) -> LineTable:
    """A line of -6 dB at order 17.3, one of -12 dB at 61.27, noise elsewhere."""
    return line_table(spectrum_of({17.3: -6.0, 61.27: -12.0}), settings.likelihood)


def _row(level_db: float) -> int:
    return int(np.argmin(np.abs(FAMILY_LEVELS_DB - level_db)))


def _ratios(table: LineTable, order: float) -> np.ndarray:
    return 1.0 + table.gains(table.place_of(np.log(order)), table.columns(FAMILY_LEVELS_DB)[0])


@pytest.mark.parametrize(
    "order", [3.3, 16.0, 50.0, 0.1, 600.0], ids=["39 Hz", "half", "firing", "below", "above"]
)
def test_a_hidden_place_says_nothing(table, order) -> None:
    """Under 60 Hz, on the engine's lines and outside the spectrum every ratio is 1."""
    assert not table.visible[table.place_of(np.log(order))]
    assert np.all(_ratios(table, order) == 1.0)
    assert table.stray[table.place_of(np.log(order))] == 1.0


def test_a_line_of_the_right_level_speaks_for_itself(table) -> None:
    """-6 dB where -6 dB is expected: more than 1000 : 1."""
    assert _ratios(table, 17.3)[_row(-6.0)] > 1e3
    assert _ratios(table, 61.27)[_row(-12.0)] > 1e3


@pytest.mark.parametrize(("order", "level_db"), [(17.3, -6.0), (61.27, -12.0)])
def test_the_likeliest_level_is_the_lines_own(table, order, level_db) -> None:
    """The ratio tops within 3 dB of the planted tone-to-noise ratio."""
    best = FAMILY_LEVELS_DB[np.argmax(_ratios(table, order))]
    assert best == pytest.approx(level_db, abs=3.0)


def test_a_line_that_is_not_there_speaks_against(table) -> None:
    """Where 0 dB should be heard and is not: below 1 : 5; a whisper of -42 dB: no matter."""
    quiet = _ratios(table, 25.27)
    assert quiet[_row(0.0)] < 0.2
    assert quiet[_row(-42.0)] == pytest.approx(1.0, abs=0.05)
    assert np.all(np.diff(quiet[_row(-24.0) : _row(0.0)]) < 0)


def test_noise_is_no_evidence_on_average(spectrum_of, settings) -> None:
    """The mean likelihood ratio over noise is 1 by definition; ours must not exceed it."""
    means = []
    for seed in range(6):
        table = line_table(spectrum_of({}, seed=seed), settings.likelihood)
        seen = np.flatnonzero(table.visible)[:, None]
        means.append(1.0 + table.gains(seen, table.columns(FAMILY_LEVELS_DB)[0]).mean(axis=0))
    mean = np.mean(means, axis=0)
    assert np.all(mean < 1.1)
    assert mean[_row(-42.0)] == pytest.approx(1.0, abs=0.1)


def test_a_loud_line_is_bounded(spectrum_of, settings) -> None:
    """30 dB over what anyone expects is still a finite number."""
    table = line_table(spectrum_of({17.3: 35.0}), settings.likelihood)
    assert np.all(np.isfinite(table.held))
    assert np.all(np.isfinite(table.stray))


def test_more_segments_say_more(spectrum_of, settings) -> None:
    """The same excess as the mean of twice as many segments is surer."""
    spectrum = spectrum_of({17.3: -14.0})
    surer = replace(
        spectrum, bands=tuple(replace(b, freedom=2 * b.freedom) for b in spectrum.bands)
    )
    once, twice = (_ratios(line_table(s, settings.likelihood), 17.3) for s in (spectrum, surer))
    assert twice.max() > 10 * once.max()


def test_the_window_of_a_line_is_its_resolution(table) -> None:
    """At order 17.3 of 32 turns 2.5 bins are 0.45 % of the order: 18 + 2 steps."""
    half = table.half_window[table.place_of(np.log(17.3))]
    assert half == round((2.5 / (32 * 17.3) + 5e-4) / LATTICE_STEP)


def test_places(table) -> None:
    """Nearest lattice place, clipped to the invisible ends."""
    place = table.place_of(np.log(17.3))
    assert table.ln_order[place] == pytest.approx(np.log(17.3), abs=LATTICE_STEP / 2)
    assert table.place_of(-50.0) == 0
    assert table.place_of(50.0) == table.ln_order.size - 1
    assert not table.visible[[0, -1]].any()


def test_a_table_made_for_a_reach_holds_the_same_there(spectrum_of, settings, table) -> None:
    """From order 16.9 to 17.7: every ratio as in the whole table, and a fraction of its size."""
    reach = [(float(np.log(16.9)), float(np.log(17.7)))]
    near = line_table(spectrum_of({17.3: -6.0, 61.27: -12.0}), settings.likelihood, reach)
    places = table.place_of(np.log(np.linspace(16.9, 17.7, 50)))[:, None]
    columns = FAMILY_LEVELS_DB
    there = near.gains(places, near.columns(columns)[0])
    assert there == pytest.approx(table.gains(places, table.columns(columns)[0]), rel=1e-12)
    assert np.array_equal(near.stray, table.stray)
    assert near.held.size < 0.05 * table.held.size


def test_looking_beyond_the_reach_is_a_mistake(spectrum_of, settings) -> None:
    """A place that is visible but not held must not pass for one where nothing is seen."""
    reach = [(float(np.log(16.9)), float(np.log(17.7)))]
    near = line_table(spectrum_of({17.3: -6.0}), settings.likelihood, reach)
    hidden, beyond = (near.place_of(np.log(order)) for order in (16.0, 25.27))
    assert near.gains(hidden, near.columns(FAMILY_LEVELS_DB)[0]) == pytest.approx(0.0)
    with pytest.raises(ValueError, match="not made for"):
        near.gains(beyond, near.columns(FAMILY_LEVELS_DB)[0])
