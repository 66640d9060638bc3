"""Groove geometry of V-ribbed pulleys: SAE J1459-2022 (public summary), ISO 9982, ISO 11749."""

import dataclasses

import pytest

from acoustic.drive.pulleys import groove_diameters_mm, pitch_diameter_mm, tip_correction_mm
from acoustic.tables.knowledge import load_knowledge

PK = load_knowledge().belt_profiles["PK"]


@pytest.mark.parametrize(
    ("groove_deg", "ridge_mm", "tip_mm"), [(40, -0.028, -1.875), (37, 0.261, -1.805)]
)
def test_four_printed_diameters(groove_deg, ridge_mm, tip_mm) -> None:
    """Ridge-apex and tip diameter less the diameter over balls, tip radius 0.48 mm."""
    profile = dataclasses.replace(PK, groove_angle_deg=groove_deg)
    ridge, tip = groove_diameters_mm(profile, tip_radius_mm=0.48)
    assert ridge == pytest.approx(ridge_mm, abs=0.001)
    assert tip == pytest.approx(tip_mm, abs=0.001)


def test_check_ball_correction_of_every_profile(published) -> None:
    """At the least tip radius the tip diameter is d_e, so 2x = -(tip - balls) as printed."""
    for row in published("groove_geometry.csv"):
        profile = load_knowledge().belt_profiles[row["profile"]]
        _, tip = groove_diameters_mm(profile, float(row["tip_radius_mm"]))
        assert -tip == pytest.approx(float(row["two_x_mm"]), abs=float(row["tolerance_mm"]))
        assert profile.two_x_mm == float(row["two_x_mm"])
        assert profile.rib_pitch_mm == float(row["rib_pitch_mm"])


def test_caliper_over_the_ribs_reads_up_to_0_885_mm_low() -> None:
    """Tip radius 0.48 mm: 0.885 mm under d_e; half of it is put back."""
    _, sharp = groove_diameters_mm(PK, 0.25)
    _, blunt = groove_diameters_mm(PK, 0.48)
    assert sharp - blunt == pytest.approx(0.885, abs=0.001)
    assert tip_correction_mm(PK) == pytest.approx(0.885 / 2, abs=0.001)
    assert pitch_diameter_mm(149.115, "caliper over ribs", PK, back_side=False) == pytest.approx(
        154, abs=0.45
    )


def test_uncorrected_caliper_readings_mislead_by_5_6_percent() -> None:
    """149.115 / 54.115 as read gives 2.755521, 5.6 % off; corrected it is within 0.8 %."""
    driver = pitch_diameter_mm(149.115, "caliper over ribs", PK, back_side=False)
    driven = pitch_diameter_mm(54.115, "caliper over ribs", PK, back_side=False)
    true_ratio = pitch_diameter_mm(150, "drawing", PK, back_side=False) / pitch_diameter_mm(
        55, "drawing", PK, back_side=False
    )
    assert driver / driven == pytest.approx(true_ratio, rel=0.008)
    assert true_ratio * 1.056 == pytest.approx(149.115 / 54.115, rel=0.001)
