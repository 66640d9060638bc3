"""Noises in their band, and events at a changing rate."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import scene_clock, turn_crank
from acoustic.synthetic.made_noise import event_times_s, in_band, of_this_recording, on_coarse_clock
from acoustic.synthetic.scene_settings import Condition


def test_scaled_to_its_band_alone(rng: np.random.Generator) -> None:
    """Two tones of one amplitude, one in the band: that one gets mean square 1, amplitude √2."""
    clock = scene_clock(1.0, 48000)
    time = np.arange(clock.full_samples) / 48000
    both = np.sin(2 * np.pi * 1000 * time) + np.sin(2 * np.pi * 5000 * time)
    made = in_band(both.astype(np.float32), 800.0, 1200.0, clock)
    assert np.abs(made.samples).max() == pytest.approx(2 * np.sqrt(2.0), rel=0.02)
    silence = in_band(np.zeros(clock.full_samples, np.float32), 800.0, 1200.0, clock)
    assert not silence.samples.any()


def test_events_follow_their_rate(rng: np.random.Generator) -> None:
    """20 a second for 50 s, none for 50 s, 5 a second for 50 s; those of shape 1 are Poisson.

    1000 and 250 are expected, with sd of their roots; spacing of a Poisson process scatters
    by its mean, that of shape 16 by a quarter.
    """
    rate = np.repeat([20.0, 0.0, 5.0], 5000)
    times = event_times_s(rate, 1.0, rng)
    first, none, last = np.histogram(times, (0.0, 50.0, 99.99, 150.0))[0]
    assert first == pytest.approx(1000, abs=130)
    assert none <= 1
    assert last == pytest.approx(250, abs=65)
    for regularity, scatter in ((1.0, 1.0), (16.0, 0.25)):
        steps = np.diff(event_times_s(np.full(20000, 10.0), regularity, rng))
        assert np.std(steps) / np.mean(steps) == pytest.approx(scatter, rel=0.1)


def test_every_recording_falls_otherwise(drive: Drive) -> None:
    """One state of the generator, two recordings: two streams, each repeatable."""
    first = []
    for seed in (1, 2, 1):
        crank = turn_crank(
            Condition(duration_s=1.0),
            drive.engine,
            scene_clock(1.0, 48000),
            (0.0, 0.005),
            np.random.default_rng(seed),
        )
        first.append(of_this_recording(np.random.default_rng(9), crank).uniform())
    assert first[0] == first[2]
    assert first[0] != first[1]


def test_control_curves_are_read_at_their_time(drive: Drive, rng: np.random.Generator) -> None:
    """The control clock's own times, read on the coarse clock, are the coarse times."""
    crank = turn_crank(
        Condition(duration_s=1.0), drive.engine, scene_clock(1.0, 48000), (0.0, 0.0), rng
    )
    read = on_coarse_clock(crank.control_time_s, crank)
    assert read == pytest.approx(np.arange(read.size) / 16000 - 0.1, abs=1e-9)
