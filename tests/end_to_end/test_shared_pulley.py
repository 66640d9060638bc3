"""Two parts on one pulley: told apart by points or loads where these make them differ."""

from pathlib import Path

import numpy as np
import pytest

from acoustic.drive.layout_file import read_drive
from acoustic.listening import Clip
from acoustic.recording.taken import Taken
from acoustic.screening import screen
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings, Surroundings

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "rear_six.toml"
PAIR = ("water pump", "steering pump")
TAKES = [(None, ()), ("water pump", ()), ("steering pump", ())]


def odds(drive, fault, takes, surroundings, seed):
    """Probabilities of the two parts on the pumps' pulley, idle and held, at these places."""
    conditions = tuple(
        Condition(rpm=rpm, duration_s=12.0, probe_part=point, loads=loads)
        for point, loads in takes
        for rpm in (700.0, 1800.0)
    )
    settings = SceneSettings(conditions=conditions, faults=(fault,), surroundings=surroundings)
    scene = make_scene(drive, settings, np.random.default_rng(seed))
    clips = [
        Clip(recording, taken=Taken(point=one.probe_part or "", loads=one.loads))
        for recording, one in zip(scene.recordings, conditions, strict=True)
    ]
    stated = {one.part: one.probability for one in screen(clips, drive).suspects}
    return np.array([stated[part] for part in PAIR])


@pytest.fixture(scope="module")
def drive():
    """Accessories at the rear; both pumps turn with one pulley."""
    return read_drive(LAYOUT)


@pytest.fixture(scope="module")
def wobble():
    """What both pumps would make alike: the shaft's own turn and its multiples."""
    return PlantedFault("water pump", "run-out", 6.0)


def test_points_tell_them_apart_where_the_sound_differs_there(drive, wobble):
    """The same orders; 20 dB between the points, as by contact, say which of the two it is."""
    apart = Surroundings(own_point_db=10.0, other_point_db=-10.0)
    at_points = odds(drive, wobble, TAKES, apart, seed=4)
    assert at_points[0] > 2.0 * at_points[1]


def test_nothing_tells_them_apart_where_the_sound_is_alike(drive, wobble):
    """The same recordings without any difference between the points: no choice out of noise."""
    alike = Surroundings(own_point_db=0.0, other_point_db=0.0)
    at_points = odds(drive, wobble, TAKES, alike, seed=4)
    assert at_points.max() < 1.5 * at_points.min()
