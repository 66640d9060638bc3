"""Belts of a drive: running order, length, spans."""

import pytest

from acoustic.drive.layout_file import parse_drive
from acoustic.errors import DriveError

TRIANGLE = """
name = "triangle"
engine = {{ cylinders = 4, idle_rpm = [700, 900], crank_turns = "{turns}" }}
belt = [{{ name = "main", path = {path}, span_tension_n = 400 {length} }}]
pulley = [{{ name = "crank", on = "crankshaft", diameter_mm = 146, position_mm = [0, 0] }}]
[[component]]
name = "left"
kind = "idler"
pulley = {{ diameter_mm = 96, position_mm = [-200, 300] }}
[[component]]
name = "right"
kind = "idler"
pulley = {{ diameter_mm = 96, position_mm = [200, 300] }}
"""


def triangle(path: str, turns: str = "clockwise", length: str = ""):
    """Belt of a three-pulley drive."""
    return parse_drive(TRIANGLE.format(path=path, turns=turns, length=length)).belts["main"]


@pytest.mark.parametrize(
    ("turns", "running"),
    [("clockwise", ("crank", "left", "right")), ("anticlockwise", ("crank", "right", "left"))],
)
@pytest.mark.parametrize("path", ['["crank", "left", "right"]', '["crank", "right", "left"]'])
def test_path_may_be_typed_either_way_round(path, turns, running) -> None:
    """The crankshaft's sense decides which way the belt runs; the first pulley drives.

    Clockwise, the belt leaves the bottom of the crank pulley to the left.
    """
    belt = triangle(path, turns)
    assert belt.path == running
    assert belt.length_basis == "from positions"


def test_length_from_positions() -> None:
    """Three equal pitch circles: the triangle of centres and one circumference.

    Diameters of 96 on the idlers and the crank's 146 replaced by 96.
    """
    text = TRIANGLE.format(path='["crank", "left", "right"]', turns="clockwise", length="")
    belt = parse_drive(text.replace("146", "96")).belts["main"]
    side = (200**2 + 300**2) ** 0.5
    assert belt.length_mm == pytest.approx(2 * side + 400 + 3.14159265 * 100)
    assert sum(belt.wrap_deg.values()) == pytest.approx(360)
    assert [span.length_mm for span in belt.spans] == pytest.approx([side, 400, side])


def test_given_length_is_used_and_compared() -> None:
    """A length on the belt wins; one that cannot be is told in the notes."""
    text = TRIANGLE.format(
        path='["crank", "left", "right"]', turns="clockwise", length=", length_mm = 900"
    )
    drive = parse_drive(text)
    assert drive.belts["main"].length_basis == "given"
    assert any("belt main: the pitch length is 913 mm" in note for note in drive.notes)


def test_span_frequency_at_mid_idle() -> None:
    """400 N on a 6PK of 0.126 kg/m: the upper span of 400 mm runs at about 70 Hz."""
    belt = triangle('["crank", "left", "right"]')
    upper = belt.spans[1]
    speed = 800 / 60 * 3.14159265 * 0.150
    wave = (400 / 0.126) ** 0.5
    assert upper.natural_frequency_hz == pytest.approx(
        (wave**2 - speed**2) / (2 * 0.4 * wave), rel=1e-6
    )


def test_position_of_a_pulley_known_by_its_speed() -> None:
    """A pulley without diameter is drawn with the one its speed ratio asks for."""
    text = TRIANGLE.format(path='["crank", "left", "right"]', turns="clockwise", length="")
    by_size = parse_drive(text).belts["main"]
    by_speed = parse_drive(
        text.replace(
            "diameter_mm = 96, position_mm = [200", "speed_ratio = 1.5, position_mm = [200"
        )
    ).belts["main"]
    assert by_speed.length_mm == pytest.approx(by_size.length_mm)


def test_impossible_path() -> None:
    """A pulley the belt cannot reach on that side is told as a fault of the path."""
    with pytest.raises(DriveError, match=r"\[belt 1\] path: no belt can run over these pulleys"):
        triangle('["crank", "left", "right (back)"]')
