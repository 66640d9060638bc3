"""The drawing of the drive."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from matplotlib.patches import Circle, Rectangle  # noqa: TID253 -- pictures are what is tested

from acoustic.output.belt_panels import belt_outline_mm, turns_clockwise
from acoustic.output.drive_drawing import draw_drive, pulley_numbers
from acoustic.output.picture_words import drive_words
from acoustic.output.shaft_chain import shaft_chain


def patches(figure, kind):
    """All patches of one kind on any axes."""
    return [p for ax in figure.axes for p in ax.patches if type(p) is kind]


def words(figure):
    """Every text of a figure."""
    return [t.get_text() for ax in figure.axes for t in ax.texts] + [
        t.get_text() for t in figure.texts
    ]


def test_pulleys_are_drawn_to_scale(drive):
    """Each circle has the pitch radius and the centre of its pulley."""
    drawn = {(p.center, round(p.radius, 3)) for p in patches(draw_drive(drive), Circle)}
    assert drawn == {
        (p.position_mm, round(p.pitch_diameter_mm / 2, 3)) for p in drive.pulleys.values()
    }


def test_the_belt_lies_on_the_pulleys_and_is_as_long_as_it_should_be(drive):
    """The outline's length is the belt's own; its arcs lie on the pitch circles."""
    belt = drive.belts["main"]
    outline = belt_outline_mm(drive, belt)
    length = sum(math.dist(a, b) for a, b in itertools.pairwise(outline))
    assert length == pytest.approx(belt.length_mm, rel=1e-3)
    alternator = drive.pulleys["alternator"]
    off = [math.dist(p, alternator.position_mm) - alternator.pitch_diameter_mm / 2 for p in outline]
    assert min(off) == pytest.approx(0.0, abs=1e-6)


def test_the_back_side_pulleys_turn_the_other_way(drive):
    """Crank clockwise: ribbed pulleys too, the two on the belt's back against it."""
    clockwise = {name: turns_clockwise(drive, p) for name, p in drive.pulleys.items()}
    assert {name for name, yes in clockwise.items() if not yes} == {"idler", "tensioner"}


def test_the_belt_runs_outside_ribbed_and_inside_back_pulleys(drive):
    """The middle of a loop lies on the belt's back: the idler's centre is outside the loop."""
    from matplotlib.path import Path

    loop = Path(np.array(belt_outline_mm(drive, drive.belts["main"])))
    inside = {n for n, p in drive.pulleys.items() if loop.contains_point(p.position_mm)}
    assert inside == {"crank pulley", "compressor", "alternator", "water pump"}


def test_suspects_are_hatched(drive):
    """Only the idler's circle carries a hatch, and the title says what it means."""
    figure = draw_drive(drive, ["idler"])
    hatched = [p for p in patches(figure, Circle) if p.get_hatch()]
    assert [p.center for p in hatched] == [drive.pulleys["idler"].position_mm]
    assert any("hatched: suspected" in text for text in words(figure))


def test_a_suspected_belt_is_drawn_thick(drive):
    """Placed or unrolled; its line of the list is bold; no pulley is hatched for it."""
    belt = dataclasses.replace(drive.belts["main"], tangents_mm=())
    unrolled = dataclasses.replace(drive, belts={"main": belt})
    for one in (drive, unrolled):
        plain, figure = draw_drive(one), draw_drive(one, ["belt main"])
        thickest = [
            max(line.get_linewidth() for ax in f.axes for line in ax.lines) for f in (plain, figure)
        ]
        assert thickest[1] == 2 * thickest[0]
        assert not any(p.get_hatch() for p in patches(figure, Circle))
        assert any(text.endswith("; thick: suspected") for text in words(figure))
        bold = [t for ax in figure.axes for t in ax.texts if t.get_fontweight() == "bold"]
        assert any(t.get_text().startswith("belt main") for t in bold)
    assert "Suspected: belt main." in drive_words(drive, ["belt main"])
    both = words(draw_drive(drive, ["idler", "belt main"]))
    assert any(text.endswith("; hatched or thick: suspected") for text in both)


def test_numbers_follow_the_belt(drive):
    """The driver is 1, then in running order; the list names each with its ratio."""
    assert list(pulley_numbers(drive)) == list(drive.belts["main"].path)
    text = words(draw_drive(drive))
    assert "crank pulley" in text
    assert f"{drive.shafts['alternator'].ratio:.3f}" in text


def test_gears_and_couplings_stand_as_a_chain(rear_drive):
    """Crankshaft, accessory shaft by gears 48-37-32, alternator shaft by a coupling."""
    links = shaft_chain(rear_drive)
    assert [(link.shaft, link.depth) for link in links] == [
        ("crankshaft", 0), ("accessory shaft", 1), ("alternator shaft", 2),
    ]  # fmt: skip
    assert "48–37–32 teeth" in links[1].step
    assert links[1].carries == ("drive pulley",)
    assert links[2].carries == ("alternator",)
    figure = draw_drive(rear_drive, ["alternator"])
    hatched = [p for p in patches(figure, Rectangle) if p.get_hatch()]
    assert len(patches(figure, Rectangle)) == 3
    assert len(hatched) == 1


def test_a_belt_without_positions_is_unrolled(rear_drive):
    """Ribbed pulleys hang below the belt line, the one on the back stands above it."""
    circles = patches(draw_drive(rear_drive), Circle)
    assert [c.center[1] > 0 for c in circles] == [False, True, False]
    assert all(abs(c.center[1]) == pytest.approx(c.radius) for c in circles)


def test_a_part_name_with_signs_is_drawn_as_typed(drive):
    """A dollar sign is no formula."""
    named = dataclasses.replace(drive, name="bus $1 & $2_b")
    assert "bus $1 & $2_b" in words(draw_drive(named))


def test_a_pulley_known_by_its_ratio_alone_is_drawn_as_large_as_the_belt_runs():
    """The alternator's radius follows from the belt it carries, not from a guess."""
    import importlib.resources

    from acoustic.drive.build import build_drive
    from acoustic.drive.layout_file import parse_layout
    from acoustic.output.belt_panels import placed_radii_mm

    text = (importlib.resources.files("acoustic.cli") / "demo_layout.toml").read_text("utf-8")
    by_ratio = text.replace('diameter_mm = 56.0, measured = "drawing"', "speed_ratio = 2.841")
    assert by_ratio != text
    measured, guessed = (build_drive(parse_layout(t)) for t in (text, by_ratio))
    assert guessed.pulleys["alternator"].pitch_diameter_mm is None
    assert placed_radii_mm(guessed)["alternator"] == pytest.approx(
        placed_radii_mm(measured)["alternator"], rel=0.01
    )


def test_a_drive_without_belts_shows_its_shaft():
    """A bench with one shaft is a box, not an empty sheet."""
    from acoustic.drive.build import build_drive
    from acoustic.drive.layout_file import parse_layout

    bench = build_drive(
        parse_layout(
            'name = "bench"\nengine = { cylinders = 4 }\n'
            '[[component]]\nname = "pump"\nkind = "water pump"\non = "crankshaft"\n'
        )
    )
    figure = draw_drive(bench)
    assert len(patches(figure, Rectangle)) == 1
    assert "carries pump" in words(figure)
