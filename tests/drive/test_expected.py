"""Families: every line a drive can make."""

import pytest

from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive, read_drive


def family_of(drive, part: str, mechanism: str):
    """One family."""
    (family,) = (f for f in expected_families(drive) if (f.part, f.mechanism) == (part, mechanism))
    return family


def test_every_sample_is_consistent(sample) -> None:
    """Weights sum to one per part, ids are unique, lines rise, and every name is known.

    Every family can be heard of: it has lines of the sound, of its envelope, or a noise.
    """
    drive = read_drive(sample)
    families = expected_families(drive)
    assert {family.part for family in families} == set(drive.parts)
    keys = [(family.part, family.mechanism) for family in families]
    assert len(keys) == len(set(keys))
    for part in drive.parts:
        weights = [family.prior_weight for family in families if family.part == part]
        assert sum(weights) == pytest.approx(1)
    for family in families:
        assert family.lines or family.noises
        for lines in (family.tonal_lines, family.envelope_lines):
            orders = [line.order for line in lines]
            assert orders == sorted(orders)
            assert all(order > 0 for order in orders)
        assert {made.noise for made in family.noises} <= set(drive.knowledge.noises)
        assert all(0 < line.probability < 1 for line in family.lines)
        assert set(family.depends_on) <= set(drive.unknowns)
        assert family.shaft in drive.shafts
        assert drive.knowledge.mechanism(drive.parts[family.part].kind, family.mechanism)
        assert family.source


def test_lines_scale_with_the_shaft(small) -> None:
    """Run-out stands at 1 to 4 times the idler's 154/72.4."""
    family = family_of(parse_drive(small), "idler", "run-out")
    assert [line.order for line in family.lines] == pytest.approx(
        [k * 154 / 72.4 for k in (1, 2, 3, 4)]
    )
    assert not any(line.natural for line in family.lines)


def test_one_bearing_and_two_bearings(small) -> None:
    """A part's only bearing has no place; two are told apart by place and share the weight."""
    families = expected_families(parse_drive(small))
    weights = {(f.part, f.mechanism): f.prior_weight for f in families}
    assert ("idler", "outer race") in weights
    assert weights["alternator", "inner race/front"] == weights["alternator", "inner race/rear"]
    front = next(f for f in families if f.mechanism == "inner race/front")
    assert front.title == "worn bearing, inner race (front)"
    assert front.row_id == "inner race"
    assert front.own_tolerance == 0.005


def test_variants_are_families_of_their_own(small) -> None:
    """A 6003 may hold ten or nine balls: the usual one weighs three times the other."""
    drive = parse_drive(small.replace('{ designation = "6203" }]\n', '{ designation = "6003" }]\n'))
    usual, other = (
        family_of(drive, "idler", "inner race"),
        family_of(drive, "idler", "inner race#2"),
    )
    assert usual.prior_weight == pytest.approx(3 * other.prior_weight)
    assert "nine larger balls" in other.title


def test_rough_bearing_is_looked_for_once(small) -> None:
    """Roughness hangs on the turning ring and the cage, not on how many balls there are."""
    drive = parse_drive(small.replace('{ designation = "6203" }]\n', '{ designation = "6003" }]\n'))
    rough = family_of(drive, "idler", "rough bearing")
    races = [family_of(drive, "idler", f"outer race{n}").prior_weight for n in ("", "#2")]
    rows = {row.id: row for row in drive.knowledge.every_bearing}
    wanted = rows["rough bearing"].prior_weight / rows["outer race"].prior_weight
    assert rough.prior_weight / sum(races) == pytest.approx(wanted)
    turn = 154 / 72.4
    assert [line.order for line in rough.lines if "cage" not in line.label] == pytest.approx(
        [turn, 2 * turn, 3 * turn]
    )
    assert {line.shows_as for line in rough.lines} == {"roughness"}


def test_counted_balls_alone_are_less_sure(small) -> None:
    """Sizes guessed from outside dimensions widen the family's own tolerance."""
    text = small.replace(
        '{ designation = "6203" }]\n', '{ designation = "35x52x20", ball_count = 13 }]\n'
    )
    assert family_of(parse_drive(text), "idler", "outer race").own_tolerance == 0.015


def test_both_rings_turning_hang_on_their_difference() -> None:
    """Inner ring at 2, outer at 1.5 against it: the relative speed 3.5 and its slopes."""
    drive = parse_drive(
        """
        name = "nested shafts"
        engine = { cylinders = 1, strokes = 2 }
        shaft = [
          { name = "inner", driven_by = { kind = "ratio", ratio = 2.0, tolerance_percent = 1 } },
          { name = "outer", driven_by = { kind = "gears", teeth = [30, 20] } },
        ]
        [[component]]
        name = "carrier"
        kind = "rotating accessory"
        on = "inner"
        [[component.bearings]]
        ball_count = 8
        ball_diameter_mm = 10.0
        pitch_diameter_mm = 40.0
        turning_ring = "both"
        outer_shaft = "outer"
        """
    )
    family = family_of(drive, "carrier", "outer race")
    outer_race = next(line for line in family.lines if line.label == "outer race")
    assert outer_race.order == pytest.approx(8 / 2 * 3.5 * (1 - 0.25))
    assert dict(family.depends_on) == {"ratio of inner": pytest.approx(2.0 / 3.5)}
    assert not family.locked


