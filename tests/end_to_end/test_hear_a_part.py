"""A planted part taken out of a made scene, against the scene made without it.

The generator shares nothing with the filter. Made twice from one seed, once with the fault
80 dB lower, the scenes differ by the part's own sound: that is the truth here.
"""

import numpy as np
import pytest

from acoustic.evidence.isolate import crank_turns, isolate_lines
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, Phone, PlantedFault, SceneSettings

RATE_HZ = 48000.0


def made(drive, part, mechanism, rpm, change_db):
    """Make six seconds whose speed wanders, with a fault so much louder than planted."""
    condition = Condition("made", rpm, duration_s=6, fault_change_db=((part, change_db),))
    settings = SceneSettings(
        conditions=(condition,),
        faults=(PlantedFault(part, mechanism, 5.0, "tones"),),
        phone=Phone(hand_db=0.0, agc_s=None),
    )
    return make_scene(drive, settings, np.random.default_rng(40))


def power_db(sound):
    """Mean power. [dB]"""
    return 10 * np.log10(np.mean(np.square(sound, dtype=np.float64)))


@pytest.mark.parametrize("rpm", [800.0, 2000.0])
@pytest.mark.parametrize(
    ("part", "mechanism"), [("alternator", "failed diode"), ("guide idler", "outer race")]
)
def test_the_part_is_kept_and_the_rest_lowered(sample, part, mechanism, rpm):
    """The part within 1 dB, all the rest at least 20 dB lower, with belt slip that wanders."""
    drive = sample("front_four.toml")
    loud, gone = (made(drive, part, mechanism, rpm, change) for change in (0.0, -80.0))
    both, rest = (one.recordings[0].samples.astype(np.float64) for one in (loud, gone))
    rest *= (both @ rest) / (rest @ rest)  # the phone sets its own level each time
    truth = loud.truth.recordings[0]
    orders = [one.order for one in truth.lines if one.part == part and one.role == "fault"]
    turns = crank_turns(truth.speed, 0.0, both.size, RATE_HZ)
    for sound, low_db, high_db in ((both - rest, -1.0, 1.0), (rest, -200.0, -20.0)):
        step = drive.engine.order_step
        found = isolate_lines(sound.astype(np.float32), RATE_HZ, turns, orders, step)
        assert low_db <= power_db(found.alone) - power_db(sound) <= high_db
