"""Short cries in step with a shaft."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import scene_clock, turn_crank
from acoustic.synthetic.cries import Crying, draw_crying, make_cries
from acoustic.synthetic.scene_settings import Condition


def test_cries_come_once_a_turn_but_for_the_missing(drive: Drive, rng: np.random.Generator) -> None:
    """5 a second over 20 s, a fifth missing: 80 cries of 40 ms, counted where it is loud."""
    condition = Condition(rpm=900, duration_s=20, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(20, 48000), (0, 0), rng)
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    crying = Crying(tone_hz=2500.0, length_s=0.04, glide=0.03, scatter_db=0.0, missing=0.2)
    (part,) = make_cries(crying, crank.angle_rev / 3.0, crank, gain, rng)
    sound = np.fft.irfft(part.spectrum, crank.clock.full_samples)
    by_ms = np.abs(sound[: sound.size // 48 * 48].reshape(-1, 48)).max(axis=1)
    loud = by_ms > 0.3 * by_ms.max()
    starts = np.flatnonzero(loud[1:] & ~loud[:-1])
    assert starts.size == pytest.approx(81, abs=10)
    steps = np.diff(starts) / 200.0
    assert np.abs(steps - np.round(steps)).max() < 0.12
    assert loud.sum() / starts.size == pytest.approx(25.0, abs=5.0)
    frequency = np.fft.rfftfreq(crank.clock.full_samples, 1 / crank.clock.rate_hz)
    power = np.abs(part.spectrum) ** 2
    inside = (frequency >= part.low_hz) & (frequency < part.high_hz)
    assert power[inside].sum() > 0.98 * power.sum()


def test_cries_at_a_fast_shaft_do_not_run_together(drive: Drive, rng: np.random.Generator) -> None:
    """At 60 a second a cry of 60 ms is cut to less than the 17 ms between two."""
    condition = Condition(rpm=900, duration_s=5, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(5, 48000), (0, 0), rng)
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    crying = Crying(tone_hz=2500.0, length_s=0.06, glide=0.0, scatter_db=0.0, missing=0.0)
    (part,) = make_cries(crying, crank.angle_rev * 4.0, crank, gain, rng)
    sound = np.fft.irfft(part.spectrum, crank.clock.full_samples)
    by_ms = np.abs(sound[: sound.size // 48 * 48].reshape(-1, 48)).max(axis=1)
    assert np.mean(by_ms < 0.05 * by_ms.max()) > 0.2


def test_drawn_cries_keep_to_the_trade(rng: np.random.Generator) -> None:
    """20 to 60 ms at 1 to 5 kHz, rising or falling a little."""
    drawn = [draw_crying(rng, 48000.0) for _ in range(200)]
    assert all(1000.0 <= crying.tone_hz <= 5000.0 for crying in drawn)
    assert all(0.02 <= crying.length_s <= 0.06 for crying in drawn)
    assert {np.sign(crying.glide) for crying in drawn} == {-1.0, 1.0}
