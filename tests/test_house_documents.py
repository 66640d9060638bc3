"""The documents keep up with the program: what they show is what it does."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

from acoustic.drive.layout_file import parse_drive

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


def blocks(text, language):
    """Give every fenced block of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def pieces(example):
    """Split an example at its lines of dots, blanks and line ends evened out."""
    return [" ".join(p.split()) for p in re.split(r"^…$", example, flags=re.MULTILINE) if p.strip()]


def agrees(piece, answer):
    """Tell whether `piece` stands in `answer` word for word, its numbers nearly so.

    Numbers may differ by 2 % and by 1 in the last of whole ones: the codec in between is
    not the same to the bit on every machine.
    """
    pattern = r"(\d+(?:\.\d+)?)".join(re.escape(words) for words in NUMBER.split(piece))
    found = re.search(pattern, answer)
    if found is None:
        return False
    pairs = zip(NUMBER.findall(piece), found.groups(), strict=True)
    return all(
        abs(float(a) - float(b)) <= max(0.05 if "." in a else 1.0, 0.02 * float(a))
        for a, b in pairs
    )


def test_the_first_block_is_the_two_lines():
    """Exactly two lines after one paragraph: the demo, then the tests."""
    first = re.search(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    demo, tests = first.group(1).splitlines()
    assert demo.endswith("acoustic demo")
    assert "[test]" in tests
    assert "pytest" in tests
    assert all(line.startswith("python3 -m venv .venv && ") for line in (demo, tests))
    before = [p for p in README[: first.start()].split("\n\n") if p.strip()]
    assert len(before) == 2  # the title and the job


def test_the_example_is_what_the_demo_says(tmp_path, capsys):
    """The answer shown is the one the program gives today."""
    from acoustic.cli import main

    assert main(["demo", str(tmp_path / "case")]) == 0
    answer = " ".join(capsys.readouterr().out.split())
    (example,) = [b for b in blocks(README, "text") if b.startswith("ANSWER")]
    assert len(pieces(example)) >= 2
    for piece in pieces(example):
        assert agrees(piece, answer), f"run tests/renew_readme_example.py: {piece[:300]}"


def test_a_wrong_example_would_be_seen():
    """Other words, other numbers; near numbers pass."""
    assert agrees("idler at 235.3 Hz", "the idler at 235.4 Hz here")
    assert not agrees("idler at 235.3 Hz", "the idler at 250.0 Hz here")
    assert not agrees("idler at 235.3 Hz", "the pump at 235.3 Hz here")


def test_the_layout_shown_is_a_layout():
    """It reads without a fault, and gives the idler its bearing's lines."""
    (layout,) = blocks(README, "toml")
    drive = parse_drive(layout)
    assert {"alternator", "idler", "steering pump"} <= set(drive.parts)


def test_the_readme_keeps_its_order():
    """From the job to the changes; cautions before the first thing to do at an engine."""
    headings = re.findall(r"^## (.+)$", README, re.MULTILINE)
    assert headings[-1] == "Changes"
    assert headings.index("Before you start the engine") < headings.index("Record")
    version = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    assert f"**{version}**" in README.split("## Changes")[1]


@pytest.mark.parametrize("text", [README, GUIDE], ids=["README", "DEVELOPERS"])
def test_every_place_named_is_there(text):
    """Files and folders in backticks exist."""
    named = set(re.findall(r"`((?:acoustic|tests|samples|notebooks|\.ci)/[\w./-]*)`", text))
    assert named
    missing = [name for name in sorted(named) if not (ROOT / name).exists()]
    assert missing == []


def programs():
    """Every Python file that a command of the two documents runs as a program."""
    commands = "".join(block for text in (README, GUIDE) for block in blocks(text, "sh"))
    return sorted(set(re.findall(r"python ([\w/]+\.py)", commands)))


@pytest.mark.parametrize("name", programs())
def test_every_script_named_in_a_command_can_be_read(name):
    """It is there, and says how to be run in its own docstring."""
    docstring = ast.get_docstring(ast.parse((ROOT / name).read_text("utf-8")))
    assert f"python {name}" in docstring


def test_the_one_check_is_what_the_guide_names():
    """The guide's check command is the script that checks every change."""
    assert "bash .ci/run" in GUIDE
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    for tool in ("ruff check", "ruff format --check", "mypy"):
        assert tool in script
        assert tool in GUIDE
