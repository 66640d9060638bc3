"""A small drive as text, to be changed by the tests, and the shipped sample layouts."""

from collections.abc import Callable
from pathlib import Path

import pytest

from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import read_drive

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "layouts"

SMALL = """\
name = "small drive"

[engine]
cylinders = 4

[[belt]]
name = "main"
section = "6PK"
length_mm = 1000
path = ["crank pulley", "alternator", "idler (back)"]

[[pulley]]
name = "crank pulley"
on = "crankshaft"
diameter_mm = 150
measured = "drawing"

[[component]]
name = "alternator"
kind = "alternator"
poles = 12
pulley = { diameter_mm = 56, measured = "drawing" }
bearings = [{ place = "front", designation = "6303" }, { place = "rear", designation = "6203" }]

[[component]]
name = "idler"
kind = "idler"
pulley = { diameter_mm = 70, measured = "flat back-side pulley" }
bearings = [{ designation = "6203" }]
"""


@pytest.fixture
def small() -> str:
    """Text of a small belt drive."""
    return SMALL


@pytest.fixture(params=sorted(path.name for path in SAMPLES.glob("*.toml")))
def sample(request) -> Path:
    """Each shipped sample layout in turn."""
    return SAMPLES / request.param


@pytest.fixture
def sample_drive() -> Callable[[str], Drive]:
    """Drive of a sample layout by file name."""
    return lambda name: read_drive(SAMPLES / name)
