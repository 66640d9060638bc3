"""Belt geometry against shapes whose length and wrap can be written down."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.drive.belts import (
    belt_route,
    belt_speed_m_s,
    belt_turn_order,
    pitch_length_mm,
    span_frequency_hz,
    span_tension_n,
    split_path_entry,
    split_section,
)

sizes = st.floats(20, 120)
bearings = st.floats(-math.pi, math.pi)


def at(distance: float, bearing: float) -> tuple[float, float]:
    """Point at a distance and bearing."""
    return distance * math.cos(bearing), distance * math.sin(bearing)


@given(sizes, st.floats(250, 900), bearings, st.sampled_from([1, -1]))
def test_two_equal_pulleys(radius, distance, bearing, turn) -> None:
    """Length 2 c + pi d, half a turn of wrap on each, at any angle and either way round."""
    route = belt_route([(0, 0), at(distance, bearing)], [radius, radius], [turn, turn])
    assert route is not None
    assert route.length_mm == pytest.approx(2 * distance + 2 * math.pi * radius)
    assert route.wraps_rad == pytest.approx((math.pi, math.pi))


@given(sizes, sizes, st.floats(250, 900), bearings)
def test_two_unequal_pulleys(first, second, distance, bearing) -> None:
    """Open drive: L = 2 sqrt(c^2 - (R-r)^2) + R (pi + 2a) + r (pi - 2a), sin a = (R-r)/c."""
    route = belt_route([(0, 0), at(distance, bearing)], [first, second], [1, 1])
    assert route is not None
    angle = math.asin((first - second) / distance)
    length = 2 * math.sqrt(distance**2 - (first - second) ** 2)
    length += first * (math.pi + 2 * angle) + second * (math.pi - 2 * angle)
    assert route.length_mm == pytest.approx(length)
    assert route.wraps_rad == pytest.approx((math.pi + 2 * angle, math.pi - 2 * angle))


def test_square_of_four_equal_pulleys() -> None:
    """Four pulleys on a square: four sides and one circumference, a quarter turn each."""
    centres = [(0, 0), (300, 0), (300, 300), (0, 300)]
    route = belt_route(centres, [50] * 4, [1] * 4)
    assert route is not None
    assert route.length_mm == pytest.approx(4 * 300 + 2 * math.pi * 50)
    assert route.wraps_rad == pytest.approx([math.pi / 2] * 4)
    assert route.tangents_mm[0] == (pytest.approx((0, -50)), pytest.approx((300, -50)))


def test_back_side_pulley_presses_the_belt_inward() -> None:
    """An idler outside the loop turns the other way and adds to both neighbours' wrap."""
    plain = belt_route([(0, 0), (600, 0)], [50, 50], [1, 1])
    pressed = belt_route([(0, 0), (600, 0), (300, 60)], [50, 50, 30], [1, 1, -1])
    assert plain is not None
    assert pressed is not None
    assert pressed.wraps_rad[0] > plain.wraps_rad[0]
    assert pressed.length_mm > plain.length_mm
    # By symmetry the idler's wrap is what both neighbours gain together.
    gained = pressed.wraps_rad[0] + pressed.wraps_rad[1] - 2 * math.pi
    assert pressed.wraps_rad[2] == pytest.approx(gained)


def test_wraps_close_to_one_turn() -> None:
    """Signed by the sense of turning, all wraps add up to one full turn."""
    turns = [1, 1, -1, 1]
    route = belt_route([(0, 0), (400, 0), (305, 205), (120, 330)], [70, 60, 30, 40], turns)
    assert route is not None
    signed = sum(turn * wrap for turn, wrap in zip(turns, route.wraps_rad, strict=True))
    assert signed == pytest.approx(2 * math.pi)


@pytest.mark.parametrize(
    ("centres", "radii", "turns"),
    [
        ([(0, 0), (10, 0)], [50, 30], [1, 1]),  # one inside the other
        ([(0, 0), (0, 0)], [50, 50], [1, 1]),  # one on the other
        ([(0, 0), (300, 0), (300, 300), (0, 300)], [50] * 4, [-1] * 4),  # the wrong way round
        ([(0, 0), (600, 0), (300, 400)], [50, 50, 30], [1, 1, -1]),  # belt never reaches it
    ],
)
def test_no_belt_can_run_so(centres, radii, turns) -> None:
    """Overlapping pulleys and paths that do not close have no route."""
    assert belt_route(centres, radii, turns) is None


def test_sections_and_path_entries() -> None:
    """A section is ribs and profile; "(back)" is not part of a pulley's name."""
    assert split_section("12PJ") == (12, "PJ")
    with pytest.raises(ValueError, match="6PK"):
        split_section("K6")
    assert split_path_entry("idler (Back)") == ("idler", True)
    assert split_path_entry("back idler") == ("back idler", False)


def test_lengths_turns_and_speed() -> None:
    """A belt as long as four circumferences comes round every fourth turn."""
    assert belt_turn_order(1.0, 100, 400 * math.pi) == pytest.approx(0.25)
    assert pitch_length_mm(1870, 2.0) == pytest.approx(1870 + 4 * math.pi)
    assert belt_speed_m_s(10, 1000 / math.pi) == pytest.approx(10)


@given(st.floats(50, 800), st.floats(50, 1500), st.floats(0.02, 0.4))
def test_tension_from_frequency_is_the_way_back(length, tension, mass) -> None:
    """T = 4 m L^2 f^2 undoes the standing span's frequency."""
    hz = span_frequency_hz(length, tension, mass)
    assert span_tension_n(length, hz, mass) == pytest.approx(tension)
    assert span_frequency_hz(length, tension, mass, mode=3) == pytest.approx(3 * hz)
