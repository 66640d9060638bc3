"""From time to crank angle: pure orders stay pure, and nothing folds back."""

import numpy as np
import pytest
from scipy.fft import rfft

from acoustic.evidence.angle import points_per_revolution, resample_to_angle
from acoustic.recording.recording import Recording, Stretch
from acoustic.recording.speed_trace import SpeedTrace

RATE_HZ = 48000.0


@pytest.fixture
def sweep() -> SpeedTrace:
    """750 to 1000 rpm in 8 s."""
    return SpeedTrace(np.array([0.0, 8.0]), np.array([12.5, 1000 / 60]), "given", 0.0)


def _chirp(speed: SpeedTrace, order: float, seconds: float = 8.0) -> Recording:
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    slope = (speed.speed_hz[-1] - speed.speed_hz[0]) / 8.0
    turns = speed.speed_hz[0] * time + 0.5 * slope * time**2
    return Recording((0.5 * np.sin(2 * np.pi * order * turns)).astype(np.float32), RATE_HZ)


def _highest_other_db(samples: np.ndarray, per_turn: int, turns: int) -> tuple[float, float]:
    """Order of the highest line over `turns` turns, and the next line against it. [dB]"""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(turns * per_turn) / (turns * per_turn))
    power = np.abs(rfft(samples[: turns * per_turn].astype(np.float64) * window**4)) ** 2
    top = int(np.argmax(power))
    own = np.abs(np.arange(power.size) - top) <= 12
    return top / turns, 10 * np.log10(power[~own].max() / power[top])


@pytest.mark.parametrize("order", [17.0, 96.0, 240.0])
def test_a_chirp_becomes_a_pure_order(sweep, order) -> None:
    """A tone that rises with the engine is one line, any false line 75 dB below it.

    The chirp of order 240 ends at 4 kHz; linear interpolation would leave false tones of
    its own at -20 dB there.
    """
    sound = resample_to_angle(_chirp(sweep, order), Stretch(0.0, 8.0), sweep, 1024)
    found, other_db = _highest_other_db(sound.samples, 1024, 96)
    assert found == pytest.approx(order, abs=1 / 96)
    assert other_db < -75.0


@pytest.mark.parametrize("order", [17.0, 240.0])
def test_interpolation_makes_no_tones_of_its_own(order) -> None:
    """At a steady 858 rpm splines at twice the rate leave false lines below -100 dB."""
    speed = SpeedTrace(np.array([0.0, 8.0]), np.array([14.3, 14.3]), "given", 0.0)
    sound = resample_to_angle(_chirp(speed, order), Stretch(0.0, 8.0), speed, 1024)
    found, other_db = _highest_other_db(sound.samples, 1024, 96)
    assert found == pytest.approx(order, abs=1 / 96)
    assert other_db < -100.0


def test_level_is_kept(sweep) -> None:
    """A sine of amplitude 0.5 has it after resampling too, to 0.1 %."""
    sound = resample_to_angle(_chirp(sweep, 40.0), Stretch(0.0, 8.0), sweep, 512)
    middle = sound.samples[512 * 10 : 512 * 90]
    assert np.sqrt(2 * np.mean(middle.astype(np.float64) ** 2)) == pytest.approx(0.5, rel=1e-3)


def test_turns_are_the_integral_of_speed(sweep) -> None:
    """8 s at a mean of 14.58 turns a second: 116.7 turns, whatever part is taken."""
    recording = _chirp(sweep, 10.0)
    whole = resample_to_angle(recording, Stretch(0.0, 8.0), sweep, 256)
    assert whole.revolutions == pytest.approx(8 * (12.5 + 1000 / 60) / 2, abs=0.2)
    first = resample_to_angle(recording, Stretch(0.0, 4.0), sweep, 256)
    second = resample_to_angle(recording, Stretch(4.0, 8.0), sweep, 256)
    assert first.revolutions + second.revolutions == pytest.approx(whole.revolutions, abs=0.4)
    assert second.revolutions > first.revolutions


def test_what_lies_above_the_highest_order_does_not_fold_back(sweep) -> None:
    """A tone of order 300 with 256 points a turn (128 at most) leaves nothing at order 44."""
    sound = resample_to_angle(_chirp(sweep, 300.0), Stretch(0.0, 8.0), sweep, 256)
    assert sound.highest_order < 128
    assert np.sqrt(np.mean(sound.samples[2560:-2560].astype(np.float64) ** 2)) < 0.35 * 1e-3


def test_highest_order_is_the_recordings_where_that_is_less(sweep) -> None:
    """Sampled at 48 kHz, order 1440 at 1000 rpm is the end, less the filter's edge."""
    sound = resample_to_angle(_chirp(sweep, 10.0), Stretch(0.0, 8.0), sweep, 8192)
    assert sound.highest_order == pytest.approx(0.92 * 24000 / (1000 / 60), rel=1e-3)


@pytest.mark.parametrize(
    ("highest_order", "spread", "points"),
    [(100.0, 1.0, 256), (400.0, 1.0, 1024), (400.0, 1.2, 2048)],
)
def test_points_per_revolution(highest_order, spread, points) -> None:
    """The next power of two over 2.3 times the highest order, more where the speed varies."""
    assert points_per_revolution(highest_order, spread) == points
