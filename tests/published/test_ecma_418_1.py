"""Critical bands, limits and tone-to-noise ratio of ECMA-418-1:2024 (ISO 7779, ECMA-74).

The printed examples come from the standard, the table beside it is explained in
ecma_418_1_limits.csv.
"""

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.evidence.audibility import (
    critical_band_edges_hz,
    critical_bandwidth_hz,
    prominence_limit_db,
    tone_to_noise_limit_db,
)
from acoustic.evidence.order_spectrum import track_orders
from acoustic.evidence.tones import tone_to_noise_db
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

FOUR = Engine(4, 4, 2.0, 0.5, False, (650, 900), (650, 3000), "clockwise")


def test_printed_examples() -> None:
    """162.2 Hz at 1 kHz, 117.3 Hz at 500 Hz; the band round 1 kHz is 922.2 to 1084.4 Hz."""
    assert critical_bandwidth_hz(1000.0) == pytest.approx(162.2, abs=0.05)
    assert critical_bandwidth_hz(500.0) == pytest.approx(117.3, abs=0.05)
    lower, upper = critical_band_edges_hz(1000.0)
    assert lower == pytest.approx(922.2, abs=0.05)
    assert upper == pytest.approx(1084.4, abs=0.05)


def test_table_of_bands_and_limits(published) -> None:
    """Bandwidth, edges and both limits from 89.1 Hz to 11.2 kHz."""
    rows = published("ecma_418_1_limits.csv")
    hz = np.array([float(row["tone_hz"]) for row in rows])
    lower, upper = critical_band_edges_hz(hz)
    columns = {
        "width_hz": (critical_bandwidth_hz(hz), 0.006),
        "lower_hz": (lower, 0.006),
        "upper_hz": (upper, 0.006),
        "tone_to_noise_limit_db": (tone_to_noise_limit_db(hz), 6e-4),
        "prominence_limit_db": (prominence_limit_db(hz), 6e-4),
    }
    for name, (ours, within) in columns.items():
        table = np.array([float(row[name]) for row in rows])
        assert ours == pytest.approx(table, abs=within), name


def _order_spectrum_of(tone_rms: float, noise_rms: float, tone_order: float, speed_hz: float):
    """A tone in white noise, 48 kHz, 16 s at one speed, as an order spectrum."""
    rng = np.random.default_rng(418)
    time = np.arange(16 * 48000) / 48000
    sound = tone_rms * np.sqrt(2) * np.sin(2 * np.pi * tone_order * speed_hz * time)
    sound += noise_rms * rng.standard_normal(time.size)
    speed = SpeedTrace(np.array([0.0]), np.array([speed_hz]), "given", 0.0)
    return track_orders(
        Recording(sound.astype(np.float32), 48000.0),
        Stretches((Stretch(0.0, 16.0),), ()),
        speed,
        FOUR,
        22000.0,
    )


@pytest.mark.parametrize(("tone_rms", "by_hand_db"), [(0.1, 27.72), (0.01, 7.72)])
def test_tone_to_noise_ratio_of_a_tone_in_white_noise(tone_rms, by_hand_db) -> None:
    """Tone 0.1 rms at 1 kHz in noise 0.05 rms up to 24 kHz: 27.72 dB, worked by hand.

    10 lg(0.1² / (0.05² · 162.22 / 24000)); 20 dB less for a tone of 0.01. Measured in the
    order spectrum, the tone in the middle of a bin, within 0.5 dB.
    """
    share = 162.22 / 24000
    assert 10 * np.log10(tone_rms**2 / (0.05**2 * share)) == pytest.approx(by_hand_db, abs=0.01)
    speed_hz = 1000.0 / 71.25
    spectrum = _order_spectrum_of(tone_rms, 0.05, 71.25, speed_hz)
    band = next(b for b in spectrum.bands if b.orders[0] <= 71.25 <= b.orders[-1])
    assert tone_to_noise_db(band, 71.25, speed_hz) == pytest.approx(by_hand_db, abs=0.5)


def test_a_tone_between_two_bins_is_measured_alike() -> None:
    """A plainly prominent tone (15 dB) half a bin off its bin's middle: within 1 dB."""
    tone_rms = 0.05 * np.sqrt(162.22 / 24000 * 10**1.5)
    order = 71.25 + 0.5 / 16
    spectrum = _order_spectrum_of(tone_rms, 0.05, order, 1000.0 / order)
    band = next(b for b in spectrum.bands if b.orders[0] <= order <= b.orders[-1])
    assert tone_to_noise_db(band, order, 1000.0 / order) == pytest.approx(15.0, abs=1.0)
