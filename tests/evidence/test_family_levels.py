"""Levels of families against the firing orders: what they measure and what they do not see."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acoustic.errors import SpeedError
from acoustic.evidence.family_levels import family_level, take_levels
from acoustic.recording.recording import Recording

SPEED_HZ, SECONDS = 20.0, 16.0
# At 20 turns a second the firing order 2 stands at 40 Hz, below a phone's 60 Hz.
FIRING = {4.0: 0.1, 6.0: 0.1, 8.0: 0.1, 10.0: 0.1, 12.0: 0.1}
LINE = 7.23


@pytest.fixture
def measured(steady, stretches, four):
    """Measure a recording at a steady speed."""

    def measure(recording, **options):
        used = stretches((0.0, recording.duration_s))
        speed = steady(SPEED_HZ)
        return take_levels(recording, used, speed, four, 3600.0, **options)

    return measure


@pytest.fixture
def running(sound_of, steady):
    """An engine with a line, so many dB over its firing orders."""

    def make(line_db, noise=0.02, seed=1):
        orders = FIRING | {LINE: 0.1 * 10 ** (line_db / 20)}
        return sound_of(steady(SPEED_HZ), SECONDS, orders, noise=noise, seed=seed)

    return make


@pytest.mark.parametrize("line_db", [0.0, -10.0])
def test_a_level_is_that_over_the_firing_orders(measured, running, line_db):
    """Power of the line over the mean level of the firing orders, within half a decibel."""
    level = family_level(measured(running(line_db)).tones, [LINE])
    assert level is not None
    assert level.level_db == pytest.approx(line_db, abs=0.5)


@pytest.mark.parametrize("gain_db", [10.0, -10.0])
def test_automatic_gain_changes_nothing(measured, running, gain_db):
    """A gain that creeps by 10 dB over the recording, and back, leaves every level alone."""
    plain = running(-6.0)
    creep_db = gain_db * np.sin(np.pi * np.linspace(0.0, 1.0, plain.samples.size))
    moved = Recording(plain.samples * (10 ** (creep_db / 20)).astype(np.float32), 8000.0)
    levels = [family_level(measured(one).tones, [LINE]) for one in (plain, moved)]
    assert levels[0] is not None
    assert levels[1] is not None
    assert levels[1].level_db == pytest.approx(levels[0].level_db, abs=0.1)
    assert levels[1].above_floor_db == pytest.approx(levels[0].above_floor_db, abs=0.7)


def test_a_line_that_is_not_there_gets_a_limit(measured, running):
    """Below the limit nothing is claimed; a line just that loud would mostly be found."""
    level = family_level(measured(running(-90.0)).tones, [LINE])
    assert level is not None
    assert not level.found
    assert level.level_db is None
    louder = family_level(measured(running(level.limit_db + 6.0)).tones, [LINE])
    assert louder is not None
    assert louder.found


def test_lines_under_the_engines_own_are_not_seen(measured, running):
    """At order 7.5, a half order, and at order 1, 20 Hz, nothing is measured."""
    tones = measured(running(0.0)).tones
    assert family_level(tones, [7.5]) is None
    assert family_level(tones, [1.2]) is None
    assert family_level(tones, [LINE, 7.5]) == family_level(tones, [LINE])


def test_noise_alone_is_seldom_found(measured, running):
    """Of 200 places without a line at most one in twenty stands out by 2.5 errors."""
    tones = measured(running(-90.0, seed=3)).tones
    places = [o for o in np.arange(14.2, 60.0, 0.23) if tones.bins_at(np.array([o]))[0] >= 0]
    found = sum(level.found for o in places if (level := family_level(tones, [o])) is not None)
    assert len(places) > 60
    assert found <= 0.05 * len(places)


def test_a_swing_is_a_share_of_its_band(measured, steady):
    """Noise whose power swings by 40 % and by 4 %: ten decibels apart, whatever the gain."""
    rng = np.random.default_rng(5)
    time = np.arange(int(SECONDS * 8000)) / 8000
    levels = []
    for share, gain in ((0.4, 1.0), (0.04, 0.1)):
        power = 1.0 + share * np.cos(2 * np.pi * 5.23 * SPEED_HZ * time)
        sound = 0.1 * gain * np.sqrt(power) * rng.standard_normal(time.size)
        swings = measured(Recording(sound.astype(np.float32), 8000.0)).swings
        widest = max(swings, key=lambda one: one.swings_hz[1] - one.swings_hz[0])
        levels.append(family_level(widest, [5.23]))
    strong, weak = levels
    assert strong is not None
    assert weak is not None
    # A little is lost: the swing's side lines lie at the skirts of the band.
    assert strong.level_db == pytest.approx(10 * np.log10(0.4), abs=1.0)
    assert weak.limit_db < strong.level_db - 5.0


def test_too_short_a_recording_is_refused(measured, running):
    """Two segments of 32 turns are no measurement; the message says what to do."""
    whole = running(0.0)
    short = replace(whole, samples=whole.samples[: int(3.5 * 8000)])
    with pytest.raises(SpeedError, match="Record 20 to 30 s"):
        measured(short)


def test_only_the_speeds_asked_for_count(measured, running):
    """A range of speeds the engine never had leaves nothing to measure."""
    with pytest.raises(SpeedError, match="only 0 stretches"):
        measured(running(0.0), speeds_hz=(25.0, 30.0))
