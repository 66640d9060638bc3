"""Orders of accessories per turn of their own shaft, from papers and the trade press.

Alternator: Noise Generation Mechanisms in Claw Pole Alternators (abstract) and a claw-pole
noise paper, NUAA journal 2018-02 (abstract). Vane pump: soundanswers.net technical library,
parts 2 to 4. Compressor piston counts: MACS, Compressor week 2010. The rest as marked.
"""

import pytest

from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive

DRIVE = """
name = "one accessory"
engine = {{ cylinders = 4 }}
belt = [{{ name = "main", path = ["crank", "part"] }}]
pulley = [{{ name = "crank", on = "crankshaft", diameter_mm = 150, measured = "drawing" }}]
[[component]]
name = "part"
pulley = {{ diameter_mm = 55, measured = "drawing" }}
{component}
"""


def natural_orders(component: str) -> list[float]:
    """Natural lines of the part's own mechanisms, as orders of its shaft."""
    drive = parse_drive(DRIVE.format(component=component))
    ratio = drive.shafts["part"].ratio
    return [
        line.order / ratio
        for family in expected_families(drive)
        if family.part == "part"
        for line in family.lines
        if line.natural
    ]


@pytest.mark.parametrize(
    ("component", "order"),
    [
        ('kind = "alternator"\npoles = 12', 36),  # three-phase: 36th order, measured
        ('kind = "alternator"\npoles = 12\nphases = 6', 72),  # six-phase: 72nd, measured
        ('kind = "alternator"\npoles = 12', 12),  # healthy machine: multiples of 6, measured
        ('kind = "alternator"\npoles = 12', 24),
        ('kind = "alternator"\npoles = 14', 42),  # derived
        ('kind = "alternator"\npole_pairs = 8', 48),  # derived
        ('kind = "alternator"\nfan_blades = 11', 11),  # front fan of the measured machine
        ('kind = "vane pump"\nvanes = 10', 10),  # ten vanes: orders 10 to 60 extracted
        ('kind = "vane pump"\nvanes = 9', 18),  # odd counts alternate: derived
        ('kind = "compressor"\npistons = 7', 7),  # counts read, order derived
        ('kind = "compressor"\npistons = 10\nheads = 2', 10),
        ('kind = "compressor"\npistons = 10\nheads = 2', 5),
        ('kind = "scroll compressor"', 1),  # from memory
        ('kind = "water pump"\nvanes = 6', 6),  # from memory
        ('kind = "vacuum pump"\nvanes = 1', 2),  # single vane: two strokes, derived
        ('kind = "high-pressure fuel pump"\nlobes = 3', 3),  # derived
    ],
)
def test_order_of_its_own_shaft(component, order) -> None:
    """A natural line stands where published; where one is published it is the lowest."""
    orders = natural_orders(component)
    assert any(found == pytest.approx(order, abs=1e-9) for found in orders)
    if "pole" not in component and "heads" not in component:
        assert min(orders) == pytest.approx(order)


def test_ripple_in_crankshaft_orders() -> None:
    """36 x 2.610169 = 93.9661 crankshaft orders, 1252.881 Hz at 800 rpm."""
    drive = parse_drive(DRIVE.format(component='kind = "alternator"\npoles = 12'))
    lines = [line for family in expected_families(drive) for line in family.lines]
    ripple = next(line for line in lines if line.label == "rectifier ripple")
    assert ripple.order == pytest.approx(93.9661, abs=1e-4)
    assert ripple.order * 800 / 60 == pytest.approx(1252.881, abs=1e-3)


def test_camshaft_driven_pumps_in_crankshaft_orders() -> None:
    """On a camshaft (half speed) a single-vane pump pulses at order 1, three lobes at 1.5."""
    drive = parse_drive(
        """
        name = "camshaft"
        engine = { cylinders = 4 }
        shaft = [{ name = "camshaft", driven_by = { kind = "chain", teeth = [19, 38] } }]
        component = [
          { name = "vacuum pump", kind = "vacuum pump", on = "camshaft", vanes = 1 },
          { name = "fuel pump", kind = "high-pressure fuel pump", on = "camshaft", lobes = 3 },
        ]
        """
    )
    families = [f for f in expected_families(drive) if any(x.natural for x in f.tonal_lines)]
    first = {f.part: f.tonal_lines[0].order for f in families}
    assert first["vacuum pump"] == pytest.approx(1.0)
    assert first["fuel pump"] == pytest.approx(1.5)
    assert first["chain to camshaft"] == pytest.approx(19)
