"""From a layout to the drive, whole."""

import pickle

import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive, parse_layout, read_drive
from acoustic.errors import DriveError


def test_belt_turns_once_in_so_many_turns(small) -> None:
    """Pitch length 1000 + 4 pi mm on a 154 mm pulley; part and family of its own."""
    drive = parse_drive(small)
    length = 1000 + 4 * 3.14159265
    assert drive.belts["main"].turn_order == pytest.approx(3.14159265 * 154 / length)
    assert drive.parts["belt main"].kind == "belt"


def test_odd_fire() -> None:
    """Firing angles that are not even are an odd-fire engine."""
    text = """
name = "odd"
component = [{ name = "damper", kind = "damper", on = "crankshaft" }]
[engine]
cylinders = 6
firing_angles_deg = [0, 90, 240, 330, 480, 570]
"""
    assert parse_drive(text).engine.odd_fire


def test_what_could_not_be_predicted_is_said(small) -> None:
    """Counts and bearings left out are told in the notes, with what is lost by it."""
    text = small.replace("poles = 12\n", "").replace('bearings = [{ designation = "6203" }]\n', "")
    notes = parse_drive(text).notes
    assert any("alternator: pole_pairs not given" in note for note in notes)
    assert any(note.startswith("no bearings given for idler") for note in notes)
    silent = parse_drive(text + "bearings = []\n").notes
    assert not any("no bearings given" in note for note in silent)


def test_faults_without_a_file(small) -> None:
    """A layout built in code is refused with the same words, without lines."""
    layout = parse_layout(small.replace("vanes", "x").replace('"6303"', '"6399"'))
    with pytest.raises(DriveError, match=r"^bench: \[component 1\] bearings 1 designation: '6399'"):
        build_drive(layout, where="bench")


def test_a_drive_can_be_sent_to_another_process(sample) -> None:
    """A drive survives pickling, so that many clips can be screened side by side."""
    drive = read_drive(sample)
    assert pickle.loads(pickle.dumps(drive)) == drive  # noqa: S301 - our own value


def test_what_every_engine_has(small) -> None:
    """The engine's own noises and a loose shield are parts of every drive, without lines."""
    drive = parse_drive(small)
    own = {
        part.name for part in drive.parts.values() if drive.knowledge.kinds[part.kind].everywhere
    }
    assert own == {"engine itself", "loose shield or bracket"}
    families = [family for family in expected_families(drive) if family.part in own]
    assert families
    assert all(family.noises and not family.lines for family in families)


def test_a_bench_motor_is_no_engine() -> None:
    """A motor on the crankshaft has neither valves nor heat shields; beside it an engine has."""
    bench = """
    name = "bench"
    engine = { cylinders = 1, strokes = 2 }
    component = [{ name = "motor", kind = "electric motor", on = "crankshaft", bearings = [] }]
    """
    assert set(parse_drive(bench).parts) == {"motor"}
    geared = bench.replace('on = "crankshaft"', 'on = "side shaft"') + (
        'shaft = [{ name = "side shaft", driven_by = { kind = "gears", teeth = [20, 20] } }]'
    )
    assert "engine itself" in parse_drive(geared).parts


@pytest.mark.parametrize(
    ("way", "name", "kind"),
    [
        ("one-way", "alternator one-way clutch", "overrunning pulley"),
        ("decoupler", "alternator decoupler", "decoupler pulley"),
    ],
)
def test_an_overrunning_pulley_is_a_part(small, way, name, kind) -> None:
    """It turns with its rim, is drawn as its pulley, and has mechanisms of its own."""
    text = small.replace(
        'diameter_mm = 56, measured = "drawing"',
        f'diameter_mm = 56, measured = "drawing", overrunning = "{way}"',
    )
    part = parse_drive(text).parts[name]
    assert (part.kind, part.shaft, part.pulley) == (kind, "alternator rim", "alternator")
    assert name not in parse_drive(small).parts


def test_overrunning_pulleys_of_a_drive_at_the_rear(sample_drive) -> None:
    """One drives the belt, a second sits in the coupling to the alternator."""
    drive = sample_drive("rear_six.toml")
    assert drive.parts["drive pulley one-way clutch"].kind == "overrunning drive pulley"
    assert drive.parts["alternator shaft one-way clutch"].kind == "overrunning pulley"
    assert drive.parts["alternator shaft one-way clutch"].shaft == "alternator shaft"
