"""Sounds in bands and their level there."""

import numpy as np
import pytest

from acoustic.synthetic.band_part import BandPart, add_parts
from acoustic.synthetic.crank_speed import scene_clock
from acoustic.synthetic.critical_band import BandPower


def test_every_part_stands_at_the_level_in_its_own_band(rng: np.random.Generator) -> None:
    """White noise of 1 per hertz against parts of any level in two bands: -6 dB in each."""
    clock = scene_clock(2.0, 48000)
    bins = clock.full_samples // 2 + 1
    frequency = np.fft.rfftfreq(clock.full_samples, 1 / clock.rate_hz)

    def noise(low: float, high: float, loud: float) -> np.ndarray:
        drawn = rng.standard_normal(bins) + 1j * rng.standard_normal(bins)
        inside = (frequency >= low) & (frequency < high)
        return np.asarray(loud * drawn * inside, dtype=np.complex64)

    rest = noise(0.0, 24000.0, 1.0)
    parts = [
        BandPart(noise(low, high, loud), low, high)
        for low, high, loud in ((1000.0, 2000.0, 9.0), (4000.0, 4500.0, 0.1))
    ]
    power = BandPower(rest, clock.full_samples, clock.rate_hz)
    total, _ = add_parts(parts, power, -6.0, clock)
    for part in parts:
        inside = (frequency >= part.low_hz) & (frequency < part.high_hz)
        ratio = np.sum(np.abs(total[inside]) ** 2) / np.sum(np.abs(rest[inside]) ** 2)
        assert 10 * np.log10(ratio) == pytest.approx(-6.0, abs=0.05)
