"""Swelling that no part makes, laid over a sound engine: from the clip to the answer."""

from dataclasses import replace

import numpy as np
import pytest

import acoustic
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, SceneSettings

RPM, SECONDS, STRANGE_ORDER = 800.0, 16.0, 5.37


@pytest.fixture(scope="module")
def swelling_clip(sample):
    """A sound drive at a speed that does not wander, and noise that swells at order 5.37."""
    drive = sample("front_four.toml")
    condition = Condition("idle", RPM, duration_s=SECONDS, wander=0.0)
    scene = make_scene(drive, SceneSettings(conditions=(condition,)), np.random.default_rng(3))
    recording = scene.recordings[0]
    time = np.arange(recording.samples.size) / recording.sample_rate_hz
    noise = np.random.default_rng(4).standard_normal(time.size)
    swell = np.sqrt(1.0 + 0.9 * np.cos(2 * np.pi * STRANGE_ORDER * RPM / 60.0 * time))
    level = 0.3 * np.sqrt(np.mean(recording.samples**2))
    samples = recording.samples + (level * noise * swell).astype(np.float32)
    return drive, replace(recording, samples=samples)


def test_swelling_of_nobody_reaches_the_answer(screened, swelling_clip):
    """It is found at its order, listed as no tone in text and JSON, and nobody is named for it."""
    drive, recording = swelling_clip
    screening = screened([acoustic.Clip(recording, RPM)], drive)
    found = [u.line for u in screening.unexplained_swelling]
    assert any(abs(line.order - STRANGE_ORDER) < 0.01 for line in found)
    assert set(found) <= set(screening.heard[0].swelling)
    assert all(abs(u.tone.order - STRANGE_ORDER) > 0.01 for u in screening.unexplained)
    assert screening.verdict == "cannot_tell"
    assert max(suspect.probability for suspect in screening.suspects) < 0.5
    assert "Swelling that no part" in acoustic.render_text(screening)
    report = acoustic.screening_to_dict(screening)
    assert report["unexplained_swelling"][0]["frequency_hz"] == pytest.approx(71.6, abs=0.3)
