"""Levels block by block, and what is chosen by them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.survey import LevelSurvey, choose_channel, choose_window

RATE_HZ = 16000


def _survey(samples: NDArray[np.float64], block: int = 5000) -> LevelSurvey:
    survey = LevelSurvey(RATE_HZ, samples.shape[1])
    for start in range(0, samples.shape[0], block):
        survey.take(samples[start : start + block].astype(np.float32))
    return survey


def test_levels_do_not_depend_on_blocks(noise: NDArray[np.float64]) -> None:
    """A survey in blocks of any size is a survey of the whole."""
    samples = np.stack([noise, 0.5 * noise], axis=1)
    small, large = _survey(samples, 777).levels(), _survey(samples, 10**6).levels()
    np.testing.assert_allclose(small.power, large.power, rtol=1e-5)
    np.testing.assert_allclose(small.bright_power, large.bright_power, rtol=1e-5)
    assert small.power.shape == (120, 2)
    assert small.power.mean(axis=0) == pytest.approx([0.02**2, 0.01**2], rel=0.02)


def test_brightness_of_a_tone(time_s: NDArray[np.float64]) -> None:
    """The first difference of a sine of 1 kHz has 4 sin²(π f / fs) of its power."""
    tone = np.sin(2 * np.pi * 1000 * time_s)[:, np.newaxis]
    levels = _survey(tone).levels()
    expected = 0.5 * 4 * np.sin(np.pi * 1000 / RATE_HZ) ** 2
    assert levels.bright_power.mean() == pytest.approx(expected, rel=0.01)


def test_more_than_two_channels(noise: NDArray[np.float64]) -> None:
    """The loudest of several different channels is taken."""
    rng = np.random.default_rng(5)
    samples = np.stack([g * rng.permutation(noise) for g in (0.3, 1.0, 0.5)], axis=1)
    assert choose_channel(_survey(samples).levels())[0] == 1


def test_window_avoids_clipping_and_quiet(noise: NDArray[np.float64]) -> None:
    """The first window without clipped and quiet steps is taken."""
    noise[: 6 * RATE_HZ] *= 0.05
    noise[12 * RATE_HZ : 13 * RATE_HZ] = 1.0
    levels = _survey(noise[:, np.newaxis]).levels()
    assert choose_window(levels, 0, 10.0) == pytest.approx(13.0, abs=0.3)
    assert choose_window(levels, 0, 5.0) == pytest.approx(6.0, abs=0.3)
    assert choose_window(levels, 0, 60.0) == 0.0
