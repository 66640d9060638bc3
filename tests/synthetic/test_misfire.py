"""Which firings are weak, and how weak."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.misfire import Misfire, draw_misfire, weak_amplitude
from acoustic.synthetic.scene_settings import Condition


def turning(drive: Drive, seed: int) -> CrankTurning:
    """One second; which firings are weak hangs on the recording alone."""
    rng = np.random.default_rng(seed)
    return turn_crank(Condition(duration_s=1.0), drive.engine, scene_clock(1.0, 48000), (0, 0), rng)


@pytest.mark.parametrize(("level_db", "amplitude"), [(-6, 0.7), (0, 0.4), (6, 0.1), (-30, 1.0)])
def test_a_level_says_how_weak_a_firing_is(level_db: float, amplitude: float) -> None:
    """Fixed by definition; never louder than a sound one."""
    assert weak_amplitude(level_db) == pytest.approx(amplitude)


def test_one_cylinder_is_weak_in_its_share_of_the_cycles(drive: Drive) -> None:
    """The third of four in .6 of 5000 cycles, half as loud on the average; the others never."""
    amplitudes = Misfire(2, 0.5, 0.6, seed=1).amplitudes(turning(drive, 1), 5000, 4)
    assert np.all(amplitudes[:, [0, 1, 3]] == 1.0)
    weak = amplitudes[:, 2] < 1.0
    assert weak.mean() == pytest.approx(0.6, abs=0.03)
    assert amplitudes[weak, 2].mean() == pytest.approx(0.5, abs=0.02)


def test_all_cylinders_are_weak_at_random(drive: Drive) -> None:
    """A third of all firings, each cylinder alike, two in a row as by chance."""
    amplitudes = Misfire(None, 0.3, 1 / 3, seed=1).amplitudes(turning(drive, 1), 5000, 4)
    weak = amplitudes < 1.0
    assert weak.mean(axis=0) == pytest.approx([1 / 3] * 4, abs=0.03)
    in_a_row = weak.ravel()[1:] & weak.ravel()[:-1]
    assert in_a_row.mean() == pytest.approx(1 / 9, abs=0.01)


def test_comb_and_noise_of_one_recording_hear_the_same_firings(drive: Drive) -> None:
    """The first cycles do not hang on how many are asked for; another recording has others."""
    misfire = Misfire(None, 0.3, 0.5, seed=1)
    asked = misfire.amplitudes(turning(drive, 1), 50, 4)
    assert np.array_equal(asked, misfire.amplitudes(turning(drive, 1), 80, 4)[:50])
    assert not np.array_equal(asked, misfire.amplitudes(turning(drive, 2), 50, 4))


def test_drawn_misfires_vary(rng: np.random.Generator) -> None:
    """Every cylinder; about half of them in every cycle, else in 30 % of them and more."""
    drawn = [draw_misfire(0.0, 4, rng, one_cylinder=True) for _ in range(200)]
    assert {misfire.cylinder for misfire in drawn} == {0, 1, 2, 3}
    assert np.mean([misfire.share == 1.0 for misfire in drawn]) == pytest.approx(0.5, abs=0.15)
    assert min(misfire.share for misfire in drawn) >= 0.3
    lean = draw_misfire(6.0, 4, rng, one_cylinder=False)
    assert lean.cylinder is None
    assert lean.amplitude == pytest.approx(0.1)
