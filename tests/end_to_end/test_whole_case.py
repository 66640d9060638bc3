"""The whole case of README.md: every command as it stands, and what is shown of each."""

import importlib.util
import json
import shutil
import sys
from pathlib import Path

import pytest

from acoustic.casework.case_answer import believed_after_checks, read_belief
from acoustic.casework.case_folder import read_case

TESTS = Path(__file__).resolve().parents[1]
README = (TESTS.parent / "README.md").read_text("utf-8")

pytestmark = pytest.mark.skipif(shutil.which("bash") is None, reason="README.md is for a shell")


def loaded(name):
    """Load a helper that stands beside the folders of tests."""
    spec = importlib.util.spec_from_file_location(name, TESTS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


readme_case = loaded("readme_case")
documents = loaded("test_house_documents")


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """Run the case once, from the complaint to the proof; give its folder and what was said."""
    folder = tmp_path_factory.mktemp("newcomer")
    readme_case.prepare(folder)
    said = [(step, readme_case.run(step.commands, folder)) for step in readme_case.steps(README)]
    return folder, said


@pytest.fixture(scope="module")
def case(walked):
    """Give the one case that was made."""
    (file,) = walked[0].glob("cases/*/case.toml")
    return read_case(file.parent)


@pytest.fixture(scope="module")
def planted():
    """Part and mechanism that were planted in the clips, by their table of the truth."""
    rows = (TESTS.parent / "samples" / "library_bus_case" / "truth.csv").read_text("utf-8")
    lines = [line.split(",") for line in rows.splitlines()]
    return {(line[2], line[3]) for line in lines if line[5] == "fault"}


def test_every_part_of_the_job_is_walked(walked):
    """From the call to the record; none of the commands of a case is left out that matter."""
    commands = " ".join(step.commands for step, _ in walked[1])
    for name in ("new", "plan", "add", "screen", "next", "check", "close", "change", "record"):
        assert f"acoustic case {name} " in commands


def test_what_is_shown_is_what_is_said(walked):
    """Word for word, figures nearly so, as with the demo's example."""
    shown = [(step.shown, said) for step, said in walked[1] if step.shown]
    assert len(shown) >= 5
    for text, said in shown:
        one_line = " ".join(said.split())
        for piece in documents.pieces(text):
            assert documents.agrees(piece, one_line), f"run tests/renew_readme_example.py: {piece}"


def test_the_planted_part_comes_first_after_the_checks(case, planted):
    """Rough where the fault was planted, smooth elsewhere: that part leads, the other falls."""
    believed = read_belief(case)
    before, after = (
        dict(zip(one.parts, one.faulty, strict=True))
        for one in (believed, believed_after_checks(case, believed))
    )
    ((part, _),) = planted
    assert max(after, key=after.get) == part
    assert after[part] > 0.95
    done = {e.data.part: e.data.result for e in case.events if e.kind == "check done"}
    assert done.pop(part) == "rough"
    assert done
    for other, result in done.items():
        assert result == "smooth"
        assert after[other] < before[other]


def test_what_was_found_is_what_was_planted(case, planted):
    """README.md closes the case with the truth."""
    (outcome,) = [e.data for e in case.events if e.kind == "outcome"]
    assert {(outcome.part, outcome.mechanism)} == planted


def test_the_repair_is_proved(walked):
    """The fault is not in the clips after it, and the comparison says so."""
    (said,) = [said for step, said in walked[1] if "acoustic case change" in step.commands]
    assert "\nCured: the sound of guide idler is gone" in said


def test_after_the_repair_the_part_is_not_accused(walked, case, planted):
    """Those after the repair screened alone: below even odds."""
    ((part, _),) = planted
    relative = case.folder.relative_to(walked[0])
    answer = walked[0] / "after.json"
    readme_case.run(f"acoustic case screen {relative} --after --json {answer}", walked[0])
    suspects = json.loads(answer.read_text("utf-8"))["suspects"]
    assert {one["part"]: one["probability"] for one in suspects}[part] < 0.5
