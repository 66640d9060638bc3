"""A hiss is loud at high frequencies and steady; what swells with the firing is none."""

import numpy as np
import pytest

from acoustic.evidence.hiss import high_band, hiss_against, hiss_finding
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.recording.recording import Recording

RATE_HZ = 32000.0
SECONDS = 6.0
FIRING_HZ = 26.0
COUNT = int(SECONDS * RATE_HZ)
TIME = np.arange(COUNT) / RATE_HZ


def band(seed: int, low_hz: float, high_hz: float, rms: float) -> np.ndarray:
    """Noise between two frequencies."""
    lines = np.fft.rfft(np.random.default_rng(seed).standard_normal(COUNT))
    hz = np.fft.rfftfreq(COUNT, 1 / RATE_HZ)
    sound = np.fft.irfft(np.where((hz >= low_hz) & (hz < high_hz), lines, 0.0), COUNT)
    return rms * sound / np.sqrt(np.mean(sound**2))


@pytest.fixture(scope="module")
def engine() -> np.ndarray:
    """Middle band of rms 0.1, and ticks at high frequencies that swell with the firing."""
    swell = np.exp(-40.0 * ((FIRING_HZ * TIME) % 1.0) / 4.0)
    return band(1, 200.0, 2000.0, 0.1) + swell * band(2, 2500.0, 10000.0, 0.05)


@pytest.fixture(scope="module")
def looked_at(stretches):
    """Short-time spectrum of a whole sound, up to a frequency."""

    def look(sound: np.ndarray, highest_hz: float = 14000.0):
        recording = Recording(sound.astype(np.float32), RATE_HZ)
        used = stretches((0.0, sound.size / RATE_HZ))
        return short_time_spectrum(recording, used, 0.0053, highest_hz)

    return look


def test_steady_noise_is_even(looked_at) -> None:
    """Equal power in both bands: 0 dB less what quiet moments lack; no more uneven than noise."""
    found = high_band(looked_at(band(1, 200.0, 2000.0, 0.1) + band(3, 2500.0, 10000.0, 0.1)))
    assert found.quiet_db == pytest.approx(-1.3, abs=0.8)
    assert found.unevenness < 0.08


def test_ticks_are_uneven(engine, looked_at) -> None:
    """They fall by e^10 between two firings: a scatter of nats, and quiet moments are quiet."""
    found = high_band(looked_at(engine))
    assert found.unevenness > 0.8
    assert found.quiet_db < -20


def test_a_hiss_that_stands_alone_is_a_hint(engine, looked_at) -> None:
    """As loud as the engine's middle band it hints at a hiss, but never proves one."""
    finding = hiss_finding(looked_at(engine + band(3, 2500.0, 10000.0, 0.15)))
    assert 1 < finding.ln_ratio <= 3
    assert hiss_finding(looked_at(engine)).ln_ratio < 0


def test_against_a_reference(engine, looked_at) -> None:
    """The same engine without it says much more, whatever the phone's gain was."""
    now = looked_at(0.1 * (engine + band(3, 2500.0, 10000.0, 0.05)))
    before = looked_at(engine + band(3, 2500.0, 10000.0, 0.01))
    found = hiss_against(now, before)
    assert found.level_db == pytest.approx(14.0, abs=1.5)
    assert found.ln_ratio > 2
    assert hiss_against(before, now).ln_ratio < 0
    assert abs(hiss_against(now, now).level_db) < 1e-9


def test_nothing_to_look_at(engine, looked_at) -> None:
    """Silence, a blink, and a codec that cuts off at 4 kHz say nothing."""
    assert hiss_finding(looked_at(0 * engine)).ln_ratio == 0.0
    assert hiss_finding(looked_at(engine[:3000])).ln_ratio == 0.0
    assert hiss_finding(looked_at(engine, 4000.0)).ln_ratio == 0.0
    assert hiss_against(looked_at(engine), looked_at(engine, 4000.0)).ln_ratio == 0.0
