"""The sound as a picture, in figures."""

import numpy as np
import pytest

from acoustic.output.spectrogram import SpectrogramSettings, make_spectrogram
from acoustic.recording.recording import Recording

RATE_HZ = 16000.0


def tone(frequency_hz, seconds=5.0, level=0.5):
    """Make a steady tone in weak noise."""
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    noise = 0.01 * np.random.default_rng(3).standard_normal(time.size)
    return Recording(
        (level * np.sin(2 * np.pi * frequency_hz * time) + noise).astype(np.float32), RATE_HZ
    )


@pytest.mark.parametrize("frequency_hz", [120.0, 440.0, 3000.0])
def test_a_tone_stands_in_its_own_row(frequency_hz):
    """The strongest row holds the tone's frequency, within one bin of 6 Hz."""
    picture = make_spectrogram(tone(frequency_hz))
    row = int(np.argmax(np.median(picture.level_db, axis=1)))
    assert picture.edges_hz[row] - 6 <= frequency_hz <= picture.edges_hz[row + 1] + 6


def test_noise_alone_lies_on_its_floor():
    """Levels are above each row's floor, so plain noise has its median at 0 dB."""
    picture = make_spectrogram(tone(440.0, level=0.0))
    assert np.median(picture.level_db) == pytest.approx(0.0, abs=0.5)


def test_a_burst_is_seen_when_it_sounds():
    """A tone only in the second half lights the second half of its row."""
    samples = tone(1000.0, seconds=4.0).samples.copy()
    half = samples.size // 2
    samples[:half] = tone(1000.0, seconds=2.0, level=0.0).samples
    picture = make_spectrogram(Recording(samples, RATE_HZ))
    row = int(np.searchsorted(picture.edges_hz, 1000.0)) - 1
    late = picture.time_s > 2.2
    early = picture.time_s < 1.8
    assert picture.level_db[row, late].mean() > picture.level_db[row, early].mean() + 20


def test_a_phone_moved_nearer_does_not_brighten_half_the_picture():
    """The second half 20 dB louder: the tone's row keeps its level over the noise."""
    recording = tone(1000.0, seconds=20.0, level=0.02)
    samples = recording.samples.copy()
    samples[samples.size // 2 :] *= 10.0
    picture = make_spectrogram(Recording(samples, RATE_HZ))
    row = int(np.searchsorted(picture.edges_hz, 1000.0)) - 1
    early, late = picture.time_s < 8, picture.time_s > 12
    assert picture.level_db[row, late].mean() == pytest.approx(
        picture.level_db[row, early].mean(), abs=1.0
    )


def test_a_bump_stays_in_view():
    """A tenth of a second of loud noise stands out in its column over all frequencies."""
    recording = tone(1000.0, seconds=20.0)
    samples = recording.samples.copy()
    bump = slice(10 * int(RATE_HZ), int(10.1 * RATE_HZ))
    samples[bump] += np.random.default_rng(4).standard_normal(samples[bump].size)
    picture = make_spectrogram(Recording(samples, RATE_HZ))
    at = np.abs(picture.time_s - 10.05) < 0.05
    assert np.median(picture.level_db[:, at]) > 15


def test_columns_cover_the_clip_and_stay_few():
    """An hour makes no wider picture than a minute."""
    picture = make_spectrogram(tone(440.0, seconds=90.0))
    settings = SpectrogramSettings()
    assert picture.level_db.shape == (settings.rows, settings.columns)
    assert picture.time_s[0] < 0.2
    assert picture.time_s[-1] > 89.8


def test_a_clip_shorter_than_a_window_still_draws():
    """20 ms are padded with silence."""
    assert make_spectrogram(tone(440.0, seconds=0.02)).level_db.shape[1] == 1
