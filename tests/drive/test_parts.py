"""Parts, their counts and the rings of their bearings."""

import pytest

from acoustic.drive.layout_file import parse_drive


def rings(small: str, component: str) -> list[tuple[str | None, str | None]]:
    """Inner and outer shaft of each bearing of the part "x"."""
    drive = parse_drive(small.replace('"idler (back)"]', '"idler (back)", "x"]') + component)
    return [(b.inner_shaft, b.outer_shaft) for b in drive.bearings if b.part == "x"]


def test_counts_follow_from_one_another(small) -> None:
    """Twelve poles are six pairs; three phases and one slot per pole and phase give 36."""
    quantities = parse_drive(small).parts["alternator"].quantities
    assert dict(quantities) == {"poles": 12, "pole_pairs": 6, "phases": 3, "slots": 36}
    pairs = parse_drive(small.replace("poles = 12", "pole_pairs = 6")).parts["alternator"]
    assert pairs.quantities == quantities
    slots = parse_drive(small.replace("poles = 12", "poles = 12\nslots = 48")).parts["alternator"]
    assert slots.quantities["slots"] == 48


def test_ring_that_turns(small) -> None:
    """Idler: outer ring. Clutch of a compressor: outer, its body's bearings: inner."""
    compressor = """
[[component]]
name = "x"
kind = "compressor"
pulley = { diameter_mm = 120, measured = "drawing" }
bearings = [{ place = "clutch", designation = "6006" }, { place = "front", designation = "6203" }]
"""
    assert rings(small, compressor) == [(None, "x"), ("x", None)]
    drive = parse_drive(small)
    idler = next(b for b in drive.bearings if b.part == "idler")
    assert (idler.inner_shaft, idler.outer_shaft) == (None, "idler")


def test_bearing_inside_an_overrunning_pulley(small) -> None:
    """Between rotor and pulley body both rings turn, each with its own shaft."""
    overrun = """
[[component]]
name = "x"
kind = "alternator"
poles = 12
pulley = { diameter_mm = 56, measured = "drawing", overrunning = "one-way" }
bearings = [{ place = "pulley", designation = "6003", turning_ring = "both" }]
"""
    assert rings(small, overrun) == [("x", "x rim")]


def test_both_rings_on_one_shaft_is_a_fault(small) -> None:
    """Rings that turn together make no line; the layout must mean something else."""
    with pytest.raises(Exception, match="stand still in itself"):
        rings(
            small,
            """
[[component]]
name = "x"
kind = "idler"
pulley = { diameter_mm = 56, measured = "drawing" }
bearings = [{ designation = "6203", turning_ring = "both" }]
""",
        )


@pytest.mark.parametrize(
    ("bearing", "balls", "estimated"),
    [
        ('designation = "6003"', [10, 9], False),
        ('designation = "6003", ball_count = 9', [9], False),
        ('designation = "6003", ball_count = 11', [11], True),
        ('designation = "35x52x20", ball_count = 13', [13], True),
        ("ball_count = 8, ball_diameter_mm = 6.7, pitch_diameter_mm = 28.5", [8], False),
    ],
)
def test_variants_of_a_bearing(small, bearing, balls, estimated) -> None:
    """Counted balls pick the variant; without a fitting one the sizes are guessed."""
    drive = parse_drive(small.replace('{ designation = "6203" }', f"{{ {bearing} }}"))
    idler = next(b for b in drive.bearings if b.part == "idler")
    assert [variant.ball_count for variant in idler.variants] == balls
    assert idler.estimated is estimated


def test_balls_that_do_not_fit_are_refused(small) -> None:
    """Twenty balls of 6.7 mm have no room on a 28.5 mm circle."""
    own = "ball_count = 20, ball_diameter_mm = 6.7, pitch_diameter_mm = 28.5"
    with pytest.raises(Exception, match="do not fit on a pitch circle"):
        parse_drive(small.replace('{ designation = "6203" }', f"{{ {own} }}"))


def test_shaft_bearings_make_a_part(small) -> None:
    """A shaft with bearings of its own can be at fault like any component."""
    shaft = """
[[shaft]]
name = "jack shaft"
driven_by = { kind = "gears", teeth = [40, 30] }
bearings = [{ designation = "6205" }]
"""
    drive = parse_drive(small + shaft)
    assert drive.parts["jack shaft"].kind == "shaft"
    assert [b.inner_shaft for b in drive.bearings if b.part == "jack shaft"] == ["jack shaft"]
