"""Rolling-bearing orders against bearing makers' catalogues and open data sets."""

import pytest

from acoustic.drive.bearings import bearing_orders, find_designation, geometry_of
from acoustic.drive.drive import BearingGeometry
from acoustic.tables.knowledge import load_knowledge


def geometry(balls: int, ball_mm: float, pitch_mm: float, angle_deg: float = 0) -> BearingGeometry:
    """Bearing by its figures."""
    return BearingGeometry("", balls, ball_mm, pitch_mm, angle_deg, "")


def test_cwru_multiples_of_running_speed(published) -> None:
    """Inch geometry of the CWRU table gives its printed multiples; its ball column is 2 BSF.

    Source: CWRU Bearing Data Center, bearing information.
    """
    for row in published("cwru_bearings.csv"):
        balls = int(row["balls"])
        ball, pitch = float(row["ball_diameter_in"]), float(row["pitch_diameter_in"])
        orders = bearing_orders(geometry(balls, 25.4 * ball, 25.4 * pitch), 1, 0)
        assert orders.bpfo == pytest.approx(float(row["bpfo"]), abs=3e-4)
        assert orders.bpfi == pytest.approx(float(row["bpfi"]), abs=3e-4)
        assert 2 * orders.bsf == pytest.approx(float(row["ball"]), abs=3e-4)
        assert orders.cage == pytest.approx(float(row["cage"]), abs=3e-4)


def test_nine_balls_in_the_6203_contradict_the_printed_multiple() -> None:
    """A 6203 of nine balls, as some lists have it, misses CWRU's 3.0530 by far."""
    wrong = bearing_orders(geometry(9, 25.4 * 0.2656, 25.4 * 1.122), 1, 0)
    assert abs(wrong.bpfo - 3.0530) > 0.3


def test_shipped_6205_and_6203_agree_with_cwru(published) -> None:
    """The usual variant of the shipped table lies within 0.1 % of the CWRU multiples."""
    table = load_knowledge().bearings
    for row in published("cwru_bearings.csv"):
        usual = geometry_of(find_designation(row["bearing"].split()[0], table)[0])
        assert usual is not None
        orders = bearing_orders(usual, 1, 0)
        assert orders.bpfo == pytest.approx(float(row["bpfo"]), rel=1e-3)
        assert orders.bpfi == pytest.approx(float(row["bpfi"]), rel=1e-3)


@pytest.mark.parametrize(
    ("source", "bearing", "turning_hz", "bpfo_hz", "bpfi_hz"),
    [
        # MFPT fault data sets, documentation: 0.235 in, 1.245 in, 25 Hz
        ("MFPT", geometry(8, 25.4 * 0.235, 25.4 * 1.245), 25, 81.12, 118.875),
        # XJTU-SY data set paper, UER204 at 40 Hz
        ("XJTU-SY", geometry(8, 7.92, 34.55), 40, 123.32, 196.68),
        # NASA/IMS run-to-failure set, 2000 rpm; geometry and 236.4 Hz from memory
        ("IMS", geometry(16, 25.4 * 0.331, 25.4 * 2.815, 15.17), 2000 / 60, 236.40, 296.93),
        # Public documentation example: 2 cm on 12 cm, 15 degrees, 25 Hz; inputs read, derived
        ("example", geometry(8, 20, 120, 15), 25, 83.9012, 116.0988),
    ],
)
def test_data_sets_in_hertz(source, bearing, turning_hz, bpfo_hz, bpfi_hz) -> None:
    """Race frequencies of the published rigs, to 0.01 Hz."""
    orders = bearing_orders(bearing, turning_hz, 0)
    assert orders.bpfo == pytest.approx(bpfo_hz, abs=0.01)
    assert orders.bpfi == pytest.approx(bpfi_hz, abs=0.01)


def test_nsk_table_with_the_outer_ring_turning() -> None:
    """NSK Table 15.6: turning the outer ring of a 6203 at 35 Hz moves only the cage.

    The cage then turns at (1 + g) / 2, and BPFI = Z times the cage.
    """
    bearing = geometry(8, 6.747, 28.5)
    inner = bearing_orders(bearing, 35, 0)
    outer = bearing_orders(bearing, 0, 35)
    assert inner.cage == pytest.approx(13.3571, abs=1e-3)
    assert outer.cage == pytest.approx(21.6429, abs=1e-3)
    assert outer.bpfi == pytest.approx(8 * outer.cage)
    assert inner.bpfo == pytest.approx(8 * inner.cage)
    assert (outer.bpfo, outer.bpfi, outer.bsf) == pytest.approx((inner.bpfo, inner.bpfi, inner.bsf))
    assert outer.bpfo == pytest.approx(106.8568, abs=2e-3)
    assert outer.bsf == pytest.approx(69.7788, abs=2e-3)


def test_both_rings_turning() -> None:
    """Inner 40 Hz, outer 35 Hz (an overrunning pulley), 6203: derived from NSK Table 15.6."""
    orders = bearing_orders(geometry(8, 6.747, 28.5), 40, 35)
    assert orders.cage == pytest.approx(36.9082, abs=1e-3)
    assert orders.bpfo == pytest.approx(15.2653, abs=1e-3)
    assert orders.bpfi == pytest.approx(24.7347, abs=1e-3)
    assert orders.bsf == pytest.approx(9.9684, abs=1e-3)


def test_orders_of_29_bearings(published) -> None:
    """Every bearing of the published geometries, four decimals."""
    rows = published("bearing_orders.csv")
    assert len(rows) == 29
    for row in rows:
        bearing = geometry(
            int(row["balls"]),
            *(
                float(row[key])
                for key in ("ball_diameter_mm", "pitch_diameter_mm", "contact_angle_deg")
            ),
        )
        inner, outer = bearing_orders(bearing, 1, 0), bearing_orders(bearing, 0, 1)
        got = (inner.bpfo, inner.bpfi, inner.bsf, 2 * inner.bsf, inner.cage, outer.cage)
        keys = ("bpfo", "bpfi", "bsf", "ball_2bsf", "cage_inner_turns", "cage_outer_turns")
        assert got == pytest.approx([float(row[key]) for key in keys], abs=2e-4), row


@pytest.mark.parametrize(
    ("angle_deg", "bpfo", "bpfi"),
    [(0, 3.0531, 4.9469), (15, 3.0853, 4.9147), (30, 3.1799, 4.8201)],
)
def test_contact_angle_of_a_6203(angle_deg, bpfo, bpfi) -> None:
    """Contact angle draws the race orders together (derived from NSK Table 15.6)."""
    orders = bearing_orders(geometry(8, 6.747, 28.5, angle_deg), 1, 0)
    assert (orders.bpfo, orders.bpfi) == pytest.approx((bpfo, bpfi), abs=1e-4)
