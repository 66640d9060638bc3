"""Audibility of tones: ISO/PAS 20065:2016 Annex E, a combustion engine.

The printed figures and their source stand in iso_pas_20065_annex_e_lines.csv and
iso_pas_20065_annex_e_tones.csv; two more masking indices and the mean come from the text.
"""

import numpy as np
import pytest

from acoustic.evidence.audibility import (
    audibility_db,
    critical_bandwidth_hz,
    mean_narrow_band_level_db,
    tone_level_db,
)

LINE_SPACING_HZ = 2.7


@pytest.fixture
def printed_lines(published) -> tuple[np.ndarray, np.ndarray]:
    """The 38 printed lines round the 137.3 Hz tone: Hz and dB."""
    rows = published("iso_pas_20065_annex_e_lines.csv")
    hz = np.array([float(row["line_hz"]) for row in rows])
    return hz, np.array([float(row["level_db"]) for row in rows])


def test_noise_and_tone_level_of_the_printed_lines(printed_lines) -> None:
    """38 lines give L_S 49.22 dB, L_T 67.96 dB and an audibility of 4.99 dB."""
    hz, level_db = printed_lines
    assert hz.size == 38
    at_tone = int(np.flatnonzero(np.isclose(hz, 137.3, atol=0.15))[0])
    noise_db = mean_narrow_band_level_db(level_db, at_tone)
    tone_db = tone_level_db(level_db, at_tone, noise_db)
    assert noise_db == pytest.approx(49.22, abs=0.01)
    assert tone_db == pytest.approx(67.96, abs=0.01)
    assert audibility_db(137.3, tone_db, noise_db, LINE_SPACING_HZ) == pytest.approx(4.99, abs=0.03)


def test_audibility_of_the_nine_tones(published) -> None:
    """Every printed audibility follows from the printed noise and tone level."""
    rows = published("iso_pas_20065_annex_e_tones.csv")
    assert len(rows) == 9
    for row in rows:
        heard = audibility_db(
            float(row["tone_hz"]),
            float(row["tone_db"]),
            float(row["noise_line_db"]),
            LINE_SPACING_HZ,
        )
        assert heard == pytest.approx(float(row["audibility_db"]), abs=0.03), row["tone_hz"]


def test_critical_band_level_of_the_nine_tones(published) -> None:
    """L_G = L_S + 10 lg(critical bandwidth / line spacing), to the printed 0.02 dB."""
    for row in published("iso_pas_20065_annex_e_tones.csv"):
        widening_db = 10 * np.log10(critical_bandwidth_hz(float(row["tone_hz"])) / LINE_SPACING_HZ)
        band_db = float(row["noise_line_db"]) + float(widening_db)
        assert band_db == pytest.approx(float(row["critical_band_db"]), abs=0.02)


def test_tone_at_the_masked_threshold_is_just_not_heard() -> None:
    """Audibility is zero for a tone at critical band level plus a_v, -2.82 dB at 1 kHz."""
    band_db = 40 + 10 * np.log10(162.22 / LINE_SPACING_HZ)
    assert audibility_db(1000.0, band_db - 2.82, 40.0, LINE_SPACING_HZ) == pytest.approx(
        0.0, abs=0.01
    )
