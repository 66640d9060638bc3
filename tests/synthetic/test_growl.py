"""Growl: noise that swells with a shaft."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive, ExpectedLine
from acoustic.synthetic.crank_speed import scene_clock, turn_crank
from acoustic.synthetic.growl import Growling, draw_growling, make_growl
from acoustic.synthetic.scene_settings import Condition

LINES = [
    ExpectedLine(order, "turn", 0.5, level, natural=False, shows_as="roughness")
    for order, level in ((1.2, 0.0), (2.4, -6.0))
]


def test_growl_lies_in_its_band_and_swells_at_its_order(
    drive: Drive, rng: np.random.Generator
) -> None:
    """Order 1.2 at 900 rpm is 18 Hz; depth .6 within a third; nine tenths in the band."""
    condition = Condition(rpm=900, duration_s=20, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(20, 48000), (0, 0), rng)
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    growling = Growling(((1000.0, 2000.0),), ((1.2, 0.6),), (None,))
    (part,) = make_growl(growling, crank.angle_rev, 1.0, crank, gain, rng)
    power = np.abs(part.spectrum) ** 2
    frequency = np.fft.rfftfreq(crank.clock.full_samples, 1 / crank.clock.rate_hz)
    inside = (frequency > 950.0) & (frequency < 2100.0)
    assert power[inside].sum() > 0.9 * power.sum()
    loud = np.fft.irfft(part.spectrum, crank.clock.full_samples) ** 2
    turns = 1.2 * 15.0 * np.arange(loud.size) / 48000
    depth = 2 * np.abs(np.mean(loud * np.exp(-2j * np.pi * turns))) / loud.mean()
    assert depth == pytest.approx(0.6, rel=0.33)


def test_swelling_is_uneven_from_turn_to_turn(drive: Drive, rng: np.random.Generator) -> None:
    """Power summed over single turns scatters more than that of even noise of the band.

    Noise of 1000 Hz width over 1/18 s has 2 x 55 degrees of freedom: relative sd .13.
    """
    condition = Condition(rpm=900, duration_s=20, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(20, 48000), (0, 0), rng)
    gain = np.ones(crank.clock.coarse_samples, np.float32)
    growling = Growling(((1000.0, 2000.0),), ((1.2, 0.6),), (None,))
    (part,) = make_growl(growling, crank.angle_rev, 1.0, crank, gain, rng)
    loud = np.fft.irfft(part.spectrum, crank.clock.full_samples) ** 2
    turn = round(48000 / 18)
    by_turn = loud[: loud.size // turn * turn].reshape(-1, turn).mean(axis=1)
    assert np.std(by_turn) / by_turn.mean() > 0.18


def test_drawn_growl_keeps_to_the_trade(rng: np.random.Generator) -> None:
    """One to three bands from 300 Hz to 6 kHz; the strongest line swells by .3 to .9."""
    humps = 0
    for _ in range(200):
        growling = draw_growling(rng, 48000.0, LINES)
        assert 1 <= len(growling.bands) == len(growling.humps) <= 3
        for (low, high), hump in zip(growling.bands, growling.humps, strict=True):
            assert 300.0 <= low < high <= 6001.0
            if hump is not None:
                humps += 1
                assert low < hump[0] < high
        (order, depth), (_, other) = growling.swells
        assert growling.order == order == 1.2
        assert 0.3 <= depth <= 0.9
        assert other <= depth
    assert humps > 100
