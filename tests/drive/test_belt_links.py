"""Links over belts: what the speed of a belt-driven shaft hangs on."""

import pytest

from acoustic.drive.layout_file import parse_drive

SLIP = "slip of belt main"


def test_belt_drive(small) -> None:
    """Alternator 154/60, idler 154/72.4 against the crankshaft, both slipping together."""
    drive = parse_drive(small)
    alternator, idler = drive.shafts["alternator"], drive.shafts["idler"]
    assert alternator.ratio == pytest.approx(154 / 60)
    assert idler.ratio == pytest.approx(154 / 72.4)
    assert (alternator.sense, idler.sense) == (1, -1)
    for shaft in (alternator, idler):
        assert shaft.depends_on[SLIP] == -1
        assert shaft.depends_on["diameter of crank pulley"] == 1
        assert shaft.belt == "main"
        assert not shaft.locked
    assert alternator.depends_on["diameter of alternator"] == -1
    assert drive.unknowns[SLIP].high == 0.03


def test_diameter_slopes_are_derivatives(small) -> None:
    """One per mille more on a pulley moves the ratio as d(ln ratio) says."""
    drive = parse_drive(small)
    wider = parse_drive(small.replace("diameter_mm = 150", f"diameter_mm = {154 * 1.001 - 4}"))
    for name in ("alternator", "idler"):
        moved = wider.shafts[name].ratio / drive.shafts[name].ratio - 1
        slope = drive.shafts[name].depends_on["diameter of crank pulley"]
        assert moved == pytest.approx(slope * 0.001, rel=1e-3)


def test_belts_in_series(small) -> None:
    """A second belt from the alternator's shaft slips on top of the first."""
    second = """
[[belt]]
name = "second"
section = "4PK"
path = ["small pulley", "blower"]
[[pulley]]
name = "small pulley"
on = "alternator"
diameter_mm = 46
measured = "drawing"
[[component]]
name = "blower"
kind = "rotating accessory"
pulley = { diameter_mm = 96, measured = "drawing" }
"""
    drive = parse_drive(small + second)
    blower = drive.shafts["blower"]
    assert blower.ratio == pytest.approx(154 / 60 / 2)
    assert blower.depends_on["slip of belt main"] == -1
    assert blower.depends_on["slip of belt second"] == -1
    assert blower.belt == "second"


def test_measured_speed_ratio_stands_by_itself(small) -> None:
    """A ratio measured with a strobe holds no slip and no diameters."""
    text = small.replace('diameter_mm = 56, measured = "drawing"', "speed_ratio = 2.6")
    drive = parse_drive(text)
    assert dict(drive.shafts["alternator"].depends_on) == {"ratio of alternator": 1}
    assert drive.unknowns["ratio of alternator"].sd == 0.005
    assert drive.pulleys["alternator"].pitch_diameter_mm is None


def test_driver_without_diameter_is_found_from_a_measured_pulley(small) -> None:
    """Known ratio and diameter of one pulley give the belt's speed for the others."""
    text = small.replace('diameter_mm = 150\nmeasured = "drawing"\n', "").replace(
        "diameter_mm = 56,", "diameter_mm = 56, speed_ratio = 2.5,"
    )
    drive = parse_drive(text)
    idler = drive.shafts["idler"]
    assert idler.ratio == pytest.approx(2.5 * 60 / 72.4)
    assert idler.sense == -1
    assert SLIP not in idler.depends_on
    assert idler.depends_on["ratio of alternator"] == 1


def test_unmeasured_pulley_takes_the_usual_ratio_widely(small) -> None:
    """Neither diameter nor ratio: the kind's usual range, and a note that says so."""
    text = small.replace('pulley = { diameter_mm = 56, measured = "drawing" }', "pulley = {}")
    drive = parse_drive(text)
    low, high = drive.knowledge.kinds["alternator"].usual_ratio or (0, 0)
    assert low < drive.shafts["alternator"].ratio < high
    assert drive.unknowns["ratio of alternator"].sd > 0.1
    assert any("alternator: pulley not measured" in note for note in drive.notes)


def test_stated_tolerance_wins(small) -> None:
    """tolerance_percent beside the diameter replaces that of the way of measuring."""
    text = small.replace("diameter_mm = 56,", "diameter_mm = 56, tolerance_percent = 2,")
    assert parse_drive(text).unknowns["diameter of alternator"].sd == 0.02
