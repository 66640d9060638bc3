"""A drive, an empty case and small clips for all tests of the record."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_writes import write_new_case
from acoustic.drive.layout_file import read_drive

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
LAYOUT = SAMPLES / "layouts" / "rear_six.toml"
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="session")
def drive():
    """Give the drive of the second library bus."""
    return read_drive(LAYOUT)


@pytest.fixture
def now():
    """Give a time of day."""
    return NOW


@pytest.fixture
def case_file():
    """Give what was written down on the phone."""
    return CaseFile(
        title="Bus 2 growls",
        opened=date(2026, 11, 25),
        complaint='"It growls" since the frost\nand \\ worse uphill: größer, 轰',
        vehicle="library bus 2",
        odometer_km=184000,
    )


@pytest.fixture
def folder(tmp_path, case_file):
    """Give the folder of a new case."""
    place = tmp_path / "bus 2"
    write_new_case(place, case_file, LAYOUT)
    return place


@pytest.fixture
def clip(tmp_path):
    """Give a function that makes a small sound file of a name."""

    def make(name, content="a"):
        path = tmp_path / name
        path.write_bytes(b"RIFF" + content.encode() * 500)
        return path

    return make
