"""Short cries are found in engine-like sound; knocks and steady tones are none."""

import numpy as np
import pytest

from acoustic.evidence.chirps import chirp_figure, chirp_finding, find_chirps
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.recording.recording import Recording

RATE_HZ = 16000.0
SECONDS = 10.0
SPEED_HZ = 15.0
BELT_ORDER = 0.3


@pytest.fixture(scope="module")
def noise() -> np.ndarray:
    """White noise of rms 0.02."""
    return 0.02 * np.random.default_rng(2).standard_normal(int(SECONDS * RATE_HZ))


@pytest.fixture(scope="module")
def looked_at(stretches, steady):
    """Short-time spectra of a sound over these parts."""

    def look(sound: np.ndarray, *parts: tuple[float, float]):
        recording = Recording(sound.astype(np.float32), RATE_HZ)
        used = stretches(*(parts or ((0.0, sound.size / RATE_HZ),)))
        frames_s = (0.0213, 0.0053)
        return tuple(short_time_spectrum(recording, used, one, 7000.0) for one in frames_s)

    return look


def cries(times_s: np.ndarray, hz: float, level: float) -> np.ndarray:
    """Tones of 40 ms that swell and die away, their middle at these times."""
    sound = np.zeros(int(SECONDS * RATE_HZ))
    length = int(0.04 * RATE_HZ)
    one = np.hanning(length) * np.sin(2 * np.pi * hz * np.arange(length) / RATE_HZ)
    for time in times_s:
        start = int(time * RATE_HZ) - length // 2
        sound[start : start + length] += level * one
    return sound


def heard(spectra, steady):
    """The finding of these spectra, short and swift."""
    return chirp_finding(spectra[0], find_chirps(*spectra, steady(SPEED_HZ)))


def test_cries_once_a_belt_turn(noise, looked_at, steady) -> None:
    """At 15 turns a second and belt order 0.3 they come every 0.222 s, 1/0.3 turns apart."""
    times = np.arange(0.5, 9.5, 1 / (SPEED_HZ * BELT_ORDER))
    train = find_chirps(*looked_at(noise + cries(times, 2500.0, 0.1)), steady(SPEED_HZ))
    assert train.times_s.size == times.size
    assert train.times_s == pytest.approx(times, abs=0.004)
    assert train.pitch_hz == pytest.approx(2500.0, abs=50.0)
    assert np.diff(train.turns) == pytest.approx(1 / BELT_ORDER, abs=0.12)
    assert train.revolutions == pytest.approx(SPEED_HZ * SECONDS, rel=0.02)


def test_cries_speak_for_chirps(noise, looked_at, steady) -> None:
    """Plain cries weigh much, none weigh against."""
    times = np.arange(0.5, 9.5, 0.3)
    with_cries = heard(looked_at(noise + cries(times, 2500.0, 0.15)), steady)
    without = heard(looked_at(noise), steady)
    assert with_cries.ln_ratio > 3
    assert with_cries.low_hz < 2500.0 < with_cries.high_hz
    assert without.ln_ratio < 0


def test_knocks_and_steady_tones_are_no_cries(noise, looked_at, steady) -> None:
    """A knock is as loud beside its pitch, a tone is there all the time."""
    time = np.arange(noise.size) / RATE_HZ
    knocks = np.zeros(noise.size)
    knocks[:: int(0.25 * RATE_HZ)] = 3.0
    tone = 0.1 * np.sin(2 * np.pi * 2000.0 * time)
    for sound in (knocks, tone):
        assert heard(looked_at(noise + sound), steady).ln_ratio < 0


def test_ringing_knocks_are_no_cries(noise, looked_at, steady) -> None:
    """A resonance that has died away after 10 ms has one pitch, but does not last."""
    time = np.arange(int(0.02 * RATE_HZ)) / RATE_HZ
    ring = np.exp(-time / 0.003) * np.sin(2 * np.pi * 2500.0 * time)
    knocks = np.zeros(noise.size)
    knocks[:: int(0.3 * RATE_HZ)] = 0.6
    sound = noise + np.convolve(knocks, ring)[: noise.size]
    assert heard(looked_at(sound), steady).ln_ratio < 0


def test_a_phone_moved_makes_none(noise, looked_at, steady) -> None:
    """A jump of 20 dB between two stretches is no cry, nor is slow gain."""
    gain = np.where(np.arange(noise.size) < noise.size // 2, 1.0, 10.0)
    spectra = looked_at(gain * noise, (0.0, 4.9), (5.1, 10.0))
    assert heard(spectra, steady).ln_ratio < 0


def test_nothing_to_look_at(noise, looked_at, steady) -> None:
    """Silence, half a second, and a band cut off below all cries say nothing."""
    assert heard(looked_at(0 * noise), steady).ln_ratio == 0.0
    assert heard(looked_at(noise[:8000]), steady).ln_ratio == 0.0
    assert heard(looked_at(noise[:10]), steady).ln_ratio == 0.0


def test_cries_among_many_knocks_weigh_less(noise, looked_at, steady) -> None:
    """Half of what stands out is no cry: twice 3.01 dB less, so a weaker finding."""
    spectra = looked_at(noise + cries(np.arange(0.5, 9.5, 0.3), 2500.0, 0.1))
    train = find_chirps(*spectra, steady(SPEED_HZ))
    assert chirp_figure(train) - chirp_figure(train, 0.5) == pytest.approx(6.02, abs=0.01)
    alone, among = (chirp_finding(spectra[0], train, share) for share in (1.0, 0.1))
    assert among.ln_ratio < alone.ln_ratio - 1.0
