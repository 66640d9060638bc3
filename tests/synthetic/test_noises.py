"""The noises that are no families of lines: what holds for all of them."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.noises import MAKERS, make_noise
from acoustic.synthetic.scene_settings import Condition
from acoustic.tables.knowledge import load_knowledge


def turning(drive: Drive, seed: int, rate_hz: int = 48000) -> CrankTurning:
    """An idling engine that is switched off 5 s before the end of 10 s."""
    condition = Condition(rpm=850, duration_s=10.0, switch_off_s=5.0)
    rng = np.random.default_rng(seed)
    return turn_crank(condition, drive.engine, scene_clock(10.0, rate_hz), (0.0, 0.005), rng)


def share_between(sound: np.ndarray, rate_hz: float, low_hz: float, high_hz: float) -> float:
    """Mean square between two frequencies, by a plain transform (Parseval)."""
    power = np.abs(np.fft.rfft(sound)) ** 2
    frequency = np.fft.rfftfreq(sound.size, 1 / rate_hz)
    inside = (frequency >= low_hz) & (frequency < high_hz)
    return float(2.0 * power[inside].sum() / sound.size**2)


@pytest.mark.parametrize("rate_hz", [8000, 48000])
@pytest.mark.parametrize("noise", MAKERS)
def test_every_noise_has_mean_square_1_in_its_band(drive: Drive, noise: str, rate_hz: int) -> None:
    """At the full rate, its band holds at least half of it and ends below half the rate."""
    crank = turning(drive, 1, rate_hz)
    sound, low, high = make_noise(drive, crank, noise, np.random.default_rng(3))
    assert sound.dtype == np.float32
    assert sound.size == crank.clock.full_samples
    assert 0 < low < high <= rate_hz / 2
    assert share_between(sound, rate_hz, low, high) == pytest.approx(1.0, rel=0.01)
    assert np.mean(sound**2) < 2.0


@pytest.mark.parametrize("noise", MAKERS)
def test_a_noise_is_itself_in_every_recording_but_falls_otherwise(drive: Drive, noise: str) -> None:
    """From one generator state: the same band in two recordings, and unrelated samples."""
    cranks = turning(drive, 1), turning(drive, 2), turning(drive, 2)
    one, other, again = (
        make_noise(drive, crank, noise, np.random.default_rng(4)) for crank in cranks
    )
    assert one[1:] == other[1:]
    assert np.array_equal(other.samples, again.samples)
    assert abs(np.mean(one.samples * other.samples)) < 0.2


def test_every_noise_of_the_tables_can_be_made() -> None:
    """Uneven firing alone is made with the engine's own sound."""
    assert set(load_knowledge().noises) == {*MAKERS, "uneven firing"}


@pytest.mark.parametrize(("noise", "says"), [("uneven firing", "misfire"), ("moan", "hiss")])
def test_what_cannot_be_made_is_said(
    drive: Drive, rng: np.random.Generator, noise: str, says: str
) -> None:
    """The message names the way out."""
    with pytest.raises(SettingsError, match=says):
        make_noise(drive, turning(drive, 1), noise, rng)
