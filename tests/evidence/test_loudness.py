"""K-weighted loudness against what the standard itself states."""

import numpy as np
import pytest

from acoustic.evidence.loudness import SILENT_LKFS, k_weight, loudness_lkfs, matched_pair


def sine(hz, rate_hz, seconds=5.0, amplitude=1.0):
    """A plain tone."""
    time = np.arange(int(seconds * rate_hz)) / rate_hz
    return (amplitude * np.sin(2 * np.pi * hz * time)).astype(np.float32)


@pytest.mark.parametrize("rate_hz", [8000.0, 16000.0, 44100.0, 48000.0, 96000.0])
def test_the_tone_of_the_standard(rate_hz):
    """A sine of 997 Hz at full scale in one channel has -3.01 LKFS (ITU-R BS.1770, annex 1)."""
    assert loudness_lkfs(sine(997.0, rate_hz), rate_hz) == pytest.approx(-3.01, abs=0.01)


def test_loudness_goes_with_the_level():
    """Ten times smaller is 20 dB less; silence has the least there is."""
    loud, soft = (loudness_lkfs(sine(500.0, 16000.0, amplitude=a), 16000.0) for a in (0.5, 0.05))
    assert loud - soft == pytest.approx(20.0, abs=0.01)
    assert loudness_lkfs(np.zeros(1000, np.float32), 16000.0) == SILENT_LKFS


def test_the_curve():
    """Highs 4 dB up, bass falling away (shape of ITU-R BS.1770, annex 1, figures 2 and 4)."""
    weight_db = 10 * np.log10(k_weight(np.array([20.0, 100.0, 500.0, 10000.0])))
    assert weight_db[3] == pytest.approx(4.0, abs=0.1)
    assert weight_db[2] == pytest.approx(0.0, abs=0.3)
    assert weight_db[0] < -12
    assert -2 < weight_db[1] < 0


def test_a_pair_is_matched_and_does_not_clip():
    """A dull and a bright noise 17 dB apart: within 0.5 dB after, gains as stated."""
    rng = np.random.default_rng(4)
    white = rng.standard_normal(48000).astype(np.float32)
    dull = (0.4 * np.convolve(white, np.ones(8) / 8, "same")).astype(np.float32)
    bright = 0.02 * rng.standard_normal(50000).astype(np.float32)
    pair = matched_pair(dull, bright, 48000.0, 0.7)
    left, right = pair.samples.T
    assert pair.samples.shape == (48000, 2)
    assert loudness_lkfs(left, 48000.0) == pytest.approx(loudness_lkfs(right, 48000.0), abs=0.5)
    assert np.abs(pair.samples).max() == pytest.approx(0.7, abs=1e-6)
    assert left == pytest.approx(dull * 10 ** (pair.gains_db[0] / 20), abs=1e-6)
    assert right == pytest.approx(bright[:48000] * 10 ** (pair.gains_db[1] / 20), abs=1e-6)
    before_db = pair.loudness_lkfs[0] - pair.loudness_lkfs[1]
    assert pair.gains_db[1] - pair.gains_db[0] == pytest.approx(before_db, abs=1e-6)
    assert before_db > 3
