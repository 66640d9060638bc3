"""Whatever a person gets wrong: one clear message, the right code, nothing left half."""

import re
from pathlib import Path

import pytest

DAMAGED = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "formats" / "damaged"

WRONG_LAYOUT = """
name = "bus"
engine = { cylinders = 4 }
[[belt]]
name = "main"
path = ["crank pulley", "altenator"]
[[pulley]]
name = "crank pulley"
on = "crankshaft"
diameter_mm = -5
[[component]]
name = "alternator"
kind = "alternater"
colour = "red"
pulley = { diameter_mm = 56 }
"""


def one_message(err):
    """Check that an error is a few plain sentences without program talk."""
    assert err.strip()
    assert not re.search(r"Error\b|Exception|errno|\[Errno|0x[0-9a-f]{6}|None\b", err), err
    return " ".join(err.split())


@pytest.mark.parametrize(
    ("rpm", "said"),
    [
        ("0", "must be above 0"),
        ("-800", "must be above 0"),
        ("nan", "must be above 0"),
        ("inf", "must be above 0"),
        ("fast", "not a number"),
        ("8000000", "no engine"),
        ("13", "no engine"),
    ],
)
def test_a_speed_no_engine_turns_at(acoustic, case, rpm, said):
    """Each is answered with what was typed and what to type instead."""
    code, out, err = acoustic(
        "screen", case / "idle.m4a", "--layout", case / "library_bus.toml", "--rpm", rpm
    )
    assert (code, out) == (2, "")
    assert said in one_message(err)
    assert f"--rpm {rpm}" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--rpm", "800", "--rpm", "900", "--rpm", "1000"), "3 times for 1 clip"),
        (("--rpm-tolerance", "0"), "between 0.1 and 30"),
        (("--rpm-tolerance", "nan"), "between 0.1 and 30"),
        (("--speed-log", "a.csv", "--speed-log", "b.csv"), "2 times for 1 clip"),
        (("--speed-log", "a.csv", "--rpm", "800"), "Keep the one you trust"),
        (("--json", "nowhere/answer.json"), "does not exist"),
        (("--picture", "answer.bmp"), ".png, .svg, .pdf"),
        (("--picture", "nowhere/answer.png"), "does not exist"),
        (("--speed-log", "no-such-log.csv"), "no-such-log.csv"),
        (("--reference", "no-such-clip.wav"), "no-such-clip.wav"),
    ],
)
def test_options_that_do_not_fit(acoustic, case, options, said):
    """Told before any clip is listened to."""
    code, out, err = acoustic(
        "screen", case / "idle.m4a", "--layout", case / "library_bus.toml", *options
    )
    assert (code, out) == (2, "")
    assert said in one_message(err)


def test_a_folder_is_no_place_for_json(acoustic, case, tmp_path):
    """The message asks for a file name."""
    code, _, err = acoustic(
        "screen", case / "idle.m4a", "--layout", case / "library_bus.toml", "--json", tmp_path
    )
    assert code == 2
    assert "this is a folder" in one_message(err)


def test_every_missing_clip_is_named_at_once(acoustic, case):
    """Two wrong names, one run, both told."""
    code, out, err = acoustic(
        "screen", "one.wav", case / "idle.m4a", "two.wav", "--layout", case / "library_bus.toml"
    )
    assert (code, out) == (2, "")
    assert "one.wav" in one_message(err)
    assert "two.wav" in err


def test_a_missing_layout_is_one_sentence(acoustic, case):
    """The layout is read before the clips."""
    code, out, err = acoustic("screen", case / "idle.m4a", "--layout", "nowhere.toml")
    assert (code, out) == (2, "")
    assert "nowhere.toml" in one_message(err)


def test_a_clip_given_as_layout_is_one_sentence(acoustic, case):
    """The two files swapped."""
    code, out, err = acoustic(
        "screen", case / "library_bus.toml", "--layout", case / "idle.m4a"
    )  # fmt: skip
    assert (code, out) == (2, "")
    assert "idle.m4a" in one_message(err)


@pytest.mark.parametrize("command", ["screen", "orders"])
def test_every_fault_of_a_layout_is_told_at_once_with_its_line(acoustic, case, tmp_path, command):
    """A negative diameter in line 10 and more, each with file and line."""
    layout = tmp_path / "wrong.toml"
    layout.write_text(WRONG_LAYOUT)
    given = (case / "idle.m4a", "--layout", layout) if command == "screen" else (layout,)
    code, out, err = acoustic(command, *given)
    assert (code, out) == (2, "")
    one_message(err)
    assert "wrong.toml:10" in err
    assert len(re.findall(r"wrong\.toml:\d+", err)) >= 2


