"""What a blow makes ring."""

import numpy as np
import pytest

from acoustic.synthetic.crank_speed import scene_clock
from acoustic.synthetic.ringing import Ringing, draw_ringing, strike

CLOCK = scene_clock(1.0, 48000)


def test_a_blow_rings_at_its_frequency_and_dies_away(rng: np.random.Generator) -> None:
    """Struck at .5 s, 2 kHz, 2 ms: silent before; 10 ms later 20 log10 e^5 = 43.4 dB less."""
    ringing = Ringing(((2000.0, 0.002, 0.0),))
    sound = strike(ringing, np.array([0.5]), np.array([0.0]), CLOCK, rng)
    assert np.all(sound[:24000] == 0.0)
    first = np.abs(sound[24000:24024]).max()
    later = np.abs(sound[24480:24504]).max()
    assert 20 * np.log10(first / later) == pytest.approx(43.4, abs=0.2)
    power = np.abs(np.fft.rfft(sound)) ** 2
    frequency = np.fft.rfftfreq(sound.size, 1 / 48000)
    assert frequency[np.argmax(power)] == pytest.approx(2000.0, abs=15.0)


def test_its_band_ends_where_a_resonance_has_a_tenth_of_its_power(
    rng: np.random.Generator,
) -> None:
    """Half width 1/(2π .001 s) = 159 Hz, three of them either side: 3000 ± 477 Hz."""
    ringing = Ringing(((3000.0, 0.001, 0.0),))
    assert ringing.band_hz == pytest.approx((2522.5, 3477.5), abs=0.5)
    sound = strike(ringing, np.array([0.5]), np.array([0.0]), CLOCK, rng)
    power = np.abs(np.fft.rfft(sound)) ** 2
    place = (np.array([*ringing.band_hz, 3000.0]) * sound.size / 48000).astype(int)
    low, high, peak = power[place]
    assert 10 * np.log10(low / peak) == pytest.approx(-10.0, abs=1.5)
    assert 10 * np.log10(high / peak) == pytest.approx(-10.0, abs=1.5)


def test_levels_are_those_of_the_whole_ring(rng: np.random.Generator) -> None:
    """A blow 6 dB louder, to the 2 dB blows differ in timbre; equal work, short ring or long."""
    ratios = []
    for decay_s in (0.001, 0.004):
        ringing = Ringing(((3000.0, decay_s, 0.0),))
        at, level_db = np.array([0.2, 0.7] * 40), np.array([0.0, 6.0] * 40)
        works = [
            np.sum(strike(ringing, at[[i]], level_db[[i]], CLOCK, rng) ** 2) for i in range(80)
        ]
        levels = 10 * np.log10(works)
        ratios.append(levels[0::2].mean())
        assert (levels[1::2] - levels[0::2]).mean() == pytest.approx(6.0, abs=1.5)
    assert ratios[0] == pytest.approx(ratios[1], abs=1.5)


def test_drawn_resonances_keep_to_their_limits(rng: np.random.Generator) -> None:
    """Two to four, within a ratio of 2.5, below what the rate carries."""
    for rate in (8000.0, 48000.0):
        for _ in range(100):
            modes = draw_ringing(rng, rate, (1500.0, 8000.0), (0.0005, 0.003)).modes
            tones = [frequency for frequency, _, _ in modes]
            assert 2 <= len(modes) <= 4
            assert max(tones) <= min(8000.0, 0.42 * rate) + 1e-6
            assert max(tones) <= 2.5 * min(tones) + 1e-6
            assert all(0.0004 < decay_s <= 0.003 for _, decay_s, _ in modes)
