"""The shipped sample layouts as drives."""

from pathlib import Path

import pytest

from acoustic.drive.layout_file import read_drive

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "layouts"


@pytest.fixture(scope="session", params=sorted(path.name for path in SAMPLES.glob("*.toml")))
def sample(request):
    """Drive of each sample layout in turn."""
    return read_drive(SAMPLES / request.param)


@pytest.fixture(scope="session")
def front_four():
    """Drive of the usual front belt."""
    return read_drive(SAMPLES / "front_four.toml")


@pytest.fixture(scope="session")
def rear_six():
    """Drive with two pumps on one pulley and gears from the crankshaft."""
    return read_drive(SAMPLES / "rear_six.toml")


@pytest.fixture(scope="session")
def two_belts():
    """Drive with two belts side by side."""
    return read_drive(SAMPLES / "two_belt_diesel.toml")
