"""Pitch diameters by the way of measuring."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.drive.pulleys import (
    MEASURED_TOLERANCE,
    diameter_tolerance,
    pitch_diameter_mm,
    rim_diameter_mm,
    slip_ratio,
)
from acoustic.tables.knowledge import load_knowledge

PK = load_knowledge().belt_profiles["PK"]
diameters = st.floats(40, 300)


def test_one_pulley_measured_in_four_ways_is_one_pulley() -> None:
    """Effective diameter 100 mm: each way of measuring leads to 104 mm within its tolerance."""
    readings = {
        "drawing": 100.0,
        "caliper over ribs": 99.5,  # tips between 0 and 0.9 mm lower
        "tape round the belt": 106.4,  # pitch line plus 1.2 mm to the back, both sides
        "estimate": 100.0,
    }
    for measured, reading in readings.items():
        pitch = pitch_diameter_mm(reading, measured, PK, back_side=False)
        assert pitch == pytest.approx(104, rel=MEASURED_TOLERANCE[measured])


def test_flat_pulley_under_the_back() -> None:
    """A flat 70 mm pulley runs on a pitch circle of 72.4 mm."""
    assert pitch_diameter_mm(70, "flat back-side pulley", PK, back_side=True) == 72.4
    assert pitch_diameter_mm(70, "drawing", PK, back_side=True) == 72.4


def test_tape_over_the_ribs_of_a_belt_lying_on_its_back() -> None:
    """Belt 4.6 mm high on a flat 70 mm pulley: the tape reads 79.2 mm, pitch is 72.4 mm."""
    assert pitch_diameter_mm(79.2, "tape round the belt", PK, back_side=True) == pytest.approx(72.4)


def test_surer_ways_have_smaller_tolerances() -> None:
    """Drawing before flat pulley, tape, caliper and estimate."""
    order = ["drawing", "flat back-side pulley", "tape round the belt", "caliper over ribs"]
    order += ["not said", "estimate"]
    values = [MEASURED_TOLERANCE[measured] for measured in order]
    assert values == sorted(values)
    assert MEASURED_TOLERANCE["drawing"] == 0.003
    assert MEASURED_TOLERANCE["caliper over ribs"] == 0.01
    assert MEASURED_TOLERANCE["estimate"] == 0.05


def test_doubt_about_the_cord_counts_more_on_small_back_side_pulleys() -> None:
    """0.17 mm radially is 0.47 % of 72.4 mm, together with a drawing's 0.3 % 0.56 %."""
    assert diameter_tolerance(72.4, "drawing", back_side=True) == pytest.approx(0.0056, abs=1e-4)
    assert diameter_tolerance(72.4, "drawing", back_side=False) == 0.003
    assert diameter_tolerance(72.4, "flat back-side pulley", back_side=True) == 0.006


@given(diameters, st.booleans())
def test_drawn_rim_is_the_diameter_typed_in(diameter, back_side) -> None:
    """From a drawing's diameter to the pitch circle and back to the rim."""
    pitch = pitch_diameter_mm(diameter, "drawing", PK, back_side)
    assert rim_diameter_mm(pitch, PK, back_side) == pytest.approx(diameter)


@given(diameters, diameters)
def test_ratio_there_and_back_is_one(first, second) -> None:
    """Driving A by B undoes driving B by A."""
    assert slip_ratio(first, second) * slip_ratio(second, first) == pytest.approx(1)


def test_slip_lowers_the_driven_speed() -> None:
    """2 % slip, 2 % slower."""
    assert slip_ratio(100, 50, slip=0.02) == pytest.approx(1.96)
