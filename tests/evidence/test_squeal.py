"""A squeal has a will of its own; tones that follow the speed or never move have none."""

import numpy as np
import pytest

from acoustic.evidence.short_time import short_time_spectrum
from acoustic.evidence.squeal import find_squeal, squeal_finding
from acoustic.recording.recording import Recording

RATE_HZ = 16000.0
SECONDS = 14.0
SPEED_HZ = 15.0
COUNT = int(SECONDS * RATE_HZ)
TIME = np.arange(COUNT) / RATE_HZ


@pytest.fixture(scope="module")
def noise() -> np.ndarray:
    """White noise of rms 0.02."""
    return 0.02 * np.random.default_rng(2).standard_normal(COUNT)


@pytest.fixture(scope="module")
def looked_at(stretches):
    """Short-time spectrum of a whole sound."""

    def look(sound: np.ndarray):
        recording = Recording(sound.astype(np.float32), RATE_HZ)
        return short_time_spectrum(recording, stretches((0.0, sound.size / RATE_HZ)), 0.0427, 7500)

    return look


def tone(hz: np.ndarray | float, level: float) -> np.ndarray:
    """A tone whose frequency may change."""
    return level * np.sin(2 * np.pi * np.cumsum(np.broadcast_to(hz, COUNT)) / RATE_HZ)


def test_comes_and_goes(noise, looked_at, steady) -> None:
    """Two seconds on, three off, at one pitch: the contrast says that it is a squeal."""
    there = (TIME % 5.0) < 2.0
    found = find_squeal(looked_at(noise + there * tone(1800.0, 0.05)), steady(SPEED_HZ))
    assert found.pitch_hz == pytest.approx(1800.0, abs=20.0)
    assert found.share == pytest.approx(6 / 14, abs=0.06)
    assert found.contrast_db > 8
    finding = squeal_finding(looked_at(noise + there * tone(1800.0, 0.05)), steady(SPEED_HZ))
    assert finding.ln_ratio > 3


def test_wanders_by_itself(noise, looked_at, steady) -> None:
    """A swing of ± 4 % about 2 kHz at a held speed is 2.8 % rms of its own."""
    hz = 2000.0 * (1 + 0.04 * np.sin(2 * np.pi * TIME / 5.0))
    found = find_squeal(looked_at(noise + tone(hz, 0.05)), steady(SPEED_HZ))
    assert found.drift == pytest.approx(0.028, abs=0.004)
    assert squeal_finding(looked_at(noise + tone(hz, 0.05)), steady(SPEED_HZ)).ln_ratio > 1


def test_a_tone_that_follows_the_speed_is_none(noise, looked_at, wandering) -> None:
    """Order 130 under a speed that swings by 4 % swings as much, but not by itself."""
    speed = wandering(SPEED_HZ, 0.04, SECONDS)
    found = find_squeal(looked_at(noise + tone(130 * speed.at(TIME), 0.05)), speed)
    assert found.weight < 0.3
    finding = squeal_finding(looked_at(noise + tone(130 * speed.at(TIME), 0.05)), speed)
    assert finding.ln_ratio < 1


def test_a_constant_whistle_is_weak(noise, looked_at, steady) -> None:
    """It may be anything electrical: never more than a hint."""
    assert squeal_finding(looked_at(noise + tone(3000.0, 0.05)), steady(SPEED_HZ)).ln_ratio < 1


def test_noise_and_resonances_are_none(noise, looked_at, steady) -> None:
    """Nothing, and a resonance as wide as 100 Hz, are no tones that last."""
    lines = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(COUNT, 1 / RATE_HZ)
    resonance = np.fft.irfft(lines * 5 / (1 + 1j * (hz - 1500.0) / 50.0), COUNT)
    for sound in (noise, noise + resonance):
        assert squeal_finding(looked_at(sound), steady(SPEED_HZ)).ln_ratio < 0


def test_nothing_to_look_at(noise, looked_at, steady) -> None:
    """Silence and half a second say nothing."""
    for sound in (0 * noise, noise[:8000], noise[:10]):
        assert squeal_finding(looked_at(sound), steady(SPEED_HZ)).ln_ratio == 0.0
