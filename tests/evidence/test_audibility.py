"""Audibility worked out line by line on spectra typed in by hand."""

import numpy as np
import pytest

from acoustic.evidence.audibility import (
    audibility_db,
    critical_band_edges_hz,
    critical_bandwidth_hz,
    mean_narrow_band_level_db,
    prominence_limit_db,
    tone_level_db,
    tone_to_noise_limit_db,
)


def test_bands_join_at_500_hz() -> None:
    """Arithmetic centre below, geometric above: no jump of more than the rules' own 3.4 Hz."""
    below, above = (critical_band_edges_hz(hz) for hz in (500.0, 500.001))
    assert above[0] - below[0] == pytest.approx(3.4, abs=0.1)
    lower, upper = critical_band_edges_hz(2000.0)
    assert np.sqrt(lower * upper) == pytest.approx(2000.0)
    assert upper - lower == pytest.approx(float(critical_bandwidth_hz(2000.0)))


def test_limits_are_flat_from_1_khz() -> None:
    """8 and 9 dB, and more below: a low tone must stand out further."""
    assert tone_to_noise_limit_db(4000.0) == 8.0
    assert prominence_limit_db(4000.0) == 9.0
    assert tone_to_noise_limit_db(100.0) == pytest.approx(8.0 + 8.33)
    assert prominence_limit_db(100.0) == pytest.approx(19.0)


def test_noise_alone_keeps_all_its_lines() -> None:
    """Twenty lines of 40 dB round a tone of 60: 40 less the window's 1.76 dB."""
    levels = np.full(21, 40.0)
    levels[10] = 60.0
    assert mean_narrow_band_level_db(levels, 10) == pytest.approx(40.0 - 1.76, abs=0.01)


def test_other_tones_do_not_count_as_noise() -> None:
    """Two more tones 25 dB up are dropped; the noise level stays as it was."""
    levels = np.full(41, 40.0)
    levels[[10, 20, 30]] = 65.0
    assert mean_narrow_band_level_db(levels, 20) == pytest.approx(40.0 - 1.76, abs=0.01)


def test_a_tone_in_one_line_has_that_lines_level() -> None:
    """Nothing beside it: no lines to add, no correction."""
    levels = np.full(21, 30.0)
    levels[10] = 60.0
    assert tone_level_db(levels, 10, 30.0) == pytest.approx(60.0)


def test_a_tone_over_three_lines_is_their_sum_less_the_windows_share() -> None:
    """60 and twice 54 dB: 10 lg(1 + 2/4) = 1.76 more, which the correction takes off again."""
    levels = np.full(21, 30.0)
    levels[9:12] = 60 - 20 * np.log10(2), 60.0, 60 - 20 * np.log10(2)
    assert tone_level_db(levels, 10, 30.0) == pytest.approx(60.0, abs=0.01)


def test_lines_beyond_a_gap_are_not_the_tones() -> None:
    """A second strong line two lines away belongs to another tone."""
    levels = np.full(21, 30.0)
    levels[[10, 12]] = 60.0, 58.0
    assert tone_level_db(levels, 10, 30.0) == pytest.approx(60.0)


def test_audibility_grows_with_the_tone() -> None:
    """Decibel for decibel, and falls likewise with the noise."""
    quiet = audibility_db(500.0, 50.0, 30.0, 2.7)
    assert audibility_db(500.0, 53.0, 30.0, 2.7) == pytest.approx(quiet + 3.0)
    assert audibility_db(500.0, 50.0, 33.0, 2.7) == pytest.approx(quiet - 3.0)
