"""Bearing orders: identities that hold for any bearing and any ring speeds."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.drive.bearings import (
    bearing_orders,
    distinct_geometries,
    estimate_geometry,
    find_designation,
    geometry_of,
)
from acoustic.drive.drive import BearingGeometry
from acoustic.tables.knowledge import load_knowledge

TABLE = load_knowledge().bearings
speeds = st.floats(-10, 10)
geometries = st.builds(
    BearingGeometry,
    st.just(""),
    st.integers(5, 20),
    st.floats(4, 12),
    st.floats(20, 60),
    st.floats(0, 40),
    st.just(""),
)


@given(geometries, speeds, speeds)
def test_race_passes_add_up_to_all_balls(geometry, inner, outer) -> None:
    """BPFO + BPFI = Z |f_i - f_o|, whatever turns."""
    orders = bearing_orders(geometry, inner, outer)
    assert orders.bpfo + orders.bpfi == pytest.approx(geometry.ball_count * abs(inner - outer))


@given(geometries, speeds)
def test_rings_turning_together_make_no_line(geometry, speed) -> None:
    """Both rings at one speed: nothing rolls, and the cage turns with them."""
    orders = bearing_orders(geometry, speed, speed)
    assert (orders.bpfo, orders.bpfi, orders.bsf) == (0, 0, 0)
    assert orders.cage == pytest.approx(abs(speed))


@given(geometries, st.floats(0.1, 10))
def test_ball_passes_are_balls_times_cage(geometry, speed) -> None:
    """Inner ring turning: BPFO = Z cage; outer ring turning: BPFI = Z cage."""
    inner = bearing_orders(geometry, speed, 0)
    outer = bearing_orders(geometry, 0, speed)
    assert inner.bpfo == pytest.approx(geometry.ball_count * inner.cage)
    assert outer.bpfi == pytest.approx(geometry.ball_count * outer.cage)
    assert inner.cage + outer.cage == pytest.approx(speed)


@given(geometries, speeds, speeds, st.floats(0.1, 10))
def test_orders_scale_with_speed(geometry, inner, outer, factor) -> None:
    """Twice the speed, twice every line: hertz and orders are one formula."""
    once = bearing_orders(geometry, inner, outer)
    scaled = bearing_orders(geometry, factor * inner, factor * outer)
    assert scaled.bpfo == pytest.approx(factor * once.bpfo, abs=1e-9)
    assert scaled.bsf == pytest.approx(factor * once.bsf, abs=1e-9)


@pytest.mark.parametrize(
    "written", ["6203", " 6203 ", "6203-2RS", "6203ZZ", "6203-2RS1/C3", "6203 DDU", "6203.2Z"]
)
def test_suffixes_are_set_aside(written) -> None:
    """Seals, clearance and cage do not change the balls."""
    assert find_designation(written, TABLE)[0].designation == "6203"


def test_suffix_that_changes_the_balls_has_a_row_of_its_own() -> None:
    """The high-capacity 6303R has larger balls than the 6303."""
    assert find_designation("6303R", TABLE)[0].ball_diameter_mm == 9.525
    assert find_designation("6303", TABLE)[0].ball_diameter_mm == 8.731


def test_unknown_designation_has_no_rows() -> None:
    """What is not in the table is not guessed."""
    assert find_designation("9999", TABLE) == ()
    assert find_designation("front one", TABLE) == ()


def test_unpublished_internals_give_no_geometry() -> None:
    """A clutch bearing known by its outside only has no geometry until balls are counted."""
    row = find_designation("35x52x20", TABLE)[0]
    assert geometry_of(row) is None
    counted = estimate_geometry(row, 13)
    assert counted is not None
    assert counted.pitch_diameter_mm == (35 + 52) / 2


def test_guess_from_outside_dimensions_is_as_good_as_stated() -> None:
    """Over the deep-groove sizes of the table the guess has an rms error under 2 % in BPFO."""
    errors = []
    for name, rows in TABLE.items():
        known = geometry_of(rows[0])
        if known is None or not name.startswith(("60", "62", "63")) or name == "6303R":
            continue
        guess = estimate_geometry(rows[0], known.ball_count)
        assert guess is not None
        errors.append(bearing_orders(guess, 1, 0).bpfo / bearing_orders(known, 1, 0).bpfo - 1)
    assert len(errors) >= 14
    assert math.sqrt(sum(error**2 for error in errors) / len(errors)) < 0.02


def test_variants_that_differ_little_are_one() -> None:
    """Two makers' 6203 are one geometry; a 6003 of nine balls is another."""
    near = tuple(filter(None, map(geometry_of, TABLE["6203"])))
    far = tuple(filter(None, map(geometry_of, TABLE["6003"])))
    assert len(near) >= 3
    assert len(distinct_geometries(near)) == 1
    assert [geometry.ball_count for geometry in distinct_geometries(far)] == [10, 9]
