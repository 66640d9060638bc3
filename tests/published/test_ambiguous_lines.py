"""Lines that must be called ambiguous: Smith & Randall, MSSP 64-65 (2015) 100-131, and derived."""

import pytest

from acoustic.drive.layout_file import parse_drive
from acoustic.drive.order_table import find_order_rows

IDLER = """
name = "flat idler on a four"
engine = { cylinders = 4 }
belt = [{ name = "main", path = ["crank", "flat idler (back)"] }]
pulley = [{ name = "crank", on = "crankshaft", diameter_mm = 150, measured = "drawing" }]
[[component]]
name = "flat idler"
kind = "idler"
bearings = [{ designation = "6203" }]
pulley = { diameter_mm = 70, measured = "flat back-side pulley" }
"""


def outer_race():
    """The idler's outer-race line at 800 rpm."""
    rows = find_order_rows(parse_drive(IDLER), rpm=800)
    return next(row for row in rows if row.label == "outer race")


def test_idler_race_on_a_half_order() -> None:
    """Order 6.49406 (86.587 Hz at 800 rpm) is 0.09 % from 6.5: hidden for over 168 turns."""
    row = outer_race()
    assert row.order == pytest.approx(6.49406, abs=2e-5)
    assert row.frequencies_hz[0] == pytest.approx(86.587, abs=1e-3)
    remark = next(text for text in row.hidden_by if "engine order 6.5" in text)
    assert remark.startswith("0.091 %")
    assert int(remark.split("after ")[1].split()[0]) >= 168


def test_6203_outer_race_beside_the_third_harmonic() -> None:
    """BPFO 3.0531 is 1.77 % from the third multiple of its own shaft and must be called so."""
    row = outer_race()
    shaft = parse_drive(IDLER).shafts["flat idler"]
    assert row.order / (3 * shaft.ratio) - 1 == pytest.approx(0.0177, abs=1e-4)
    assert any("3 times its own shaft" in text for text in row.hidden_by)


def test_6205_race_stands_clear_of_its_shaft() -> None:
    """BPFO 3.585 is 10 % from the fourth multiple: nothing of its own shaft hides it."""
    rows = find_order_rows(parse_drive(IDLER.replace("6203", "6205")), rpm=800)
    row = next(row for row in rows if row.label == "outer race")
    assert not any("own shaft" in text for text in row.hidden_by)