def test_rings_of_an_overrunning_pulley_make_no_line_while_it_drives(small) -> None:
    """Body and rotor turn together at the nominal speeds: no bearing family."""
    text = small.replace(
        'measured = "drawing" }', 'measured = "drawing", overrunning = "one-way" }'
    )
    text = text.replace(
        'place = "rear", designation = "6203"',
        'place = "pulley", designation = "6003", turning_ring = "both"',
    )
    mechanisms = [f.mechanism for f in expected_families(parse_drive(text))]
    assert not any(name.endswith("/pulley") for name in mechanisms)
    assert "outer race/front" in mechanisms


def test_belt_family(small) -> None:
    """The belt's ticks stand at multiples of its turn and lag by half the slip."""
    drive = parse_drive(small)
    family = family_of(drive, "belt main", "damaged belt")
    turn = drive.belts["main"].turn_order
    assert turn is not None
    assert [line.order for line in family.envelope_lines] == pytest.approx(
        [k * turn for k in range(1, 9)]
    )
    assert not family.tonal_lines
    assert family.depends_on["slip of belt main"] == -0.5
    assert family.depends_on["diameter of crank pulley"] == 1
    assert family.belt == "main"


def test_gear_mesh_is_locked_and_natural(sample_drive) -> None:
    """48 teeth on the crankshaft: order 48 exactly, whatever turns between."""
    family = family_of(sample_drive("rear_six.toml"), "gears to accessory shaft", "mesh")
    assert family.locked
    assert not family.depends_on
    mesh = [line.order for line in family.lines if line.natural]
    assert mesh == [48, 96, 144]
    assert {46.5, 47.0, 49.0, 49.5} <= {line.order for line in family.lines}


def test_lines_at_one_place_count_once() -> None:
    """Twelve poles, three phases: ripple and slots fall together and are one line."""
    drive = parse_drive(
        """
        name = "alternator alone"
        engine = { cylinders = 4 }
        component = [{ name = "alternator", kind = "alternator", poles = 12, on = "crankshaft" }]
        """
    )
    family = family_of(drive, "alternator", "winding or rectifier")
    at_36 = [line for line in family.lines if line.order == pytest.approx(36)]
    assert [line.label for line in at_36] == ["rectifier ripple"]


COUPLED = """
name = "coupled"
engine = { cylinders = 4 }
shaft = [{ name = "rear shaft", driven_by = { kind = "coupling" } }]
component = [{ name = "pump", kind = "vane pump", on = "rear shaft", vanes = 9, bearings = [] }]
"""


def test_a_loose_coupling_lags() -> None:
    """The nine vanes (two pulses each) of the pump it drives, 0.4 to 10 % low."""
    drive = parse_drive(COUPLED)
    family = family_of(drive, "coupling to rear shaft", "loose coupling")
    assert [line.order for line in family.tonal_lines] == [18, 36, 54, 72, 90]
    assert not any(line.natural for line in family.lines)
    assert not family.locked
    assert dict(family.depends_on) == {"coupling to rear shaft": -1.0}
    lag = drive.unknowns["coupling to rear shaft"]
    assert (lag.low, lag.high) == (0.004, 0.10)


def test_a_torn_rubber_does_not_lag() -> None:
    """It knocks once a turn of the shaft and stays locked to the crankshaft."""
    family = family_of(parse_drive(COUPLED), "coupling to rear shaft", "worn rubber")
    assert [line.order for line in family.envelope_lines] == [1, 2, 3]
    assert family.locked
    assert not family.depends_on
    assert not family.tonal_lines


def test_a_coupling_to_something_silent() -> None:
    """Without lines to sit low a loose coupling is left its rattle."""
    text = COUPLED.replace("vane pump", "idler").replace("vanes = 9, ", "")
    family = family_of(parse_drive(text), "coupling to rear shaft", "loose coupling")
    assert family.lines == ()
    assert family.noises


def test_only_what_has_a_pulley_can_be_out_of_line(small) -> None:
    """The idler has a pulley; a pump on a coupled shaft has none."""
    on_belt = {
        f.part for f in expected_families(parse_drive(small)) if f.row_id == "pulley out of line"
    }
    assert on_belt == {"alternator", "idler"}
    coupled = {f.mechanism for f in expected_families(parse_drive(COUPLED)) if f.part == "pump"}
    assert "pulley out of line" not in coupled
    assert "loose on its shaft" in coupled


def test_a_bearing_the_layout_does_not_give(small) -> None:
    """Left out, it can only be rough; given or said to be none, the row does not apply."""
    given = 'bearings = [{ designation = "6203" }]\n'
    for typed, rough in (("", True), ("bearings = []\n", False), (given, False)):
        families = expected_families(parse_drive(small.replace(given, typed)))
        idler = {f.mechanism: f for f in families if f.part == "idler"}
        assert ("worn bearing" in idler) is rough
        assert ("outer race" in idler) is (typed == given)
    own = family_of(parse_drive(small.replace(given, "")), "idler", "worn bearing")
    assert [line.order for line in own.envelope_lines] == pytest.approx(
        [k * 154 / 72.4 for k in (1, 2, 3)]
    )


def test_lines_of_sound_and_envelope_at_one_place_are_both_kept(small) -> None:
    """A race strikes at the order at which it may also whine."""
    family = family_of(parse_drive(small), "idler", "outer race")
    assert family.tonal_lines[1].order == pytest.approx(
        next(x.order for x in family.envelope_lines if x.label == "outer race strikes")
    )


def test_strikes_are_likelier_than_tones(small) -> None:
    """Real bearings seldom give pure tones (common practice, no source)."""
    for mechanism, label in (("outer race", "outer race"), ("inner race", "inner race")):
        family = family_of(parse_drive(small), "idler", mechanism)
        tone = next(x for x in family.tonal_lines if x.label == label)
        strike = next(x for x in family.envelope_lines if x.label == f"{label} strikes")
        assert strike.probability > tone.probability
