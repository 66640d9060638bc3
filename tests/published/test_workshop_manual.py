"""Orders of accessories as a vehicle maker's workshop manual prints them (name withheld)."""

import pytest

from acoustic.drive.layout_file import parse_drive
from acoustic.drive.order_table import find_order_table

MANUAL = """
name = "examples of a workshop manual"
engine = { cylinders = 6 }
shaft = [
  { name = "pump shaft", driven_by = { kind = "gears", teeth = [48, 32] } },
]
belt = [{ name = "main", path = ["crank", "alternator"] }]
pulley = [{ name = "crank", on = "crankshaft", diameter_mm = 150, measured = "drawing" }]
component = [
  { name = "alternator", kind = "alternator", pulley = { speed_ratio = 2.8 } },
  { name = "water pump", kind = "water pump", on = "pump shaft" },
]
"""


def test_accessory_orders_at_1000_rpm() -> None:
    """Alternator at 2.8 turns 2800 rpm, gear-driven pump at 1.5 turns 1500 rpm."""
    table = find_order_table(parse_drive(MANUAL), rpm=1000)
    shafts = {row.name: row for row in table.shafts}
    assert shafts["alternator"].ratio == 2.8
    assert shafts["alternator"].speeds_rpm == pytest.approx((2800,))
    assert shafts["pump shaft"].ratio == 1.5
    assert shafts["pump shaft"].speeds_rpm == pytest.approx((1500,))


def test_the_gear_driven_pump_cannot_slip() -> None:
    """Gears lock the pump to the crankshaft: no unknown moves its order."""
    drive = parse_drive(MANUAL)
    assert drive.shafts["pump shaft"].locked
    assert not drive.shafts["pump shaft"].depends_on
