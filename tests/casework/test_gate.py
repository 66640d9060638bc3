"""The gate at the engine: usable or not, why, and what to do again."""

from pathlib import Path

import numpy as np
import pytest

from acoustic.casework.gate import check_take, held_against
from acoustic.drive.layout_file import read_drive
from acoustic.listening import Clip
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Recording
from acoustic.recording.same_sound import sketch_of

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


@pytest.fixture(scope="module")
def drive():
    """Four cylinders, belt in front."""
    return read_drive(SAMPLES / "layouts" / "front_four.toml")


@pytest.fixture(scope="module")
def idling():
    """A sample clip of 800 rpm or so."""
    return read_recording(SAMPLES / "front_four_idler_idle.m4a")


def test_a_good_clip_is_let_through(drive, idling):
    """Speed and usable seconds are named; nothing to do again."""
    answer = check_take(Clip(idling), drive)
    assert answer.usable
    assert answer.rpm == pytest.approx(800, rel=0.1)
    assert f"{answer.rpm:.0f} rpm" in answer.headline


def test_another_speed_than_planned_is_asked_for_again(drive, idling):
    """Usable all the same: it is a recording at idle."""
    answer = held_against(check_take(Clip(idling), drive), wanted_s=500, wanted_rpm=2000)
    assert answer.usable
    assert not answer.good
    assert any("2000 rpm" in again for again in answer.do_again)
    assert any("500 s" in again for again in answer.do_again)


@pytest.mark.parametrize("samples", [np.zeros(960), np.zeros(48000 * 12)])
def test_silence_and_a_blink_are_turned_away(drive, samples):
    """It says what to do, and gives no speed."""
    answer = check_take(Clip(Recording(samples.astype(np.float32), 48000.0)), drive)
    assert not answer.usable
    assert answer.do_again
    assert answer.rpm is None


def test_a_wrong_stated_speed_is_turned_away(drive, idling):
    """1500 rpm stated for an idling engine: the sound contradicts it."""
    answer = check_take(Clip(idling, rpm=1500), drive)
    assert not answer.usable
    assert any("1500" in again for again in answer.do_again), answer.do_again


def test_the_same_sound_over_again_is_no_second_take(drive, idling):
    """Its second half, under another name: turned away, and it says as what it is known."""
    half = len(idling.samples) // 2
    again = Recording(idling.samples[half:], idling.sample_rate_hz, name="again.wav")
    answer = check_take(Clip(again), drive, earlier=[sketch_of(idling)])
    assert not answer.usable
    assert any(idling.name in sentence for sentence in answer.do_again)
    assert check_take(Clip(idling), drive, earlier=[sketch_of(again)]).usable, (
        "the longer one is new"
    )
