"""Settling the speed: given, logged, followed by ear or kept."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_given import given_speed, speed_of
from acoustic.recording.speed_trace import SpeedTrace

RATE_HZ = 8000.0
ENGINE = Engine(4, 4, 2.0, 0.5, False, (650.0, 1050.0), (600.0, 2200.0), "clockwise")
USED = Stretches((Stretch(0.0, 10.0),), ())


def idle(rpm: float) -> Recording:
    """10 s of a four at one speed, its half orders in white noise."""
    rng = np.random.default_rng(21)
    time_s = np.arange(int(10 * RATE_HZ)) / RATE_HZ
    sound = rng.standard_normal(time_s.size)
    for cycle in range(1, 80):
        level = 0.3 if cycle % 4 == 0 else 0.1
        sound += level * np.cos(2 * np.pi * (0.5 * cycle * rpm / 60 * time_s + rng.uniform()))
    return Recording((0.1 * sound).astype(np.float32), RATE_HZ)


def noise() -> Recording:
    rng = np.random.default_rng(22)
    return Recording((0.1 * rng.standard_normal(80000)).astype(np.float32), RATE_HZ)


def test_a_given_speed_is_the_same_throughout() -> None:
    """780 rpm is 13 turns a second from 0 to 10 s; ±4 % as a limit is an sd of 2 %."""
    trace = given_speed(780.0, 0.04, 10.0)
    assert trace.at(np.array([0.0, 3.3, 10.0])) == pytest.approx([13.0, 13.0, 13.0])
    assert trace.source == "given"
    assert trace.uncertainty == pytest.approx(0.02)
    assert trace.low_rpm == pytest.approx(780 * 0.96)


@pytest.mark.parametrize("rpm", [0.0, -800.0, float("nan"), float("inf")])
def test_a_senseless_speed_is_refused(rpm: float) -> None:
    """The message says what to do."""
    with pytest.raises(SpeedError, match="Give the speed at which"):
        given_speed(rpm, 0.05, 10.0)


@pytest.mark.parametrize("tolerance", [-0.1, 0.5, float("nan")])
def test_a_senseless_tolerance_is_refused(tolerance: float) -> None:
    """Beyond 30 % a given speed says nothing."""
    with pytest.raises(SpeedError, match="tolerance"):
        given_speed(800.0, tolerance, 10.0)


@pytest.mark.parametrize("given", [770.0, 800.0, 830.0])
def test_a_given_speed_is_followed_by_ear(given: float) -> None:
    """A gauge that is 4 % off still leads to the true 800 rpm, to 0.05 %."""
    settled = speed_of(idle(800.0), USED, ENGINE, given_rpm=given, tolerance=0.05)
    assert settled.trace is not None
    assert settled.trace.source == "given"
    assert settled.trace.mean_rpm == pytest.approx(800.0, rel=5e-4)
    assert "by ear" in settled.trace.note


def test_a_given_speed_is_kept_where_nothing_is_heard() -> None:
    """In noise the trace is what the user gave, with the user's uncertainty."""
    settled = speed_of(noise(), USED, ENGINE, given_rpm=900.0, tolerance=0.05)
    assert settled.trace is not None
    assert settled.trace.mean_rpm == pytest.approx(900.0)
    assert settled.trace.uncertainty == pytest.approx(0.025)
    assert "kept as it is" in settled.reason


def test_a_given_speed_the_sound_speaks_against() -> None:
    """1600 rpm given, 800 rpm sounding: kept, but said."""
    settled = speed_of(idle(800.0), USED, ENGINE, given_rpm=1600.0, tolerance=0.05)
    assert settled.trace is not None
    assert settled.trace.mean_rpm == pytest.approx(1600.0)
    assert "The sound fits 800 rpm" in settled.reason


def test_a_log_shows_where_to_listen() -> None:
    """A log 1 % off leads to the true speed; the trace stays a logged one."""
    log = SpeedTrace(np.array([0.0, 10.0]), np.array([13.46, 13.46]), "log", 0.005)
    settled = speed_of(idle(800.0), USED, ENGINE, log_trace=log)
    assert settled.trace is not None
    assert settled.trace.source == "log"
    assert settled.trace.mean_rpm == pytest.approx(800.0, rel=5e-4)


def test_without_a_given_speed_it_is_heard() -> None:
    """The same as listening."""
    settled = speed_of(idle(800.0), USED, ENGINE)
    assert settled.trace is not None
    assert settled.trace.source == "heard"
    assert settled.trace.mean_rpm == pytest.approx(800.0, rel=5e-4)
