"""The moment the firings end, and what knocks after it."""

import re

import numpy as np
import pytest
from scipy.stats import nbinom

from acoustic.evidence.run_down import (
    RunDown,
    RunDownSettings,
    find_run_down,
    run_on_finding,
    switch_off_finding,
)
from acoustic.recording.recording import Recording

RATE_HZ = 24000.0
STOPS_S = 6.0


def engine_sound(rng, seconds, stops_s=STOPS_S):
    """Thumps 26 times a second until the engine stops, in noise that goes on; automatic gain.

    The gain holds the level of each half second, so that nothing is told by it.
    """
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    phase = time_s * 26.0 % 1.0
    ring = np.exp(-phase / 26.0 / 0.006) * np.sin(2 * np.pi * 110.0 * phase / 26.0)
    hiss = 0.3 * np.exp(-phase / 26.0 / 0.004) * rng.standard_normal(time_s.size)
    sound = (ring + hiss) * (time_s < stops_s) + 0.15 * rng.standard_normal(time_s.size)
    half = int(0.5 * RATE_HZ)
    for first in range(0, sound.size, half):
        sound[first : first + half] *= 0.1 / np.std(sound[first : first + half])
    return sound


def knocking(sound, times_s):
    """The same with damped knocks at 3.2 kHz."""
    ring_s = np.arange(200) / RATE_HZ
    ring = 1.2 * np.exp(-ring_s / 0.0015) * np.sin(2 * np.pi * 3200.0 * ring_s)
    for time_s in times_s:
        first = int(time_s * RATE_HZ)
        sound[first : first + ring.size] += ring[: sound.size - first]
    return sound


def run_down_of(sound):
    return find_run_down(Recording(sound.astype(np.float32), RATE_HZ), 11000.0)


def test_the_end_of_the_firings() -> None:
    """Found to 0.15 s although the level stays the same throughout."""
    found = run_down_of(engine_sound(np.random.default_rng(1), 11.0))
    assert found.stopped_s == pytest.approx(STOPS_S, abs=0.15)
    assert found.times_s.size <= 1


def test_an_engine_that_runs_on_is_not_stopped() -> None:
    """Also one that knocks, and noise without any engine."""
    rng = np.random.default_rng(2)
    assert run_down_of(engine_sound(rng, 11.0, stops_s=99.0)) is None
    rattling = knocking(engine_sound(rng, 11.0, stops_s=99.0), 5.0 + 6.0 * rng.random(60))
    assert run_down_of(rattling) is None
    assert run_down_of(0.1 * rng.standard_normal(int(11 * RATE_HZ))) is None
    assert run_down_of(0.1 * rng.standard_normal(int(1.0 * RATE_HZ))) is None


def test_knocks_once_the_engine_stands() -> None:
    """Twenty knocks from 1 to 3 s after the last firing: all counted, the finding says rattle."""
    times_s = STOPS_S + 1.0 + 0.1 * np.arange(20)
    found = run_down_of(knocking(engine_sound(np.random.default_rng(3), 11.0), times_s))
    assert found.times_s == pytest.approx(times_s, abs=0.004)
    assert found.lasts_s == pytest.approx(2.9, abs=0.2)
    finding = run_on_finding(found)
    assert finding.noise == "run-on rattle"
    assert finding.ln_ratio > 2.0
    assert "20 knocks" in finding.words


def test_knocks_while_it_runs_are_not_counted() -> None:
    """A rattle that ends with the engine is no run-on rattle."""
    times_s = 0.2 + 0.1 * np.arange(56)
    found = run_down_of(knocking(engine_sound(np.random.default_rng(4), 11.0), times_s))
    assert found.times_s.size <= 1
    assert run_on_finding(found).ln_ratio < 0.0


def silent(looked_s, count=0) -> RunDown:
    times_s = 7.0 + 0.1 * np.arange(count)
    return RunDown(6.0, times_s, np.full(count, 12.0), looked_s, 2000.0, 5000.0)


@pytest.mark.parametrize("count", [0, 1, 4, 12])
def test_ratio_of_two_negative_binomials(count) -> None:
    """The ratio of the two counts' chances, taken from scipy.stats, within the limit."""
    settings = RunDownSettings(limit=50.0)
    expected = 0.0
    for sign, (rate, shape) in ((1, settings.rattle_rate), (-1, settings.healthy_rate)):
        expected += sign * nbinom.logpmf(count, shape, shape / (shape + 3.0 * rate))
    assert run_on_finding(silent(3.0, count), settings).ln_ratio == pytest.approx(expected)


def test_nothing_is_said_where_nothing_could_be_heard() -> None:
    """The engine does not stop, or the recording ends at once."""
    for run_down in (None, silent(0.4)):
        finding = run_on_finding(run_down)
        assert (finding.ln_ratio, finding.level_db) == (0.0, None)
    assert run_on_finding(silent(3.0)).ln_ratio < 0.0


def stated(sound, off_s):
    return switch_off_finding(Recording(sound.astype(np.float32), RATE_HZ), off_s, 11000.0)


def test_a_stated_switching_off_is_listened_after() -> None:
    """Twenty knocks after it speak for a rattle, none against; a second early is near enough."""
    knocks_s = STOPS_S + 1.0 + 0.1 * np.arange(20)
    rattling = knocking(engine_sound(np.random.default_rng(3), 11.0), knocks_s)
    for off_s in (STOPS_S, STOPS_S - 1.0):
        assert stated(rattling, off_s).ln_ratio > 2.0
    assert stated(engine_sound(np.random.default_rng(5), 11.0), STOPS_S).ln_ratio < 0.0


def test_a_switching_off_that_is_not_heard_says_nothing() -> None:
    """The engine runs on, stops at another time, or the clip ends 1 s after: 0, with the reason."""
    sound = engine_sound(np.random.default_rng(6), 13.0)
    runs_on = engine_sound(np.random.default_rng(6), 13.0, stops_s=99.0)
    for finding, why in (
        (stated(runs_on, STOPS_S), "not heard to stop"),
        (stated(sound, STOPS_S + 3.0), "not heard to stop"),
        (stated(sound[: int(7 * RATE_HZ)], STOPS_S), r"only 1\.0 s"),
    ):
        assert finding.ln_ratio == 0.0
        assert re.search(why, finding.words)
