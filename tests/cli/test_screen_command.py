"""``acoustic screen`` from arguments to answer."""

import json
import re
import subprocess
import sys

import jsonschema
import pytest

from acoustic.output.answer_schema import answer_json_schema
from acoustic.output.wording import RUNNING_ENGINE_CAUTION


@pytest.fixture(scope="module")
def held(case):
    """Give the arguments for the clip at a held speed."""
    return ("screen", case / "held_2000_rpm.m4a", "--layout", case / "library_bus.toml")


def test_a_pipe_gets_plain_text_answer_first(acoustic, held):
    """No colour codes, 80 columns, the planted idler named, cautions there, nothing else said."""
    code, out, err = acoustic(*held)
    assert (code, err) == (0, "")
    assert out.startswith("ANSWER\n")
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 80
    assert "idler" in out.split("HOW SURE")[0]
    assert RUNNING_ENGINE_CAUTION in " ".join(out.split())


def test_a_terminal_gets_the_answer_last(held, monkeypatch, terminal):
    """The same words, headings bold, the answer at the end where it stays in view."""
    from acoustic.cli import main

    monkeypatch.setattr(sys, "stdout", terminal)
    assert main([str(a) for a in held]) == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", terminal.getvalue())
    assert "\x1b[1m" in terminal.getvalue()
    assert plain.rindex("ANSWER") > plain.rindex("LIMITS AND SETTINGS")


def test_json_and_picture_are_written_and_told(acoustic, held, tmp_path):
    """Both files are whole, the JSON keeps its schema, the text names where they are."""
    answer, picture = tmp_path / "answer.json", tmp_path / "answer.svg"
    code, out, _ = acoustic(*held, "--json", answer, "--picture", picture)
    assert code == 0
    jsonschema.validate(json.loads(answer.read_text("utf-8")), answer_json_schema())
    assert picture.read_bytes().rstrip().endswith(b"</svg>")
    assert f"Written: {answer}, {picture}" in out
    assert sorted(p.name for p in tmp_path.iterdir()) == ["answer.json", "answer.svg"]


def test_json_to_the_pipe_is_json_alone(acoustic, held):
    """``--json -`` prints one JSON text and nothing else; the clip's digest is its own."""
    import hashlib

    code, out, _ = acoustic(*held, "--json", "-")
    assert code == 0
    report = json.loads(out)
    assert report["files"] == [
        {"name": "held_2000_rpm.m4a", "sha256": hashlib.sha256(held[1].read_bytes()).hexdigest()}
    ]
    assert report["speed"]["rpm"] == pytest.approx(2000, rel=0.02)


def test_each_clip_takes_its_own_speed(acoustic, case):
    """--rpm twice: the first as given, the second heard."""
    code, out, _ = acoustic(
        "screen", case / "idle.m4a", case / "held_2000_rpm.m4a",
        "--layout", case / "library_bus.toml", "--rpm", "810", "--rpm", "heard", "--json", "-",
    )  # fmt: skip
    assert code == 0
    speeds = {r["name"]: r["speed"] for r in json.loads(out)["recordings"]}
    assert speeds["idle.m4a"]["source"] == "given"
    assert speeds["idle.m4a"]["rpm"] == pytest.approx(810, rel=0.05)
    assert speeds["held_2000_rpm.m4a"]["source"] == "heard"


def test_a_speed_log_is_taken(acoustic, held, tmp_path):
    """A log of a steady 2000 rpm: the answer says that the speed comes from it."""
    log = tmp_path / "log.csv"
    log.write_text("time_s,rpm\n" + "".join(f"{second},2000\n" for second in range(31)))
    code, out, _ = acoustic(*held, "--speed-log", log, "--json", "-")
    assert code == 0
    speed = json.loads(out)["speed"]
    assert speed["source"] == "log"
    assert speed["rpm"] == pytest.approx(2000, rel=0.02)


def test_what_the_user_says_is_counted_and_told(acoustic, held):
    """Words from the options, by other names, come out in text and JSON."""
    words = ("--sounds-like", "Grinding", "--sounds-like", "rumble", "--comes-when", "cold start")
    code, out, _ = acoustic(*held, *words)
    assert code == 0
    assert "You said: growl, rumble; comes when: cold." in " ".join(out.split())
    code, out, _ = acoustic(*held, *words, "--json", "-")
    said = json.loads(out)["complaint"]
    assert (code, said["sounds"], said["when"]) == (0, ["growl", "rumble"], ["cold"])


def test_a_switching_off_belongs_to_its_clip(acoustic, held, case):
    """The second clip is said to be switched off at 14 s; only there it is listened for."""
    code, out, _ = acoustic(
        *held[:2], case / "idle.m4a", *held[2:],
        "--switched-off", "none", "--switched-off", "14", "--json", "-",
    )  # fmt: skip
    assert code == 0
    first, second = json.loads(out)["recordings"]
    assert (first["switched_off_s"], second["switched_off_s"]) == (None, 14.0)
    assert second["left_out"][-1]["code"] == "switched_off"
    assert second["noises"][-1]["noise"] == "run-on rattle"
    assert "not heard to stop" in second["noises"][-1]["words"]


def test_a_reference_is_listened_to(acoustic, held, case):
    """The whole command runs with a second clip as reference, which is not itself screened."""
    code, out, _ = acoustic(*held, "--reference", case / "idle.m4a", "--json", "-")
    assert code == 0
    assert [f["name"] for f in json.loads(out)["files"]] == ["held_2000_rpm.m4a"]


def test_nothing_heavy_is_loaded_for_an_answer(held):
    """In a fresh process: no librosa, no numba, no matplotlib on the way to the suspects."""
    program = (
        "import sys\n"
        "from acoustic.cli import main\n"
        "code = main(sys.argv[1:])\n"
        "loaded = {'librosa', 'numba', 'matplotlib'} & set(sys.modules)\n"
        "print(sorted(loaded), file=sys.stderr)\n"
        "sys.exit(code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, held)], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"
    assert done.stdout.startswith("ANSWER")


def test_help_loads_nothing_but_the_parser():
    """``--help`` must answer at once: no numpy, no pydantic, no rich."""
    program = (
        "import sys\n"
        "from acoustic.cli import main\n"
        "main(['--help'])\n"
        "heavy = {'numpy', 'scipy', 'pydantic', 'rich', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"
    assert "screen" in done.stdout
