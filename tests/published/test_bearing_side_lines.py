"""Side lines of race defects by turning ring: Randall & Antoni, MSSP 25 (2011) 485-520.

The row for the turning outer ring follows from the same load-zone argument.
"""

import pytest

from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive

BENCH = """
name = "bench"
engine = {{ cylinders = 1, strokes = 2 }}
[[component]]
name = "part"
kind = "{kind}"
on = "crankshaft"
bearings = [{{ designation = "6203", turning_ring = "{ring}" }}]
"""


@pytest.mark.parametrize("ring", ["inner", "outer"])
def test_side_lines_follow_the_turning_ring(ring, published) -> None:
    """The race that turns through the load zone has side lines at one turn, the other none."""
    drive = parse_drive(BENCH.format(kind="electric motor", ring=ring))
    families = {f.mechanism: f for f in expected_families(drive)}
    bpfo, bpfi, ball = 3.05305, 4.94695, 3.98744
    cage = 0.381632 if ring == "inner" else 0.618368
    mechanisms = {"BPFO": "outer race", "BPFI": "inner race"}

    for row in published("bearing_sidebands.csv"):
        if row["turning_ring"] != ring or row["carrier"].startswith("FTF"):
            continue
        carrier = {"BPFO": bpfo, "BPFI": bpfi}.get(row["carrier"], ball)
        family = families[mechanisms.get(row["carrier"], "rolling element")]
        spacing = cage if "cage" in row["spacing"] else 1.0
        wanted = not row["spacing"].startswith("none")
        for lines in (family.tonal_lines, family.envelope_lines):
            orders = [line.order for line in lines]
            assert _there(carrier, orders)
            assert _there(carrier - spacing, orders) is wanted, row
            assert _there(carrier + spacing, orders) is wanted, row


def _there(order: float, orders: list[float]) -> bool:
    return any(abs(order - other) < 2e-4 for other in orders)
