"""Every sample clip through the front door: the planted part first, nobody wrongly accused."""

import csv
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
CLIP = "front_four_idler_idle.m4a"
LIKELY = 0.8  # above this the answer says "likely source"


def planted():
    """Read from the truth table which part was planted in each clip; none in a healthy one."""
    found = {}
    rows = csv.DictReader((SAMPLES / "truth.csv").read_text("utf-8").splitlines())
    for row in rows:
        found.setdefault(row["recording"], None)
        if row["role"] == "fault":
            found[row["recording"]] = row["part"]
    return found


def layout_of(clip):
    """Name the layout a sample clip belongs to."""
    return "front_four.toml" if clip.startswith("front_four") else "rear_six.toml"


FAULTY = {clip: part for clip, part in planted().items() if part is not None}
HEALTHY = [clip for clip, part in planted().items() if part is None]


@pytest.mark.parametrize("clip", FAULTY)
def test_the_planted_part_comes_first(screened, sample, leading, clip):
    """Alone, speed heard from the sound, the clip leads to its part or to the group it is in."""
    screening = screened([sample(clip)], sample(layout_of(clip)))
    assert screening.verdict == "suspects"
    assert FAULTY[clip] in leading(screening)


@pytest.mark.parametrize("layout", ["front_four.toml", "rear_six.toml"])
def test_two_speeds_say_no_less_than_one(screened, sample, leading, layout):
    """Both faulty clips of a bus together: the planted part first, and likely."""
    clips = [clip for clip in FAULTY if layout_of(clip) == layout]
    screening = screened([sample(clip) for clip in clips], sample(layout))
    assert len(clips) == 2
    assert leading(screening) == {FAULTY[clips[0]]}
    assert screening.suspects[0].probability > LIKELY


@pytest.mark.parametrize("clip", HEALTHY)
def test_a_healthy_bus_is_not_accused(screened, sample, clip):
    """Its parts sing; none of them is said to be faulty."""
    screening = screened([sample(clip)], sample(layout_of(clip)))
    assert all(suspect.probability < 0.5 for suspect in screening.suspects)
    assert not screening.headline.startswith("Likely source:")


def test_a_healthy_reference_clears_the_parts_that_always_sang(screened, sample):
    """Heard against the sound bus, the compressor is less suspect and the idler stays first."""
    drive = sample("front_four.toml")
    faulty, sound = sample("front_four_idler_idle.m4a"), sample("front_four_healthy_idle.m4a")

    def chances(screening):
        return {suspect.part: suspect.probability for suspect in screening.suspects}

    alone = chances(screened([faulty], drive))
    compared = chances(screened([faulty], drive, reference=sound))
    assert max(compared, key=compared.get) == "guide idler"
    assert compared["guide idler"] >= alone["guide idler"]
    assert compared["compressor"] < alone["compressor"]
    itself = chances(screened([sound], drive, reference=sound))
    assert itself["compressor"] < chances(screened([sound], drive))["compressor"]


def test_the_command_gives_the_same_answer(screened, sample):
    """The command as typed: exit code 0 and the headline of the public face."""
    clip = "rear_six_pump_idle.opus"
    done = subprocess.run(
        [sys.executable, "-c", "import sys; from acoustic.cli import main; sys.exit(main())",
         "screen", str(SAMPLES / clip), "--layout", str(SAMPLES / "layouts" / "rear_six.toml")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    headline = screened([sample(clip)], sample("rear_six.toml")).headline
    assert " ".join(done.stdout.split()).startswith(f"ANSWER {headline}")


def test_an_excerpt_beside_its_clip_is_not_counted_twice(screened, sample):
    """The answer is that of the clip alone, and the excerpt says why it is left out."""
    drive, whole = sample("front_four.toml"), sample(CLIP)
    rate = whole.sample_rate_hz
    excerpt = replace(whole, samples=whole.samples[int(rate) : int(14 * rate)], name="excerpt.wav")
    alone, both = screened([whole], drive), screened([excerpt, whole], drive)
    assert [s.probability for s in both.suspects] == [s.probability for s in alone.suspects]
    assert "same_sound" in [remark.code for remark in both.heard[0].quality]
    assert CLIP in both.heard[0].speed_reason
