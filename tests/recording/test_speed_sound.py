"""Views of a clip: whitened frames, stretching to a steady speed, the envelope."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_sound import SpeedSound, make_steady, speed_views, white_frames

RATE_HZ = 3000.0


def view_of(samples: np.ndarray, *pieces_s: tuple[float, float]) -> SpeedSound:
    pieces = pieces_s or ((0.0, samples.size / RATE_HZ),)
    return SpeedSound(samples.astype(np.float32), RATE_HZ, pieces, 20.0, 1200.0)


def noisy_tone(frequency_hz: float, seconds: float) -> np.ndarray:
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(1).standard_normal(time_s.size)
    # Faint enough not to be clipped by the whitening.
    return 0.1 * np.sin(2 * np.pi * frequency_hz * time_s) + noise


def test_a_tone_stands_out_at_its_own_frequency() -> None:
    """A 137 Hz tone is the highest bin of every frame, to half a bin."""
    frames = white_frames(view_of(noisy_tone(137.0, 4.0)), 1.0, 0.2, 400.0, 40.0)
    assert frames.level.shape[0] == 16  # starts at 0, 0.2 ... 3.0 s
    peak_hz = frames.level.mean(axis=0).argmax() * frames.bin_hz
    assert peak_hz == pytest.approx(137.0, abs=frames.bin_hz)


def test_levels_do_not_depend_on_gain() -> None:
    """The same sound 60 dB fainter gives the same whitened levels."""
    sound = noisy_tone(137.0, 3.0)
    loud = white_frames(view_of(sound), 1.0, 0.5, 400.0, 40.0)
    faint = white_frames(view_of(0.001 * sound), 1.0, 0.5, 400.0, 40.0)
    assert faint.level == pytest.approx(loud.level, abs=1e-3)


def test_frames_keep_inside_the_pieces() -> None:
    """1 s frames every 0.5 s in 0-2 s and 3-4.2 s: middles 0.5, 1, 1.5 and 3.5 s."""
    frames = white_frames(
        view_of(noisy_tone(100.0, 5.0), (0.0, 2.0), (3.0, 4.2)), 1.0, 0.5, 400.0, 40.0
    )
    assert frames.time_s.tolist() == [0.5, 1.0, 1.5, 3.5]


def test_no_piece_gives_no_frames() -> None:
    """A piece shorter than a frame gives an empty table, not an error."""
    frames = white_frames(view_of(noisy_tone(100.0, 5.0), (1.0, 1.5)), 1.0, 0.5, 400.0, 40.0)
    assert frames.time_s.size == 0
    assert frames.level.shape[0] == 0


def test_a_sweep_made_steady_is_one_line() -> None:
    """Order 10 of a shaft going from 10 to 14 turns a second comes to 10 x 12 Hz."""
    time_s = np.arange(int(10 * RATE_HZ)) / RATE_HZ
    speed_hz = 10 + 0.4 * time_s
    turns = 10 * time_s + 0.2 * time_s**2
    steady = make_steady((view_of(np.sin(2 * np.pi * 10 * turns)),), time_s, speed_hz)
    assert steady.speed_hz == pytest.approx(12.0, abs=0.01)
    samples = steady.views[0].samples
    power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
    middle = int(power.argmax())
    assert middle * RATE_HZ / samples.size == pytest.approx(120.0, abs=0.2)
    assert power[middle - 3 : middle + 4].sum() > 0.99 * power.sum()


def test_pieces_and_times_stretch_along() -> None:
    """At half the median speed a second of sound becomes half a second."""
    time_s = np.array([0.0, 4.0, 4.01, 12.0])
    speed_hz = np.array([5.0, 5.0, 10.0, 10.0])
    steady = make_steady(
        (view_of(noisy_tone(100.0, 12.0), (2.0, 4.0)),), time_s, np.array([5.0, 5.0, 10.0, 10.0])
    )
    ratio = 5.0 / float(np.median(speed_hz))
    first, last = steady.views[0].pieces_s[0]
    assert last - first == pytest.approx(2.0 * ratio, abs=0.02)
    assert np.interp(first, steady.steady_s, steady.real_s) == pytest.approx(2.0, abs=0.02)


def test_the_envelope_shows_how_noise_swells() -> None:
    """High-pass noise swelling 27 times a second has its envelope line at 27 Hz."""
    rate_hz = 48000.0
    time_s = np.arange(int(8 * rate_hz)) / rate_hz
    noise = np.diff(np.random.default_rng(2).standard_normal(time_s.size + 1))
    sound = 0.05 * noise * (1 + 0.1 * np.cos(2 * np.pi * 27.0 * time_s))
    recording = Recording(sound.astype(np.float32), rate_hz)
    _, envelope = speed_views(recording, Stretches((Stretch(0.0, 8.0),), ()), 3000.0, 1200.0)
    frames = white_frames(envelope, 2.0, 1.0, 200.0, 40.0)
    level = frames.level.mean(axis=0)[int(5 / frames.bin_hz) :]
    assert 5 + level.argmax() * frames.bin_hz == pytest.approx(27.0, abs=0.5)


def test_a_clip_of_few_samples_is_kept_as_it_is() -> None:
    """2 kHz is below both rates listened at: no resampling, orders to 0.4 of it."""
    recording = Recording(np.zeros(20000, dtype=np.float32), 2000.0)
    low, envelope = speed_views(recording, Stretches((Stretch(0, 10),), ()), 3000.0, 1200.0)
    assert low.rate_hz == 2000.0
    assert low.top_hz == pytest.approx(800.0)
    assert np.all(np.isfinite(envelope.samples))
