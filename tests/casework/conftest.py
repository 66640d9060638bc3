"""Drives, beliefs and hand checks worked by hand; an empty case and small clips."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_writes import write_new_case
from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import read_drive
from acoustic.tables.knowledge import Knowledge, load_knowledge, parse_knowledge
from acoustic.verdict.belief import Belief

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
LAYOUTS = SAMPLES / "layouts"
LAYOUT = LAYOUTS / "rear_six.toml"
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)

CHECK = """
[[check]]
id = "made up"
title = "Look at it"
how = ["Look at it."]
minutes = {minutes}
engine = "off"
caution = "Engine off."
source = "invented for this test"
results = [{{ id = "bad", words = "bad" }}, {{ id = "good", words = "good" }}]
part_sound = [{sound}, {sound_good}]
other_fault = [{sound}, {sound_good}]
  [[check.fault]]
  mechanisms = ["rough bearing"]
  chances = [{faulty}, {faulty_good}]
"""


def _only_check(sound: float, faulty: float, minutes: float = 4) -> Knowledge:
    """Knowledge whose only hand check says "bad" with these chances."""
    text = CHECK.format(
        minutes=minutes,
        sound=sound,
        sound_good=1 - sound,
        faulty=faulty,
        faulty_good=1 - faulty,
    )
    known = parse_knowledge(text)
    return replace(known, hand_checks={"made up": known.hand_checks["made up"]})


@pytest.fixture(scope="session")
def only_check() -> Callable[..., Knowledge]:
    """Make knowledge whose only check says "bad": (chance if sound, if faulty, minutes)."""
    return _only_check


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """Return the shipped tables."""
    return load_knowledge()


@pytest.fixture(scope="session")
def front_four() -> Drive:
    """Return the drive of the library bus: guide idler and flat idler take 0.4 h each."""
    return read_drive(LAYOUTS / "front_four.toml")


@pytest.fixture
def with_hours(front_four) -> Callable[[dict[str, float | None]], Drive]:
    """Return the drive with other access times."""

    def changed(hours):
        parts = {
            name: replace(part, access_hours=hours.get(name, part.access_hours))
            for name, part in front_four.parts.items()
        }
        return replace(front_four, parts=parts)

    return changed


@pytest.fixture
def two_idlers() -> Belief:
    """One of two idlers has a rough bearing, each as likely as the other."""
    return Belief(
        ("guide idler", "flat idler"),
        (((0,), 0.5), ((1,), 0.5)),
        ({"rough bearing": 1.0}, {"rough bearing": 1.0}),
    )


@pytest.fixture
def on_and_off_the_belt() -> Belief:
    """An idler on the belt, a shield off it, or neither."""
    return Belief(
        ("guide idler", "loose shield or bracket"),
        (((), 0.2), ((0,), 0.5), ((1,), 0.3)),
        ({"rough bearing": 1.0}, {"rattling shield": 1.0}),
    )


@pytest.fixture(scope="session", params=sorted(path.name for path in LAYOUTS.glob("*.toml")))
def sample(request):
    """Drive of each sample layout in turn."""
    return read_drive(LAYOUTS / request.param)


@pytest.fixture(scope="session")
def rear_six():
    """Drive with two pumps on one pulley and gears from the crankshaft."""
    return read_drive(LAYOUTS / "rear_six.toml")


@pytest.fixture(scope="session")
def two_belts():
    """Drive with two belts side by side."""
    return read_drive(LAYOUTS / "two_belt_diesel.toml")


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
