"""Critical bands of the made components."""

import numpy as np
import pytest
import scipy.fft as fft

from acoustic.synthetic.critical_band import BandPower, critical_edges_hz, critical_width_hz


def test_widths_as_printed() -> None:
    """ECMA-418-1:2024 prints 162.2 Hz at 1000 Hz and 117.3 Hz at 500 Hz."""
    assert critical_width_hz(1000.0) == pytest.approx(162.2, abs=0.05)
    assert critical_width_hz(500.0) == pytest.approx(117.3, abs=0.05)


def test_edges_as_printed() -> None:
    """ECMA-418-1:2024 prints 922.2 and 1084.4 Hz at 1000 Hz; even about f up to 500 Hz."""
    assert critical_edges_hz(1000.0) == pytest.approx((922.2, 1084.4), abs=0.05)
    low, high = critical_edges_hz(500.0)
    assert (low + high) / 2 == pytest.approx(500.0)
    assert critical_edges_hz(20.0)[0] == 0.0


def test_power_of_a_sine_and_of_white_noise() -> None:
    """A sine of amplitude 0.2 has mean square 0.02; white noise shares its power evenly."""
    rate, size = 8000.0, 80000
    time = np.arange(size) / rate
    sine = (0.2 * np.sin(2 * np.pi * 440.0 * time)).astype(np.float32)
    power = BandPower(fft.rfft(sine), size, rate)
    assert power.around(440.0) == pytest.approx(0.02, rel=1e-4)
    assert power.between(1000.0, 2000.0) == pytest.approx(0.0, abs=1e-8)
    noise = np.random.default_rng(1).standard_normal(size, dtype=np.float32)
    power = BandPower(fft.rfft(noise), size, rate)
    assert power.between(1000.0, 2000.0) == pytest.approx(0.25, rel=0.03)
