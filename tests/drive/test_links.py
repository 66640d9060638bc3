"""Links over gears, chains, couplings and one-way clutches."""

import pytest

from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive


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


def test_gear_driven_shaft_drives_the_belt(sample_drive) -> None:
    """No crank pulley: belt and coupling hang on the accessory shaft at exactly 1.5."""
    drive = sample_drive("rear_six.toml")
    assert drive.shafts["accessory shaft"].ratio == 1.5
    assert drive.shafts["accessory shaft"].locked
    pumps = drive.shafts["pumps pulley"]
    assert pumps.way[0] == "gears 48:37:32 from crankshaft"
    assert "overrun of drive pulley" in pumps.depends_on
    assert not any("crank" in name for name in pumps.depends_on)


def test_overrunning_pulley_runs_free_towards_the_component(sample_drive) -> None:
    """Driven: the shaft inside may run faster. Driving: the body may."""
    diesel = sample_drive("two_belt_diesel.toml")
    inside, rim = diesel.shafts["alternator"], diesel.shafts["alternator rim"]
    assert inside.ratio == rim.ratio
    assert set(inside.depends_on) - set(rim.depends_on) == {"overrun of alternator"}
    assert diesel.parts["alternator"].shaft == "alternator"
    assert diesel.pulleys["alternator"].shaft == "alternator rim"
    rear = sample_drive("rear_six.toml")
    assert rear.pulleys["drive pulley"].shaft == "drive pulley rim"
    assert "overrun of drive pulley" not in rear.shafts["accessory shaft"].depends_on


def test_idler_gear_as_a_shaft_of_its_own() -> None:
    """A train typed in two steps (to give the idler gear bearings) is the same train."""
    drive = parse_drive(
        """
        name = "two steps"
        engine = { cylinders = 6 }
        shaft = [
          { name = "idler gear", driven_by = { kind = "gears", teeth = [48, 37] } },
          { name = "shaft", driven_by = { kind = "gears", from = "idler gear", teeth = [37, 32] } },
        ]
        component = [{ name = "pump", kind = "gear pump", on = "shaft", teeth = 12 }]
        """
    )
    shaft = drive.shafts["shaft"]
    assert shaft.ratio == pytest.approx(1.5, abs=1e-12)
    assert (shaft.sense, shaft.locked) == (1, True)
    mesh = {f.part: f.lines for f in expected_families(drive) if f.mechanism == "mesh"}
    for part in ("gears to idler gear", "gears to shaft"):
        assert any(line.order == pytest.approx(48) for line in mesh[part])
