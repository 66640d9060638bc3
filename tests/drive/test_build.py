"""From a layout to the drive: every way of driving a shaft, and what it hangs on."""

import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.layout_file import parse_drive, parse_layout, read_drive
from acoustic.errors import DriveError

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


def test_belt_turns_once_in_so_many_turns(small) -> None:
    """Pitch length 1000 + 4 pi mm on a 154 mm pulley; part and family of its own."""
    drive = parse_drive(small)
    length = 1000 + 4 * 3.14159265
    assert drive.belts["main"].turn_order == pytest.approx(3.14159265 * 154 / length)
    assert drive.parts["belt main"].kind == "belt"


def test_gears_chain_coupling_and_ratio() -> None:
    """Toothed drives are exact, a fast coupling too; a loose one slips, a ratio is measured."""
    drive = parse_drive(
        """
        name = "shafts only"
        engine = { cylinders = 6 }
        shaft = [
          { name = "gears", driven_by = { kind = "gears", teeth = [48, 37, 32] } },
          { name = "one mesh", driven_by = { kind = "gears", from = "gears", teeth = [20, 40] } },
          { name = "chain", driven_by = { kind = "chain", teeth = [21, 42], links = 84 } },
          { name = "coupled", driven_by = { kind = "coupling", from = "gears" } },
          { name = "loose", driven_by = { kind = "coupling", from = "gears", may_slip = true } },
          { name = "free", driven_by = { kind = "coupling", from = "gears", overrunning = "one-way" } },
          { name = "measured", driven_by = { kind = "ratio", ratio = 0.85, tolerance_percent = 4 } },
        ]
        component = [{ name = "pump", kind = "gear pump", on = "coupled", teeth = 12 }]
        """  # noqa: E501
    )
    shafts = drive.shafts
    assert (shafts["gears"].ratio, shafts["gears"].sense) == (1.5, 1)
    assert (shafts["one mesh"].ratio, shafts["one mesh"].sense) == (0.75, -1)
    assert (shafts["chain"].ratio, shafts["chain"].sense) == (0.5, 1)
    for name in ("gears", "one mesh", "chain", "coupled"):
        assert shafts[name].locked
        assert not shafts[name].depends_on
    assert dict(shafts["loose"].depends_on) == {"slip of coupling to loose": -1}
    assert dict(shafts["free"].depends_on) == {"overrun of free": 1}
    assert not shafts["loose"].locked
    assert drive.unknowns["ratio of measured"].sd == 0.04
    assert drive.parts["chain to chain"].quantities["chain_turn"] == 0.25
    assert drive.parts["gears to one mesh"].shaft == "gears"


def test_two_components_on_one_pulley() -> None:
    """Water pump and steering pump behind one pulley are one shaft."""
    drive = read_drive_of("rear_six.toml")
    assert drive.parts["water pump"].shaft == drive.parts["steering pump"].shaft == "pumps pulley"


def test_gear_driven_shaft_drives_the_belt() -> None:
    """No crank pulley: belt and coupling hang on the accessory shaft at exactly 1.5."""
    drive = read_drive_of("rear_six.toml")
    assert drive.shafts["accessory shaft"].ratio == 1.5
    assert drive.shafts["accessory shaft"].locked
    pumps = drive.shafts["pumps pulley"]
    assert pumps.way[0] == "gears 48:37:32 from crankshaft"
    assert "overrun of drive pulley" in pumps.depends_on
    assert not any("crank" in name for name in pumps.depends_on)


def test_overrunning_pulley_runs_free_towards_the_component() -> None:
    """Driven: the shaft inside may run faster. Driving: the body may."""
    diesel = read_drive_of("two_belt_diesel.toml")
    inside, rim = diesel.shafts["alternator"], diesel.shafts["alternator rim"]
    assert inside.ratio == rim.ratio
    assert set(inside.depends_on) - set(rim.depends_on) == {"overrun of alternator"}
    assert diesel.parts["alternator"].shaft == "alternator"
    assert diesel.pulleys["alternator"].shaft == "alternator rim"
    rear = read_drive_of("rear_six.toml")
    assert rear.pulleys["drive pulley"].shaft == "drive pulley rim"
    assert "overrun of drive pulley" not in rear.shafts["accessory shaft"].depends_on


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


def test_odd_fire() -> None:
    """Firing angles that are not even are an odd-fire engine."""
    text = """
name = "odd"
component = [{ name = "damper", kind = "damper", on = "crankshaft" }]
[engine]
cylinders = 6
firing_angles_deg = [0, 90, 240, 330, 480, 570]
"""
    assert parse_drive(text).engine.odd_fire


def test_what_could_not_be_predicted_is_said(small) -> None:
    """Counts and bearings left out are told in the notes, with what is lost by it."""
    text = small.replace("poles = 12\n", "").replace('bearings = [{ designation = "6203" }]\n', "")
    notes = parse_drive(text).notes
    assert any("alternator: pole_pairs not given" in note for note in notes)
    assert any(note.startswith("no bearings given for idler") for note in notes)
    silent = parse_drive(text + "bearings = []\n").notes
    assert not any("no bearings given" in note for note in silent)


def test_faults_without_a_file(small) -> None:
    """A layout built in code is refused with the same words, without lines."""
    layout = parse_layout(small.replace("vanes", "x").replace('"6303"', '"6399"'))
    with pytest.raises(DriveError, match=r"^bench: \[component 1\] bearings 1 designation: '6399'"):
        build_drive(layout, where="bench")


def read_drive_of(name):
    """Drive of a sample layout."""
    from pathlib import Path

    return read_drive(Path(__file__).resolve().parents[2] / "samples" / "layouts" / name)
