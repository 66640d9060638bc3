"""The Hann window as tabulated by F. J. Harris, Proc. IEEE 66 (1978) 51-83 (from memory).

The exact values beside the printed ones stand in harris_1978_hann.csv. They are looked
for in the order spectrum itself, so that a wrong window or a wrong length would show.
"""

import numpy as np
import pytest

from acoustic.drive.drive import Engine
from acoustic.evidence.audibility import HANN_POWER_CORRECTION_DB
from acoustic.evidence.findings import OrderBand
from acoustic.evidence.order_spectrum import track_orders
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

FOUR = Engine(4, 4, 2.0, 0.5, False, (650, 900), (650, 3000), "clockwise")
SPEED_HZ = 20.0


def _band(tones: dict[float, float], noise_rms: float = 1e-4) -> OrderBand:
    """Orders 12 to 40 of sines {order: phase}, amplitude 1, at a steady 1200 rpm."""
    time = np.arange(20 * 4000) / 4000
    sound = noise_rms * np.random.default_rng(5).standard_normal(time.size)
    for order, phase in tones.items():
        sound += np.sin(2 * np.pi * order * SPEED_HZ * time + phase)
    spectrum = track_orders(
        Recording((0.1 * sound).astype(np.float32), 4000.0),
        Stretches((Stretch(0.0, 20.0),), ()),
        SpeedTrace(np.array([0.0]), np.array([SPEED_HZ]), "given", 0.0),
        FOUR,
        1800.0,
    )
    return next(band for band in spectrum.bands if band.orders[0] == 12.0)


@pytest.fixture(scope="module")
def turns() -> int:
    """Revolutions in one segment of that band: a bin is 1/turns wide."""
    return _band({20.25: 0.0}).revolutions


def _level_db(band: OrderBand, order: float) -> float:
    return float(band.level_db[np.argmin(np.abs(band.orders - order))])


def test_scalloping_loss(published, turns) -> None:
    """Half-way between two bins a line reads 1.42 dB lower than in the middle of one."""
    (hann,) = published("harris_1978_hann.csv")
    band = _band({16.25: 0.0, 28.25 + 0.5 / turns: 0.0})
    loss_db = _level_db(band, 16.25) - _level_db(band, 28.25 + 0.5 / turns)
    assert loss_db == pytest.approx(float(hann["exact_scalloping_db"]), abs=0.02)
    assert loss_db == pytest.approx(float(hann["scalloping_db"]), abs=0.02)


def test_half_amplitude_width(published, turns) -> None:
    """The line is 6.02 dB down one bin to each side (width 2.0 bins) and gone at two."""
    (hann,) = published("harris_1978_hann.csv")
    half_width = float(hann["half_amplitude_width_bins"]) / 2 / turns
    band = _band({20.25: 0.0})
    for side in (-half_width, half_width):
        drop_db = _level_db(band, 20.25) - _level_db(band, 20.25 + side)
        assert drop_db == pytest.approx(20 * np.log10(2), abs=0.02)
        assert _level_db(band, 20.25) - _level_db(band, 20.25 + 2 * side) > 60.0


def test_noise_bandwidth(published, turns) -> None:
    """A line's power is 1.5 times (1.76 dB) that of its top bin."""
    (hann,) = published("harris_1978_hann.csv")
    band = _band({20.25: 0.0})
    power = 10 ** (band.level_db[np.abs(band.orders - 20.25) < 2.5 / turns] / 10)
    assert power.sum() / power.max() == pytest.approx(
        float(hann["noise_bandwidth_bins"]), abs=0.002
    )
    assert pytest.approx(1.76, abs=0.005) == HANN_POWER_CORRECTION_DB


def test_two_equal_tones_two_bins_apart_are_resolved(turns) -> None:
    """Two lines 2/R apart in quadrature: the bin between is 3.01 dB lower, by hand.

    Each puts half its amplitude there; at right angles that is half the power.
    """
    band = _band({20.25: 0.0, 20.25 + 2 / turns: np.pi / 2})
    middle = _level_db(band, 20.25 + 1 / turns)
    for order in (20.25, 20.25 + 2 / turns):
        assert _level_db(band, order) - middle == pytest.approx(3.01, abs=0.05)


@pytest.mark.parametrize("phase", [0.0, np.pi / 2, np.pi])
def test_three_bins_apart_are_resolved_whatever_the_phase(turns, phase) -> None:
    """At 3/R each top stands at least 5 dB over the bins between."""
    band = _band({20.25: 0.0, 20.25 + 3 / turns: phase})
    between = max(_level_db(band, 20.25 + step / turns) for step in (1, 2))
    assert _level_db(band, 20.25) - between > 5.0
    assert _level_db(band, 20.25 + 3 / turns) - between > 5.0


def test_one_bin_apart_is_one_line(turns) -> None:
    """Closer than the window's width nothing can be told: one hump."""
    band = _band({20.25: 0.0, 20.25 + 1 / turns: np.pi / 2})
    near = np.abs(band.orders - 20.25 - 0.5 / turns) < 3.6 / turns
    rises = np.diff(np.sign(np.diff(band.level_db[near])))
    assert int(np.sum(rises < 0)) <= 1
