"""How the crankshaft turns."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import scene_clock, turn_crank
from acoustic.synthetic.scene_settings import Condition


def test_clock_holds_the_recording(rng: np.random.Generator) -> None:
    """20 s at 48 kHz are 960 000 samples, with room on both sides."""
    clock = scene_clock(20.0, 48000)
    assert clock.samples == 960_000
    assert clock.first > 0
    assert clock.first + clock.samples <= clock.full_samples


@pytest.mark.parametrize("wander", [0.004, 0.012])
def test_held_speed_wanders_as_asked(drive: Drive, rng: np.random.Generator, wander: float) -> None:
    """Mean within 0.3 %, rms wander within a quarter, and slow: nothing above 10 Hz."""
    condition = Condition(rpm=750, duration_s=60, wander=wander)
    crank = turn_crank(condition, drive.engine, scene_clock(60, 48000), (0, 0), rng)
    speed = crank.control_speed_hz
    assert crank.mean_speed_hz * 60 == pytest.approx(750, rel=0.003)
    assert speed.std() / speed.mean() == pytest.approx(wander, rel=0.25)
    power = np.abs(np.fft.rfft((speed - speed.mean()) * np.hanning(speed.size))) ** 2
    assert power[np.fft.rfftfreq(speed.size, 0.01) > 10].sum() < 0.02 * power.sum()


def test_still_speed_turns_as_the_clock(drive: Drive, rng: np.random.Generator) -> None:
    """900 rpm without wander are 15 turns a second: 300 in 20 s."""
    condition = Condition(rpm=900, duration_s=20, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(20, 48000), (0, 0), rng)
    inside = crank.angle_rev[crank.in_recording()]
    assert inside[-1] - inside[0] == pytest.approx(300.0, abs=0.01)


def test_sweep_runs_from_first_to_last_speed(drive: Drive, rng: np.random.Generator) -> None:
    """A sweep from 800 to 2400 rpm is halfway at 1600."""
    condition = Condition(rpm=800, end_rpm=2400, duration_s=10, wander=0.0)
    crank = turn_crank(condition, drive.engine, scene_clock(10, 48000), (0, 0), rng)
    at = np.interp([0.0, 5.0, 10.0], crank.control_time_s, 60 * crank.control_speed_hz)
    assert at == pytest.approx([800, 1600, 2400], rel=1e-3)


def test_swing_falls_with_the_square_of_the_speed(drive: Drive, rng: np.random.Generator) -> None:
    """A swing of 1 % at 800 rpm is 0.25 % at 1600."""
    condition = Condition(rpm=1600, duration_s=2)
    crank = turn_crank(condition, drive.engine, scene_clock(2, 48000), (0.01, 0.01), rng)
    assert crank.swing == pytest.approx(0.0025)


def test_engine_switched_off_runs_down(drive: Drive, rng: np.random.Generator) -> None:
    """Switched off 4 s before the end of 10 s it stands about 1 s later and stays so."""
    condition = Condition(rpm=900, duration_s=10, wander=0.0, switch_off_s=4.0)
    crank = turn_crank(condition, drive.engine, scene_clock(10, 48000), (0, 0), rng)
    assert crank.switched_off_s == pytest.approx(6.0)
    assert crank.stands_s == pytest.approx(7.0, abs=0.31)
    at = np.interp([5.9, crank.stands_s + 0.05, 9.9], crank.control_time_s, crank.control_speed_hz)
    assert at == pytest.approx([15.0, 0.0, 0.0])
    assert crank.mean_speed_hz == pytest.approx(15.0, rel=1e-3)
    gain = crank.running_gain()[crank.in_recording()]
    assert gain[: round(5.9 * 16000)].min() == 1.0
    assert gain[round(7.4 * 16000) :].max() == 0.0
