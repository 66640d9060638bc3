"""Faults as people read them."""

import pytest

from acoustic.drive.faults import Fault, Faults, did_you_mean, place_of, report_of


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("pulley", 1, "diameter_mm"), "[pulley 2] diameter_mm"),
        (("engine", "cylinders"), "[engine] cylinders"),
        (("belt", 0, "path", 2), "[belt 1] path 3"),
        (("component", 2), "[component 3]"),
        (("name",), "name"),
        ((), ""),
    ],
)
def test_place(path, place) -> None:
    """Tables are counted from one, as a person counts them in the file."""
    assert place_of(path) == place


def test_values_at_the_top_of_another_file_are_no_tables() -> None:
    """A file with other keys at its top says which of them are values."""
    assert place_of(("odometer_km",), {"odometer_km"}) == "odometer_km"
    assert place_of(("sounds_like", 0), {"sounds_like"}) == "sounds_like 1"


def test_report_follows_the_file() -> None:
    """Faults stand in the order of their lines; those without one come last."""
    lines = {("pulley", 0): 9, ("engine",): 2}
    faults = [
        Fault(("pulley", 0), "no belt."),
        Fault((), "too short."),
        Fault(("engine",), "= 3: no."),
    ]
    assert report_of(faults, "bus.toml", lines.get).splitlines() == [
        "bus.toml:2: [engine] = 3: no.",
        "bus.toml:9: [pulley 1]: no belt.",
        "bus.toml: too short.",
    ]


def test_one_fault_is_told_once() -> None:
    """Adding the same fault twice keeps one."""
    faults = Faults()
    faults.add(("a",), "b")
    faults.add(("a",), "b")
    assert len(faults.found) == 1


def test_suggestions() -> None:
    """The nearest name, else all of them; further names may be near but are not listed."""
    assert did_you_mean("tensoner", ["idler", "tensioner"]) == "Did you mean 'tensioner'?"
    assert did_you_mean("zzz", ["b", "a"]) == "Known: a, b."
    assert did_you_mean("zzz", []) == "Known: none."
    assert did_you_mean("A/C comp", ["compressor"], ["A/C compressor"]).count("A/C compressor") == 1
