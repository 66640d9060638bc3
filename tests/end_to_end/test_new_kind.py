"""A kind of component nobody has thought of yet: one table, no code, and it is found.

The village library bus has a lift for its book trolleys, driven by a lobe pump on the belt.
"""

import numpy as np
import pytest

from acoustic.drive.layout_file import parse_drive
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings
from acoustic.tables.knowledge import load_knowledge, parse_knowledge

TABLE = """
[[kind]]
id = "trolley lift pump"
title = "pump of the book trolley lift"
aliases = ["lift pump"]
source = "invented for this test"
  [[kind.quantity]]
  name = "lobes"
  title = "lobes of both rotors together"
  low = 3
  high = 20
  source = "invented for this test"
  [[kind.mechanism]]
  id = "chipped lobe"
  title = "a lobe with a chipped edge"
  sounds_like = ["whine"]
  comes_when = ["load"]
  prior_weight = 1.0
  hand_check = "Lift the empty trolley once and listen at the pump body."
  hand_check_minutes = 5
  caution = "Nobody under the trolley."
  repair = "Replace both rotors."
  source = "invented for this test"
    [[kind.mechanism.line]]
    formula = "lobes + 2 / 7"
    label = "lobe edge"
    harmonics = [1, 2, 3, 4]
    probability = [0.9, 0.8, 0.7, 0.6]
    relative_level_db = [0, -2, -4, -6]
"""

LAYOUT = """
name = "Library bus with a trolley lift"
engine = { cylinders = 4, idle_rpm = [700, 900] }
[[belt]]
name = "main"
section = "6PK"
path = ["crank pulley", "alternator", "idler (back)", "trolley pump", "water pump (back)"]
[[pulley]]
name = "crank pulley"
on = "crankshaft"
diameter_mm = 150
measured = "drawing"
[[component]]
name = "alternator"
kind = "alternator"
poles = 12
pulley = { diameter_mm = 55, measured = "drawing" }
bearings = [{ place = "front", designation = "6303" }, { place = "rear", designation = "6203" }]
[[component]]
name = "idler"
kind = "idler"
pulley = { diameter_mm = 70, measured = "flat back-side pulley" }
bearings = [{ designation = "6203" }]
[[component]]
name = "trolley pump"
kind = "lift pump"
lobes = 9
pulley = { diameter_mm = 118, measured = "drawing" }
bearings = [{ designation = "6204" }]
[[component]]
name = "water pump"
kind = "water pump"
vanes = 6
pulley = { diameter_mm = 120, measured = "flat back-side pulley" }
"""


@pytest.fixture(scope="module")
def drive():
    """Build the drive with the shipped tables and the one above."""
    return parse_drive(LAYOUT, "lift.toml", parse_knowledge(TABLE))


SPEEDS = (Condition("idle", 810.0), Condition("held", 1950.0))


def stands_out(scene, label):
    """Tell whether a planted line can be told from the engine and the noise at every speed."""
    return all(
        any(line.detectable and line.label == label for line in recording.lines)
        for recording in scene.truth.recordings
    )


def test_a_new_kind_needs_a_table_only(screened, drive):
    """Its planted fault is the first suspect, with the hand check and caution of its row.

    In every scene of four in which its lowest line stands out.
    """
    assert "trolley lift pump" not in load_knowledge().kinds
    fault = PlantedFault("trolley pump", "chipped lobe", 2.0)
    settings = SceneSettings(conditions=SPEEDS, faults=(fault,))
    right = []
    for seed in range(4):
        scene = make_scene(drive, settings, np.random.default_rng(seed))
        if stands_out(scene, "lobe edge"):
            answer = screened(scene.recordings, drive, knowledge=drive.knowledge)
            right.append(answer.suspects[0])
    assert len(right) >= 2
    for first in right:
        assert first.part == "trolley pump"
        assert first.mechanism == "a lobe with a chipped edge"
        assert first.probability > 0.5
        assert first.hand_check.startswith("Lift the empty trolley")
        assert first.caution == "Nobody under the trolley."


def test_without_the_fault_the_new_kind_is_not_accused(screened, drive):
    """The same drive, sound."""
    scene = make_scene(drive, SceneSettings(conditions=SPEEDS), np.random.default_rng(0))
    screening = screened(scene.recordings, drive, knowledge=drive.knowledge)
    (pump,) = (s for s in screening.suspects if s.part == "trolley pump")
    assert pump.probability < 0.5
