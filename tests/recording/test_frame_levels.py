"""Band levels over time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.frame_levels import BANDS_HZ, frame_levels
from acoustic.recording.recording import Recording

Hear = Callable[[NDArray[np.float64]], Recording]


def test_level_of_a_sine(heard: Hear, time_s: NDArray[np.float64]) -> None:
    """A sine of amplitude 0.5 at 400 Hz has 0.125, -9.03 dB, all in its band."""
    levels = frame_levels(heard(0.5 * np.sin(2 * np.pi * 400 * time_s)))
    band = next(k for k, (low, high) in enumerate(BANDS_HZ) if low <= 400 < high)
    np.testing.assert_allclose(levels.band_db[:, band], -9.03, atol=0.05)
    others = np.delete(levels.band_db, band, axis=1)
    assert others.max() < -60
    np.testing.assert_allclose(levels.machine_db, -9.03, atol=0.05)


def test_level_of_white_noise(heard: Hear, noise: NDArray[np.float64]) -> None:
    """White noise puts power into a band by its width."""
    levels = frame_levels(heard(noise))
    expected_db = 10 * np.log10(0.02**2 * (3500 - 1500) / 8000)
    power = np.mean(10 ** (levels.band_db[:, 4] / 10))
    assert 10 * np.log10(power) == pytest.approx(expected_db, abs=0.2)
    assert levels.time_s.size == 599
    assert levels.time_s[:2] == pytest.approx([0.05, 0.1])


def test_low_rates_and_short_clips(noise: NDArray[np.float64]) -> None:
    """Bands above half the rate are left away; a stub counts as one frame."""
    levels = frame_levels(Recording(noise[:8000].astype(np.float32), 4000))
    assert levels.bands_hz[-1] == (1500.0, 1960.0)
    assert frame_levels(Recording(noise[:10].astype(np.float32), 48000)).time_s.size == 1


def test_clipped_share(heard: Hear, noise: NDArray[np.float64]) -> None:
    """All samples of a second held at the top are counted there and nowhere else."""
    noise[16000:32000] = 1.0
    levels = frame_levels(heard(noise))
    inside = (levels.time_s > 1.06) & (levels.time_s < 1.94)
    assert np.all(levels.clipped[inside] == pytest.approx(1.0))
    assert np.all(levels.clipped[(levels.time_s < 0.9) | (levels.time_s > 2.1)] == 0)
