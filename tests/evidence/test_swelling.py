"""Swelling: loudness that comes and goes at an order is found, and noise alone swells nowhere."""

import numpy as np
import pytest

from acoustic.evidence.envelope import envelope_spectra
from acoustic.evidence.swelling import SwellingSettings, find_swelling
from acoustic.recording.recording import Recording

SPEED_HZ, SECONDS, RATE_HZ = 20.0, 20.0, 8000.0
ORDER = 1.37


@pytest.fixture(scope="module")
def swelling_of(steady, stretches, four):
    """Swelling found in white noise whose power from 1000 to 2000 Hz is 1 + depth cos."""

    def find(depth: float, seed: int = 1, tone_rms: float = 0.0, **settings: float):
        time = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
        rng = np.random.default_rng(seed)
        lines = np.fft.rfft(rng.standard_normal(time.size))
        hz = np.fft.rfftfreq(time.size, 1 / RATE_HZ)
        inside = (hz > 1000.0) & (hz < 2000.0)
        band = np.fft.irfft(np.where(inside, lines, 0.0), time.size)
        rest = np.fft.irfft(np.where(inside, 0.0, lines), time.size)
        turns = np.cos(2 * np.pi * ORDER * SPEED_HZ * time)
        tone = tone_rms * np.sin(2 * np.pi * 1500.0 * time)
        sound = band * np.sqrt(1.0 + depth * turns) + rest + tone
        recording = Recording((0.02 * sound).astype(np.float32), RATE_HZ)
        used = stretches((0.0, SECONDS))
        envelope = envelope_spectra(recording, used, steady(SPEED_HZ), four, 3600.0)
        return find_swelling(envelope, SwellingSettings(**settings) if settings else None)

    return find


def test_planted_swelling_is_found_at_its_order_in_its_band(swelling_of) -> None:
    """Half the power at order 1.37: one line there, 27.4 times a second, in that band."""
    (line,) = swelling_of(0.5)
    assert abs(line.order - ORDER) < 3 * line.order_sd
    assert line.frequency_hz == pytest.approx(ORDER * SPEED_HZ, rel=0.005)
    assert 900.0 <= line.low_hz < line.high_hz <= 2200.0
    assert 3 <= line.bands <= 6
    assert line.p_value < 1e-6


def test_deeper_swelling_stands_higher(swelling_of) -> None:
    """Twice the depth is 6 dB more power of its line, above a floor that stays: 20 lg 2."""
    (slight,), (deep,) = swelling_of(0.3), swelling_of(0.6)
    assert deep.excess_db - slight.excess_db == pytest.approx(6.0, abs=2.0)


@pytest.mark.parametrize("seed", range(8))
def test_noise_alone_swells_nowhere(swelling_of, seed) -> None:
    """At one false alarm in a hundred recordings, eight have none."""
    assert swelling_of(0.0, seed) == ()


def test_the_stated_rate_is_held_on_noise(swelling_of) -> None:
    """With two false alarms allowed in each of eight recordings at most 16 lines, less chance.

    Poisson: more than 27 of 16 expected come in less than half a percent of all times.
    """
    count = sum(len(swelling_of(0.0, s, false_alarms_per_recording=2.0)) for s in range(8))
    assert count <= 27


def test_a_steady_tone_does_not_swell(swelling_of) -> None:
    """A loud tone in the band is a tone: its loudness stays."""
    assert swelling_of(0.0, tone_rms=1.0) == ()
