"""What the user says of the sound, from the words to the answer."""

import numpy as np
import pytest

import acoustic
from acoustic.drive.expected import expected_families
from acoustic.listening import listen
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings
from acoustic.tables.sound_words import sound_words, when_words
from acoustic.verdict.joint_match import match_drive


def made(drive, seed, faults=()):
    """Make an idling engine of 12 s."""
    settings = SceneSettings(
        conditions=(Condition("idle", 810.0, duration_s=12.0),), faults=tuple(faults)
    )
    return make_scene(drive, settings, np.random.default_rng(seed)).recordings[0]


@pytest.fixture(scope="module")
def drive(sample):
    """Give the drive of the library bus."""
    return sample("front_four.toml")


def odds(screening):
    """Give the odds of each part being faulty."""
    return {s.part: s.probability / (1 - s.probability) for s in screening.suspects}


def test_words_raise_what_they_tell_of(screened, drive):
    """A growl that comes always: bearings gain on the belt, and the answer says what it counts."""
    clip = made(drive, 1, [PlantedFault("guide idler", "outer race", 0.0, "impacts")])
    plain = screened([clip], drive)
    told = screened([clip], drive, complaint=acoustic.Complaint(["grinding"], ["all the time"]))
    assert plain.words is None
    assert acoustic.screening_to_dict(plain)["complaint"] is None
    idler, belt = "guide idler", next(s.part for s in plain.suspects if s.part.startswith("belt"))
    assert odds(told)[idler] / odds(told)[belt] > 1.5 * odds(plain)[idler] / odds(plain)[belt]
    said = acoustic.screening_to_dict(told)["complaint"]
    assert (said["sounds"], said["when"], said["counted"]) == (["growl"], ["always"], True)
    assert 1 < said["highest_factor"] <= 4.5
    assert 0 < said["lowest_factor"] < 1
    assert {row["part"] for row in said["parts"]} == set(drive.parts)
    text = " ".join(acoustic.render_text(told).split())
    assert "You said: growl; comes when: always. Counted as evidence" in text
    assert f"at most {said['highest_factor']:.1f} times" in text
    assert told.settings["complaint"] == {"sounds": ("growl",), "when": ("always",)}


@pytest.mark.parametrize(
    ("layout", "first"),
    [("front_four.toml", 0), ("front_four.toml", 1), ("two_belt_diesel.toml", 2)],
)
def test_words_alone_accuse_nobody(screened, sample, layout, first):
    """A sound engine and word after word: no part becomes possible.

    Parts together are named only where something was heard that bears the word out, such
    as a tone taken for a squeal.
    """
    drive = sample(layout)
    clip = acoustic.Clip(made(drive, 2), rpm=810.0)
    settings = acoustic.ScreenSettings()
    orders = [listen(clip, drive, settings, lambda _: None).orders]
    families = expected_families(drive)
    assert match_drive(drive, families, orders, settings.match).result.faulty.max() < 0.5
    highest = {}
    for sound in list(sound_words())[first::3]:
        complaint = acoustic.Complaint([sound], list(when_words()))
        answer = match_drive(drive, families, orders, settings.match, complaint=complaint)
        highest[sound] = float(answer.result.faulty.max())
    assert max(highest.values()) < 0.5, highest
    worst = max(highest, key=highest.get)
    told = screened([clip], drive, complaint=acoustic.Complaint([worst], list(when_words())))
    heard = any(suspect.evidence for suspect in told.suspects)
    assert told.verdict != "suspects" or heard


def test_words_without_a_usable_recording_are_not_counted(screened, drive):
    """Silence: the answer tells what was said and that it weighs nothing."""
    silence = acoustic.Recording(np.zeros(16000 * 8, dtype=np.float32), 16000.0)
    screening = screened([silence], drive, complaint=acoustic.Complaint("squeal"))
    assert screening.words is not None
    assert not screening.words.counted
    assert "Not counted" in acoustic.render_text(screening)