@pytest.mark.parametrize(
    ("name", "code", "said"),
    [
        ("20ms.wav", 3, "20 ms"),
        ("silence.wav", 3, "silent"),
        ("nan.wav", 2, "damaged"),
        ("text.m4a", 2, "text file"),
        ("empty.wav", 2, "empty"),
    ],
)
def test_a_clip_that_cannot_be_used(acoustic, case, clips, tmp_path, name, code, said):
    """One sentence that names the clip, and nothing written."""
    target = tmp_path / "answer.json"
    found, out, err = acoustic(
        "screen", clips / name, "--layout", case / "library_bus.toml", "--json", target
    )
    assert found == code, err
    assert said in one_message(err)
    assert name in err
    assert out == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("kinds", "code"), [("u", 3), ("uu", 3), ("ud", 2)])
def test_unfit_clips_have_their_own_code(acoustic, case, monkeypatch, kinds, code):
    """All clips readable but empty of sound: 3; one of them damaged: 2."""
    from acoustic.errors import RecordingError, UnfitRecordingError
    from acoustic.recording import audio_file

    def read(path):
        if path.stem.startswith("u"):
            raise UnfitRecordingError(f"{path.name}: the clip is silent.")
        raise RecordingError(f"{path.name}: the clip is damaged.")

    monkeypatch.setattr(audio_file, "read_recording", read)
    names = [f"{kind}{number}.wav" for number, kind in enumerate(kinds)]
    found, out, err = acoustic("screen", *names, "--layout", case / "library_bus.toml")
    assert (found, out) == (code, "")
    assert all(name in err for name in names)


def test_noise_without_an_engine_is_answered(acoustic, case, clips):
    """Plain noise is a fair clip: no part is accused, and it is no failure."""
    code, out, _ = acoustic("screen", clips / "noise.wav", "--layout", case / "library_bus.toml")
    assert code == 0
    assert "Likely source" not in out


@pytest.mark.skipif(not DAMAGED.is_dir(), reason="the folder of damaged clips is not here")
def test_no_damaged_clip_brings_the_program_down(acoustic, case, tmp_path):
    """All damaged files: code 0, 2 or 3, a message where there is no answer, no half file."""
    target = tmp_path / "answer.json"
    for path in sorted(DAMAGED.iterdir()):
        target.unlink(missing_ok=True)
        code, out, err = acoustic(
            "screen", path, "--layout", case / "library_bus.toml", "--json", target
        )
        assert code in (0, 2, 3), path.name
        if out:
            assert err == "", path.name
            assert target.exists(), path.name
        else:
            assert path.name in one_message(err), path.name
            assert not target.exists(), path.name
        assert [p.name for p in tmp_path.iterdir() if p != target] == [], path.name


@pytest.mark.skipif(not DAMAGED.is_dir(), reason="the folder of damaged clips is not here")
def test_a_file_that_points_at_another_file_is_refused(acoustic, case):
    """A text that tells a reader to open another local file is never followed."""
    clip = DAMAGED / "concat_named.wav"
    code, out, err = acoustic("screen", clip, "--layout", case / "library_bus.toml")
    assert (code, out) == (2, "")
    assert "text file" in one_message(err)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--sounds-like", "whinne"), "Did you mean 'whine'"),
        (("--comes-when", "zzz"), "Known: always"),
        (("--switched-off", "soon"), "such as --switched-off 24.5"),
        (("--switched-off", "-3"), "such as --switched-off 24.5"),
        (("--switched-off", "900"), "idle.m4a: switched off at 900 s"),
        (("--switched-off", "5", "--switched-off", "none"), "2 times for 1 clip."),
    ],
)
def test_words_and_seconds_that_make_no_sense(acoustic, case, options, said):
    """One sentence with what to type instead; nothing is screened."""
    code, out, err = acoustic(
        "screen", case / "idle.m4a", "--layout", case / "library_bus.toml", *options
    )
    assert (code, out) == (2, "")
    assert said in one_message(err)


def test_usage_errors_point_to_help(acoustic, case):
    """A missing option and a mistyped one: code 2 and where help is."""
    code, out, err = acoustic("screen", case / "idle.m4a")
    assert (code, out) == (2, "")
    assert "--layout" in err
    code, out, err = acoustic("screen", case / "idle.m4a", "--layuot", "x")
    assert (code, out) == (2, "")
    assert "--layout" in err


def test_a_folder_with_other_things_is_left_alone_by_the_demo(acoustic, tmp_path):
    """Nothing is written among somebody's files."""
    (tmp_path / "letter.txt").write_text("mine")
    code, out, err = acoustic("demo", tmp_path)
    assert (code, out) == (2, "")
    assert "left alone" in one_message(err)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]
