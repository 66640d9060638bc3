"""Hearing the crankshaft speed from made sound whose speed is known exactly."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_heard import HeardSpeed, hear_speed

RATE_HZ = 16000.0


def engine_of(cylinders: int, working: tuple[float, float] = (600.0, 2200.0)) -> Engine:
    return Engine(cylinders, 4, cylinders / 2, 0.5, False, (650.0, 1050.0), working, "clockwise")


def whole(recording: Recording) -> Stretches:
    return Stretches((Stretch(0.0, recording.duration_s),), ())


def engine_sound(
    cylinders: int, speed_hz: np.ndarray, noise_db: float = 0.0, seed: int = 0
) -> Recording:
    """Half orders with wandering phase in coloured noise; `speed_hz` at every sample."""
    rng = np.random.default_rng([seed, cylinders])
    turns = np.cumsum(speed_hz) / RATE_HZ
    knots = np.arange(0, speed_hz.size + 800, 800)
    sound = np.zeros(speed_hz.size)
    for cycle in range(1, int(1000 / (0.5 * speed_hz.max()))):
        firing = cycle % cylinders == 0
        level_db = (0.0 if firing else -11.0) + rng.normal(0, 3) - 2.0 * np.log2(cycle)
        jitter = np.interp(np.arange(speed_hz.size), knots, rng.normal(0, 0.2, knots.size))
        phase = 2 * np.pi * (0.5 * cycle * turns + rng.uniform()) + jitter
        sound += 10 ** (level_db / 20) * np.cos(phase)
    spectrum = np.fft.rfft(rng.standard_normal(speed_hz.size))
    spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(speed_hz.size, 1 / RATE_HZ), 20.0))
    noise = np.fft.irfft(spectrum, speed_hz.size)
    sound = sound / sound.std() + noise / noise.std() * 10 ** (noise_db / 20)
    return Recording((0.1 * sound).astype(np.float32), RATE_HZ)


def wandering(rpm: float, seconds: float, wander: float = 0.008) -> np.ndarray:
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    swing = np.sin(2 * np.pi * 0.23 * time_s) + 0.5 * np.sin(2 * np.pi * 0.71 * time_s + 1)
    return np.asarray(rpm / 60 * (1 + wander * swing))


def error_of(heard: HeardSpeed, speed_hz: np.ndarray) -> tuple[float, float]:
    """Rms of the momentary error and error of the mean, both relative."""
    assert heard.trace is not None, heard.reason
    time_s = np.arange(speed_hz.size) / RATE_HZ
    inner = (time_s > 0.6) & (time_s < time_s[-1] - 0.6)
    error = heard.trace.at(time_s[inner]) / speed_hz[inner] - 1
    return float(np.sqrt(np.mean(error**2))), float(error.mean())


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8])
def test_an_idle_is_heard(cylinders: int) -> None:
    """Noise as loud as the engine: right multiple, 0.15 % at any moment, 0.03 % in the mean."""
    speed_hz = wandering(787.0, 12.0)
    recording = engine_sound(cylinders, speed_hz)
    momentary, mean = error_of(
        hear_speed(recording, whole(recording), engine_of(cylinders)), speed_hz
    )
    assert momentary < 0.0015
    assert abs(mean) < 0.0003


def test_a_held_speed_is_heard_over_the_whole_working_range() -> None:
    """1950 rpm among 550 to 4700 rpm, where half and third of it could be taken for it."""
    speed_hz = wandering(1950.0, 12.0, 0.002)
    recording = engine_sound(4, speed_hz)
    heard = hear_speed(recording, whole(recording), engine_of(4, (600.0, 4500.0)))
    assert error_of(heard, speed_hz)[0] < 0.0015


def test_a_sweep_is_followed() -> None:
    """From 800 to 2000 rpm in 10 s."""
    speed_hz = np.linspace(800 / 60, 2000 / 60, int(10 * RATE_HZ))
    recording = engine_sound(4, speed_hz, -3.0)
    assert error_of(hear_speed(recording, whole(recording), engine_of(4)), speed_hz)[0] < 0.003


def test_level_jumps_and_left_out_parts_do_not_matter() -> None:
    """A phone moved twice, 20 dB apart, a burst of noise in a part that is left out."""
    speed_hz = wandering(860.0, 16.0)
    samples = engine_sound(4, speed_hz).samples.copy()
    samples[int(5 * RATE_HZ) : int(11 * RATE_HZ)] *= 0.1
    burst = slice(int(11 * RATE_HZ), int(12 * RATE_HZ))
    samples[burst] = np.random.default_rng(8).uniform(-0.9, 0.9, int(RATE_HZ))
    used = (Stretch(0.0, 4.9), Stretch(5.1, 10.9), Stretch(12.1, 16.0))
    heard = hear_speed(Recording(samples, RATE_HZ), Stretches(used, ()), engine_of(4))
    inner = error_of(heard, speed_hz)[0]
    assert inner < 0.004  # straight lines across the gaps, the wander goes on beneath them
    assert heard.trace is not None
    in_gap = (heard.trace.time_s > 11.2) & (heard.trace.time_s < 11.8)
    assert not in_gap.any()


def test_a_voice_note_without_bass_is_heard() -> None:
    """Only 300 to 3400 Hz left, as a voice codec leaves it: the envelope still swells."""
    speed_hz = wandering(812.0, 15.0)
    recording = engine_sound(4, speed_hz, -3.0)
    spectrum = np.fft.rfft(recording.samples)
    frequency_hz = np.fft.rfftfreq(recording.samples.size, 1 / RATE_HZ)
    spectrum[(frequency_hz < 300) | (frequency_hz > 3400)] = 0
    voice = Recording(np.fft.irfft(spectrum).astype(np.float32), RATE_HZ)
    assert error_of(hear_speed(voice, whole(voice), engine_of(4)), speed_hz)[0] < 0.003


@pytest.mark.parametrize("sound", ["silence", "white noise", "rumble", "whistle"])
def test_no_engine_no_speed(sound: str) -> None:
    """Without an engine the speed is refused in a sentence that says what to do."""
    rng = np.random.default_rng(11)
    count = int(15 * RATE_HZ)
    samples = {
        "silence": np.zeros(count),
        "white noise": 0.1 * rng.standard_normal(count),
        "rumble": np.cumsum(rng.standard_normal(count)) * 1e-3,
        "whistle": 0.2 * np.sin(2 * np.pi * 1234.5 * np.arange(count) / RATE_HZ)
        + 0.01 * rng.standard_normal(count),
    }[sound]
    recording = Recording(samples.astype(np.float32), RATE_HZ)
    heard = hear_speed(recording, whole(recording), engine_of(4, (600.0, 4500.0)))
    assert heard.trace is None
    assert "Give the rpm" in heard.reason


@pytest.mark.parametrize("used", [(), (Stretch(0.0, 2.0),), (Stretch(0, 2), Stretch(3, 5))])
def test_too_little_sound_is_said(used: tuple[Stretch, ...]) -> None:
    """Nothing, 2 s, or two stretches of 2 s: too short, in words."""
    recording = engine_sound(4, wandering(800.0, 6.0))
    heard = hear_speed(recording, Stretches(used, ()), engine_of(4))
    assert heard.trace is None
    assert "too short" in heard.reason


def test_looking_in_the_wrong_place_finds_nothing() -> None:
    """An 860 rpm engine looked for at 1650 to 1800 rpm (twice its speed) is not found there."""
    recording = engine_sound(4, wandering(860.0, 12.0), -3.0)
    heard = hear_speed(recording, whole(recording), engine_of(4), prior_rpm=(1650.0, 1800.0))
    assert heard.trace is None
    assert any(other.rpm == pytest.approx(860, rel=0.01) for other in heard.others)


def test_a_stated_idle_speaks_against_slower_speeds() -> None:
    """An engine stated to idle at 900 rpm at least is not taken for one at half of 1560."""
    recording = engine_sound(4, wandering(1560.0, 12.0, 0.002), -3.0)
    engine = Engine(4, 4, 2.0, 0.5, False, (900.0, 1050.0), (900.0, 2200.0), "clockwise")
    heard = hear_speed(recording, whole(recording), engine)
    assert heard.trace is not None, heard.reason
    assert heard.trace.mean_rpm == pytest.approx(1560.0, rel=0.001)
    half = [other for other in heard.others if other.rpm == pytest.approx(780.0, rel=0.01)]
    assert all(heard.log_likelihood - other.log_likelihood > 4 for other in half)


def test_runners_up_are_multiples_and_worse() -> None:
    """Others are listed best first, all below the chosen one by at least the gap."""
    recording = engine_sound(4, wandering(800.0, 12.0))
    heard = hear_speed(recording, whole(recording), engine_of(4))
    scores = [other.log_likelihood for other in heard.others]
    assert scores == sorted(scores, reverse=True)
    assert heard.log_likelihood - scores[0] == pytest.approx(heard.confidence)


@pytest.mark.parametrize("prior", [(0.0, 900.0), (900.0, 600.0), (float("nan"), 900.0)])
def test_a_senseless_range_is_refused(prior: tuple[float, float]) -> None:
    """Ends in the wrong order, zero, not a number."""
    recording = engine_sound(4, wandering(800.0, 4.0))
    with pytest.raises(SpeedError, match="lower end first"):
        hear_speed(recording, whole(recording), engine_of(4), prior_rpm=prior)


def test_hearing_needs_no_heavy_import() -> None:
    """scipy.signal costs a second; it must not come in on this path, nor plotting."""
    code = (
        "import sys, numpy as np\n"
        "from acoustic.drive.drive import Engine\n"
        "from acoustic.recording.recording import Recording, Stretch, Stretches\n"
        "from acoustic.recording.speed_given import speed_of\n"
        "engine = Engine(4, 4, 2.0, 0.5, False, (600, 1000), (600, 2000), 'clockwise')\n"
        "noise = np.random.default_rng(0).standard_normal(80000).astype('float32')\n"
        "speed_of(Recording(noise, 16000.0), Stretches((Stretch(0, 5),), ()), engine)\n"
        "heavy = {'scipy.signal', 'scipy.stats', 'librosa', 'numba', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert result.stdout.strip() == "[]", result.stderr


def twin_sound(speed_hz: float, phase: float, unlike: float = 0.0) -> Recording:
    """Two firings a cycle, the second after `phase` of it, in noise; no line below `unlike`."""
    rng = np.random.default_rng(3)
    cycle = 0.5 * speed_hz * np.arange(int(15 * RATE_HZ)) / RATE_HZ
    sound = np.zeros(cycle.size)
    for line in range(1, 60):
        together = max(unlike, abs(1 + np.exp(2j * np.pi * line * phase)) / 2)
        level = together / (1 + line / 10)
        sound += level * np.cos(2 * np.pi * line * cycle + rng.uniform(0, 2 * np.pi))
    noise = rng.standard_normal(cycle.size)
    return Recording((0.05 * (sound + 1.5 * noise)).astype(np.float32), RATE_HZ)


def twin_of(phase: float | None) -> Engine:
    phases = () if phase is None else (0.0, phase)
    odd = phase not in (None, 0.5)
    return Engine(2, 4, 1.0, 0.5, odd, (850, 1100), (850, 3200), "clockwise", False, phases)


@pytest.mark.parametrize("phase", [180 / 720, 270 / 720, 315 / 720])
def test_an_uneven_twin_is_heard_at_its_own_speed(phase: float) -> None:
    """2000 rpm, where an even twin at 1000 rpm has lines at the same places."""
    recording = twin_sound(2000 / 60, phase)
    heard = hear_speed(recording, whole(recording), twin_of(phase))
    assert heard.trace is not None, heard.reason
    assert heard.trace.mean_rpm == pytest.approx(2000, rel=0.002)


@pytest.mark.parametrize("phase", [180 / 720, 270 / 720, 315 / 720])
def test_an_uneven_twin_without_its_angles_is_refused(phase: float) -> None:
    """The layout does not say when it fires: not told, and what to state is named."""
    recording = twin_sound(2000 / 60, phase)
    heard = hear_speed(recording, whole(recording), twin_of(None))
    assert heard.trace is None
    assert "firing_angles_deg" in heard.reason
    assert "Give the rpm" in heard.reason


@pytest.mark.parametrize("phase", [None, 0.5])
def test_an_even_twin_of_unlike_cylinders_is_heard(phase: float | None) -> None:
    """1000 rpm, half orders 14 dB below the firing: no uneven twin at 2000 rpm has those."""
    recording = twin_sound(1000 / 60, 0.5, unlike=0.2)
    heard = hear_speed(recording, whole(recording), twin_of(phase))
    assert heard.trace is not None, heard.reason
    assert heard.trace.mean_rpm == pytest.approx(1000, rel=0.002)
