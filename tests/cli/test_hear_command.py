"""``acoustic hear`` from clips to sounds, and what it refuses."""

import pytest
import soundfile

from acoustic.cli.app import EXIT_INPUT, EXIT_UNFIT


def test_a_part_is_written_four_times(acoustic, case, tmp_path):
    """Alone, without, changed, made: every file said, in the clip's sample rate."""
    folder = tmp_path / "new" / "sounds"
    code, out, err = acoustic(
        "hear", case / "idle.m4a", "--layout", case / "library_bus.toml", "--part", "idler",
        "--rpm", "810", "--folder", folder,
    )  # fmt: skip
    assert (code, err) == (0, "")
    files = sorted(folder.iterdir())
    assert [file.name.split("-")[0] for file in files] == ["idler", "idler", "idler", "made"]
    for file in files:
        assert f"{file.name} (" in out
        assert soundfile.info(file).samplerate == 48000
    assert "\n  Made, not recorded" in out
    assert "\n  Changed" in out
    assert max(len(row) for row in out.splitlines()[1:]) <= 80


def test_before_and_after_is_one_stereo_file(acoustic, case, tmp_path):
    """Two channels; which ear is which is in its name and words."""
    code, out, err = acoustic(
        "hear", "--before", case / "idle.m4a", "--after", case / "held_2000_rpm.m4a",
        "--folder", tmp_path,
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert soundfile.info(tmp_path / "before-left-after-right.wav").channels == 2
    assert "Left ear before (idle.m4a" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "CLIP, --layout, --part missing"),
        (("clip",), "--layout, --part missing"),
        (("clip", "--layout", "layout"), "--part missing"),
        (("--before", "clip"), "--after missing"),
        (("--after", "clip"), "--before missing"),
        (("clip", "--before", "clip", "--after", "clip"), "one at a time"),
        (("--rpm", "800", "--before", "clip", "--after", "clip"), "one at a time"),
        (("clip", "--layout", "layout", "--part", "windmill"), "no such part"),
        (("clip", "--layout", "layout", "--part", "idler", "--rpm", "fast"), "not a number"),
    ],
)
def test_half_a_question_is_refused_in_one_sentence(acoustic, case, tmp_path, words, said):
    """What is missing or wrong is named; nothing is written."""
    names = {"clip": case / "idle.m4a", "layout": case / "library_bus.toml"}
    folder = tmp_path / "sounds"
    code, out, err = acoustic("hear", *(names.get(w, w) for w in words), "--folder", folder)
    assert (code, out) == (EXIT_INPUT, "")
    assert said in err
    assert len(err.splitlines()) == 1
    assert not folder.exists()


@pytest.mark.parametrize("name", ["silence.wav", "20ms.wav"])
def test_a_clip_without_sound_is_unfit(acoustic, case, clips, tmp_path, name):
    """As a screening says it; nothing is written."""
    code, _, err = acoustic(
        "hear", clips / name, "--layout", case / "library_bus.toml", "--part", "idler",
        "--folder", tmp_path / "sounds",
    )  # fmt: skip
    assert code == EXIT_UNFIT
    assert err.strip()
    assert not (tmp_path / "sounds").exists()


def test_a_file_is_no_folder(acoustic, case, tmp_path):
    """Said before anything else is lost."""
    place = tmp_path / "taken"
    place.write_text("a note")
    code, _, err = acoustic(
        "hear", "--before", case / "idle.m4a", "--after", case / "idle.m4a", "--folder", place
    )
    assert code == EXIT_INPUT
    assert "--folder" in err
    assert place.read_text() == "a note"
