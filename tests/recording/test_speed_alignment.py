"""Laying logs with an unknown offset over the heard speed."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.speed_alignment import SpeedLog, align_speed_log
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]
STEP_S = 0.05


def _wander(rng: np.random.Generator, seconds: float) -> Floats:
    """Speed of 850 rpm that wanders by 0.8 % rms below about 0.3 Hz. [1/min]."""
    count = round(seconds / STEP_S)
    spectrum = np.fft.rfft(rng.standard_normal(count))
    spectrum /= 1 + (np.fft.rfftfreq(count, STEP_S) / 0.3) ** 2
    course = np.fft.irfft(spectrum, count)
    return 850 * (1 + 0.008 * (course - course.mean()) / course.std())


def _heard(rpm: Floats, rng: np.random.Generator, factor: float = 1.0) -> SpeedTrace:
    noise = 1 + 0.0015 * rng.standard_normal(rpm.size)
    times_s = STEP_S * np.arange(rpm.size)
    return SpeedTrace(times_s, factor * rpm / 60 * noise, "heard", 0.001, 2.0)


def _logged(rpm: Floats, start_s: float, rng: np.random.Generator) -> SpeedLog:
    """Three rows a second for 50 s with 2 rpm of noise, from `start_s` on."""
    rows_s = np.arange(0, 50, 1 / 3)
    speed_rpm = np.interp(start_s + rows_s, STEP_S * np.arange(rpm.size), rpm)
    return SpeedLog(rows_s, speed_rpm + 2 * rng.standard_normal(rows_s.size))


@pytest.mark.parametrize("factor", [1.0, 4 / 3])
def test_finds_the_offset(factor: float) -> None:
    """Ten logs out of ten are laid to 0.1 s, and a wrong multiple of the speed is put right."""
    for seed in range(10):
        rng = np.random.default_rng(seed)
        rpm = _wander(rng, 80.0)
        start_s = rng.uniform(5, 35)  # the recording runs from 20 s to 60 s
        heard = _heard(rpm[400:1200], rng, factor)
        trace = align_speed_log(_logged(rpm, start_s, rng), heard, 40.0)
        found = re.search(r"first row is at ([-+][\d.]+) s", trace.note)
        assert found is not None, trace.note
        assert float(found.group(1)) == pytest.approx(start_s - 20.0, abs=0.1)
        assert trace.mean_rpm == pytest.approx(float(np.median(rpm[400:1200])), rel=0.003)
        assert trace.source == "log"
        assert np.std(trace.speed_hz) > 0.05  # the course is kept


def test_refuses_another_recording() -> None:
    """A log of another day is not laid over: at most 1 of 25 by chance."""
    rng = np.random.default_rng(100)
    log = _logged(_wander(rng, 80.0), 20.0, rng)
    traces = [align_speed_log(log, _heard(_wander(rng, 40.0), rng), 40.0) for _ in range(25)]
    laid = [trace for trace in traces if "laid over" in trace.note]
    assert len(laid) <= 1
    refused = next(trace for trace in traces if trace not in laid)
    assert "no offset stands out" in refused.note
    assert refused.speed_hz.size == 1


def test_a_held_speed_gives_the_mean() -> None:
    """Nothing to align: the mean of the log with its scatter."""
    rng = np.random.default_rng(1)
    rpm = np.full(1600, 850.0)
    trace = align_speed_log(_logged(rpm, 20.0, rng), _heard(rpm[:800], rng), 40.0)
    assert "nothing to align" in trace.note
    assert trace.mean_rpm == pytest.approx(850, abs=1)
    assert trace.uncertainty == pytest.approx(0.003, abs=0.001)


def test_without_a_heard_speed() -> None:
    """The mean of the log near the recording, its scatter as uncertainty."""
    log = SpeedLog(np.arange(100.0), np.where(np.arange(100) < 61, 800.0, 3000.0))
    trace = align_speed_log(log, None, 40.0)
    assert trace.mean_rpm == pytest.approx(800.0)
    assert "could not be heard" in trace.note


def test_a_steady_ramp_is_ambiguous() -> None:
    """A ramp fits at any offset, so none is taken."""
    rng = np.random.default_rng(2)
    rpm = np.linspace(800, 1200, 1600)
    trace = align_speed_log(_logged(rpm, 20.0, rng), _heard(rpm[400:1200], rng), 40.0)
    assert "no offset stands out" in trace.note


def test_logs_of_any_size() -> None:
    """Two rows and ten thousand rows come through."""
    rng = np.random.default_rng(3)
    rpm = _wander(rng, 40.0)
    heard = _heard(rpm, rng)
    two = SpeedLog(np.array([0.0, 1.0]), np.array([840.0, 860.0]))
    assert align_speed_log(two, heard, 40.0).mean_rpm == pytest.approx(850)
    rows_s = np.arange(0, 40, 0.004)
    many = SpeedLog(rows_s, np.interp(rows_s, STEP_S * np.arange(rpm.size), rpm))
    assert "at +0.00 s" in align_speed_log(many, heard, 40.0).note


def test_part_of_a_long_file() -> None:
    """The log starts with the file, the recording is a part of it from 600 s on."""
    rng = np.random.default_rng(4)
    rpm = _wander(rng, 80.0)
    part = _logged(rpm, 18.0, rng)
    hour_s = np.concatenate([np.arange(0.0, 590.0), 600.0 + part.time_s])
    hour_rpm = np.concatenate([np.full(590, 2000.0), part.speed_rpm])
    heard = _heard(rpm[400:1200], rng)  # from 20 s on: 2 s after row 600 s of the log
    trace = align_speed_log(SpeedLog(hour_s, hour_rpm), heard, 40.0, start_s=600.0)
    assert "first row is at -2.0" in trace.note or "first row is at -1.9" in trace.note
    none = align_speed_log(SpeedLog(hour_s, hour_rpm), heard, 40.0, start_s=9000.0)
    assert "does not reach" in none.note
