"""Computed order tracking against a plain FFT and against SciPy as an independent witness.

The method: K. R. Fyfe, E. D. S. Munck, Mechanical Systems and Signal Processing 11 (1997)
187-205 (from memory). SciPy's cubic splines and Welch estimate share no code with ours
(which filters with soxr and uses fifth-order splines and its own averaging).
"""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.signal import resample_poly, welch

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import OrderBand
from acoustic.evidence.order_spectrum import track_orders
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

FOUR = Engine(4, 4, 2.0, 0.5, False, (650, 900), (650, 3000), "clockwise")
RATE_HZ = 8000
SECONDS = 20.0
ORDERS = (21.27, 29.77, 36.23)


@pytest.fixture(scope="module")
def sweep() -> tuple[np.ndarray, np.ndarray, SpeedTrace]:
    """Three tones of fixed order while the engine runs from 800 to 1200 rpm, in noise."""
    time = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    start_hz, slope = 800 / 60, (1200 - 800) / 60 / SECONDS
    turns = start_hz * time + 0.5 * slope * time**2
    sound = 0.02 * np.random.default_rng(11).standard_normal(time.size)
    for order in ORDERS:
        sound += 0.05 * np.sin(2 * np.pi * order * turns)
    grid = np.linspace(0.0, SECONDS, 201)
    return sound, turns, SpeedTrace(grid, start_hz + slope * grid, "given", 0.0)


@pytest.fixture(scope="module")
def band(sweep) -> OrderBand:
    """Orders 12 to 40 of that sweep."""
    sound, _, speed = sweep
    spectrum = track_orders(
        Recording(sound.astype(np.float32), RATE_HZ),
        Stretches((Stretch(0.0, SECONDS),), ()),
        speed,
        FOUR,
        3600.0,
    )
    return next(b for b in spectrum.bands if b.orders[0] == 12.0)


def test_a_tone_of_one_order_lands_in_one_bin(band) -> None:
    """Each tone tops in the bin of its order, with its window's two neighbours and no more."""
    for order in ORDERS:
        top = int(np.argmin(np.abs(band.orders - order)))
        near = band.level_db[top - 8 : top + 9]
        assert int(np.argmax(near)) == 8
        assert np.all(near[[0, 1, 2, 3, 4, -5, -4, -3, -2, -1]] < near[8] - 20.0)


def test_a_plain_spectrum_smears_it(sweep, band) -> None:
    """Over Hz the same tone is spread over the sweep's range and stands 15 dB lower."""
    sound, _, _ = sweep
    seconds = band.revolutions / (1000 / 60)
    hz, power = welch(sound, RATE_HZ, "hann", nperseg=int(seconds * RATE_HZ))
    order = ORDERS[0]
    swept = (hz > order * 800 / 60) & (hz < order * 1200 / 60)
    over_hz_db = 10 * np.log10(power[swept].max() / np.median(power))
    top = int(np.argmin(np.abs(band.orders - order)))
    over_order_db = float(band.level_db[top] - np.median(band.level_db))
    assert over_order_db - over_hz_db > 15.0
    spread = np.sum(power[swept] > 0.1 * power[swept].max())
    own = np.sum(band.level_db[top - 20 : top + 21] > band.level_db[top] - 10.0)
    assert own <= 3
    assert spread > 100


def test_scipy_sees_the_same_order_spectrum(sweep, band) -> None:
    """Splines and Welch from SciPy: every bin within 0.6 dB, the tones within 0.1 dB.

    Both are levels over their own median; SciPy interpolates a fourfold oversampled
    signal at equal angles.
    """
    sound, turns, _ = sweep
    fine = resample_poly(sound, 4, 1)
    fine_turns = np.interp(np.arange(fine.size) / 4, np.arange(turns.size), turns)
    per_turn = 512
    wanted = np.arange(0, turns[-1], 1 / per_turn)
    at = np.interp(wanted, fine_turns, np.arange(fine.size))
    angular = CubicSpline(np.arange(fine.size), fine)(at)
    points = band.revolutions * per_turn
    order, power = welch(angular, per_turn, "hann", nperseg=points, detrend=False)
    same = (order > band.orders[0] - 1e-6) & (order < band.orders[-1] + 1e-6)
    theirs = 10 * np.log10(power[same])
    ours = band.level_db
    assert order[same] == pytest.approx(band.orders)
    difference = (ours - np.median(ours)) - (theirs - np.median(theirs))
    assert np.abs(difference).max() < 0.6
    for tone in ORDERS:
        top = int(np.argmin(np.abs(band.orders - tone)))
        assert difference[top] == pytest.approx(difference.mean(), abs=0.1)
