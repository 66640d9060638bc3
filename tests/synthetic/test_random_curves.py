"""Random curves and noise."""

import numpy as np
import pytest
import scipy.fft as fft

from acoustic.synthetic.random_curves import humps_db, noise_spectrum, slow_curve


def test_slow_curve_has_unit_rms_and_stays_slow(rng: np.random.Generator) -> None:
    """Zero mean, rms 1, and next to nothing above ten times its corner."""
    curve = slow_curve(rng, 4000, 100.0, 0.5, steepness=2.0)
    assert curve.mean() == pytest.approx(0.0, abs=1e-9)
    assert np.sqrt(np.mean(curve**2)) == pytest.approx(1.0)
    power = np.abs(np.fft.rfft(curve * np.hanning(4000))) ** 2
    frequency = np.fft.rfftfreq(4000, 0.01)
    assert power[frequency > 5.0].sum() < 1e-3 * power.sum()


def test_noise_spectrum_follows_its_amplitude(rng: np.random.Generator) -> None:
    """White noise of bin rms sqrt(n) has mean square 1, and an empty half stays empty."""
    size = 65536
    amplitude = np.full(size // 2 + 1, np.sqrt(size), np.float32)
    assert fft.irfft(noise_spectrum(rng, amplitude), size).std() == pytest.approx(1.0, rel=0.02)
    amplitude[size // 4 :] = 0.0
    assert not noise_spectrum(rng, amplitude)[size // 4 :].any()


def test_humps_raise_and_never_lower(rng: np.random.Generator) -> None:
    """Each hump adds 3 to 12 dB at its centre; none gives a flat curve."""
    frequency = np.geomspace(50, 8000, 500)
    assert not humps_db(rng, frequency, 0, 100, 4000).any()
    level = humps_db(rng, frequency, 3, 100, 4000)
    assert level.min() > 0
    assert 2.5 < level.max() < 36
