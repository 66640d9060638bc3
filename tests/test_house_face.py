"""The public face: the names, where they come from, and that they do the whole job."""

import importlib
import pkgutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import acoustic

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
NAMES = [
    "AcousticError", "Clip", "Complaint", "Drive", "Recording", "ScreenSettings", "Screening",
    "draw_drive", "draw_screening", "find_order_table", "read_drive", "read_recording",
    "read_speed_log", "render_text", "screen", "screening_to_dict",
]  # fmt: skip


def test_the_public_names_are_pinned():
    """A name added or taken away is a promise made or broken: change it here, too."""
    assert sorted(acoustic.__all__) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_each_name_is_found_and_comes_from_its_home(name):
    """What the lazy look-up gives is the thing its own module defines."""
    found = getattr(acoustic, name)
    assert found is getattr(importlib.import_module(found.__module__), name)
    assert name in dir(acoustic)


def test_no_public_name_hides_a_module():
    """``acoustic.screening`` stays the module, for whoever looks inside."""
    inside = {module.name for module in pkgutil.iter_modules(acoustic.__path__)}
    assert inside.isdisjoint(acoustic.__all__)


def test_a_name_that_is_not_there_is_refused():
    """The message names the package and the name, as Python's own does."""
    with pytest.raises(AttributeError, match=r"'acoustic' has no attribute 'screne'"):
        acoustic.screne  # noqa: B018 - asking is the test


def test_type_checkers_see_every_name(tmp_path):
    """A strict mypy knows what each name is; a wrong argument is caught before it runs."""
    pytest.importorskip("mypy", reason="mypy comes with the dev extra")
    program = tmp_path / "use.py"
    lines = ["import acoustic", *(f"reveal_type(acoustic.{name})" for name in NAMES)]
    program.write_text("\n".join([*lines, "acoustic.read_drive(5)"]) + "\n")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", str(program)],
        capture_output=True, text=True, check=False, cwd=SAMPLES.parent,
    )  # fmt: skip
    said = done.stdout.replace("\n", " ")
    assert said.count("Revealed type") == len(NAMES)
    assert 'Revealed type is "Any"' not in said
    assert 'Argument 1 to "read_drive" has incompatible type "int"' in said


def test_the_whole_job_through_the_public_face():
    """Read, screen with a given speed and with one heard, show as text and as plain values."""
    drive = acoustic.read_drive(SAMPLES / "layouts" / "rear_six.toml")
    idle = acoustic.read_recording(SAMPLES / "rear_six_pump_idle.opus")
    held = acoustic.read_recording(SAMPLES / "rear_six_pump_1900.opus")
    screening = acoustic.screen([acoustic.Clip(idle, rpm=680), held], drive)
    assert isinstance(screening, acoustic.Screening)
    assert [h.speed.source for h in screening.heard] == ["given", "heard"]
    assert acoustic.render_text(screening).startswith("ANSWER\n")
    assert acoustic.screening_to_dict(screening)["verdict"] == screening.verdict
    assert "steering pump" in {line.part for line in acoustic.find_order_table(drive, 700).lines}


def test_the_pictures_of_the_public_face_are_figures():
    """Axes to look at, nothing shown, nothing written."""
    drive = acoustic.read_drive(SAMPLES / "layouts" / "front_four.toml")
    clip = acoustic.read_recording(SAMPLES / "front_four_idler_2000.m4a")
    drawn = acoustic.draw_screening(acoustic.screen([clip], drive), drive)
    assert len(drawn.axes) >= 3
    assert acoustic.draw_drive(drive, ["guide idler"]).axes


def test_the_version_is_told_once():
    """The package and its project file agree."""
    project = tomllib.loads((SAMPLES.parent / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["version"] == acoustic.__version__
