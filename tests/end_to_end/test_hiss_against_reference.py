"""A hiss beside a recording of the same engine without it, through the front door."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acoustic.drive.layout_file import read_drive
from acoustic.listening import Clip
from acoustic.screening import screen
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"
ENGINE = "engine itself"
IDLE = Condition(name="idle", rpm=800.0, duration_s=12.0)
CONDITIONS = (
    IDLE,
    Condition(name="held", rpm=2000.0, duration_s=12.0),
    replace(IDLE, name="sound", healthy=True),
)


@pytest.fixture(scope="module")
def bus():
    """The library bus hissing 6 dB over all else in the band: idle, held, and sound at idle."""
    drive = read_drive(LAYOUT)
    settings = SceneSettings(CONDITIONS, (PlantedFault(ENGINE, "air leak", 6.0, "hiss"),))
    scene = make_scene(drive, settings, np.random.default_rng(5))
    clips = [Clip(r, c.rpm) for r, c in zip(scene.recordings, CONDITIONS, strict=True)]
    return drive, *clips


def hiss_of(screening, recording: int = 0):
    """What was found of a hiss in a recording."""
    return next(n for n in screening.heard[recording].noises if n.noise == "hiss")


@pytest.fixture(scope="module")
def compared(bus):
    """Idle and held, the reference given."""
    drive, idle, held, sound = bus
    return screen([idle, held], drive, reference=sound)


def test_the_reference_tells_more_than_one_recording_alone(bus, compared) -> None:
    """The band is 7 dB up by construction, and that weighs more than the hiss alone."""
    drive, idle, held, _ = bus
    alone = hiss_of(screen([idle, held], drive))
    found = hiss_of(compared)
    assert "reference" not in alone.words
    assert "against the reference" in found.words
    assert found.level_db > 4
    assert found.ln_ratio > max(0.0, alone.ln_ratio)


def test_another_speed_is_not_compared(compared) -> None:
    """Loudness over frequency changes with speed: only the recording at idle is."""
    assert "reference" in hiss_of(compared, 0).words
    assert "reference" not in hiss_of(compared, 1).words


def test_a_sound_engine_against_itself_hisses_no_more(bus) -> None:
    """Nothing has risen: the comparison speaks against a hiss."""
    drive, *_, sound = bus
    finding = hiss_of(screen([sound], drive, reference=sound))
    assert finding.level_db == pytest.approx(0.0, abs=1e-6)
    assert finding.ln_ratio < 0
