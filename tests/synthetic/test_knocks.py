"""Knocks in step with a shaft."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.knocks import (
    Knocking,
    draw_knocking,
    event_places,
    load_share,
    make_knocks,
)
from acoustic.synthetic.scene_settings import Condition


def turning(drive: Drive, rng: np.random.Generator, seconds: float = 20.0) -> CrankTurning:
    """Turn at exactly 900 rpm, 15 turns a second."""
    condition = Condition(rpm=900, duration_s=seconds, wander=0.0)
    return turn_crank(condition, drive.engine, scene_clock(seconds, 48000), (0, 0), rng)


def test_events_without_slip_are_evenly_spaced(rng: np.random.Generator) -> None:
    """One for each whole turn: 40 turns evenly over 400 samples are 10 samples apart."""
    place, at = event_places(np.linspace(0.0, 40.0, 401), rng)
    assert place.size == 40
    assert np.diff(place) == pytest.approx(10.0)
    assert np.diff(at) == pytest.approx(1.0)


def test_slip_adds_up(rng: np.random.Generator) -> None:
    """Spacing scatters by 1 %, that of every hundredth knock by 1 % x 10, as a walk does."""
    _, at = event_places(np.linspace(0.0, 40000.0, 400001), rng, slip=0.01)
    assert np.std(np.diff(at)) == pytest.approx(0.01, rel=0.05)
    assert np.std(np.diff(at[::100])) == pytest.approx(0.1, rel=0.15)
    assert np.mean(np.diff(at)) == pytest.approx(1.0, abs=3e-4)


def test_load_zone_is_loaded_around_its_middle() -> None:
    """Full load at 0, symmetric, nothing but the rest a half turn on."""
    share = load_share(np.array([0.0, 0.1, 0.9, 0.5]), 0.5)
    assert share[0] == 1.0
    assert share[1] == pytest.approx(share[2])
    assert share[3] == 0.05


def test_knocks_ring_at_their_resonance_and_die_away(
    drive: Drive, rng: np.random.Generator
) -> None:
    """Decay .8 ms at 3 kHz, one knock in 50 ms: 5 ms after a knock 20 log10 e^(5/.8) = 54 dB less.

    The spectrum peaks at 3 kHz and is a tenth at the edges of its band.
    """
    crank = turning(drive, rng)
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    knocking = Knocking(((3000.0, 0.0008),), scatter_db=0.0, slip=0.0, load_width=None)
    turns = crank.angle_rev * (20.0 / 15.0)
    (part,) = make_knocks(knocking, turns, turns, crank, gain, rng)
    sound = np.fft.irfft(part.spectrum, crank.clock.full_samples)
    first = int(np.argmax(np.abs(sound[:2400])))
    assert np.abs(sound[first + 240 : first + 1200]).max() < 10 ** (-46 / 20) * np.abs(sound).max()
    frequency = np.fft.rfftfreq(crank.clock.full_samples, 1 / crank.clock.rate_hz)
    power = np.abs(part.spectrum) ** 2

    def near(hz: float) -> float:
        return float(power[np.abs(frequency - hz) < 25.0].mean())

    assert near(3000.0) > near(2900.0)
    assert near(3000.0) > near(3100.0)
    for edge in (part.low_hz, part.high_hz):
        assert 10 * np.log10(near(edge) / near(3000.0)) == pytest.approx(-10.0, abs=1.5)


def test_drawn_knocks_keep_to_the_trade(rng: np.random.Generator) -> None:
    """One to three resonances from 2 to 8 kHz that decay in .3 to 2 ms."""
    for _ in range(200):
        knocking = draw_knocking(rng, 48000.0, slip=0.01, through_load=True)
        assert 1 <= len(knocking.resonances) <= 3
        for frequency, decay_s in knocking.resonances:
            assert 2000.0 <= frequency <= 8000.0
            assert 0.0003 <= decay_s <= 0.002
        assert knocking.load_width is not None
    assert draw_knocking(rng, 48000.0, slip=0.0, through_load=False).load_width is None
