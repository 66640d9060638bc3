"""Surrounding noise and the way to the phone."""

from types import SimpleNamespace

import numpy as np
import pytest

from acoustic.synthetic.crank_speed import scene_clock
from acoustic.synthetic.probe_point import level_change_db, transfer_amplitude
from acoustic.synthetic.scene_settings import Condition, Surroundings
from acoustic.synthetic.surroundings import make_noise_spectrum

CLOCK = scene_clock(5.0, 48000)


def octave_levels_db(power: np.ndarray) -> np.ndarray:
    """Density level in octaves from 125 Hz to 8 kHz."""
    frequency = np.arange(power.size) * CLOCK.rate_hz / CLOCK.full_samples
    centres = 125.0 * 2.0 ** np.arange(7)
    return np.array(
        [
            10 * np.log10(power[(frequency > c / 2**0.5) & (frequency < c * 2**0.5)].mean())
            for c in centres
        ]
    )


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_noise_falls_with_its_slope(rng: np.random.Generator, slope: float) -> None:
    """1/f^a falls by 3.01 a dB per octave of density."""
    settings = Surroundings(slope=(slope, slope), humps=(0, 0))
    power = np.abs(make_noise_spectrum(CLOCK, settings, rng)) ** 2
    assert np.diff(octave_levels_db(power)) == pytest.approx(-3.01 * slope, abs=0.6)


def test_way_to_the_phone_is_uneven_but_smooth(rng: np.random.Generator) -> None:
    """Rms 5 dB over log frequency, and less than 2 dB of change within 1 %."""
    amplitude = transfer_amplitude(CLOCK, Surroundings(transfer_db=5.0), rng)
    bins = np.geomspace(500, amplitude.size - 1, 1000).astype(int)
    level = 20 * np.log10(amplitude[bins])
    assert 2.0 < level.std() < 8.0
    finely = 20 * np.log10(amplitude[np.round(bins * 0.99).astype(int)])
    assert np.abs(level - finely).max() < 2.0


def test_level_at_a_point_and_under_load() -> None:
    """Own point up, others down, in front of the drive neither; a load adds what it says."""
    settings = Surroundings(own_point_db=5.0, other_point_db=-5.0)
    pump = SimpleNamespace(part="pump", load_db={"steering": 8.0})
    idler = SimpleNamespace(part="idler", load_db={})
    at_pump = Condition(probe_part="pump")
    assert level_change_db(pump, at_pump, settings) == 5.0
    assert level_change_db(idler, at_pump, settings) == -5.0
    assert level_change_db(idler, Condition(), settings) == 0.0
    turned = Condition(probe_part="pump", loads=("steering", "electrical load"))
    assert level_change_db(pump, turned, settings) == 13.0
    assert level_change_db(idler, turned, settings) == -5.0
