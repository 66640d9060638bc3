"""From keys to lines of a TOML text."""

import pytest

from acoustic.drive.line_numbers import find_line_numbers

TEXT = """\
name = "x"
[engine]
cylinders = 4
[[shaft]]
name = "a"
driven_by = { kind = "gears", teeth = [
  48,
  32 ] }
[[shaft]]
name = "b"
[shaft.driven_by]
kind = "coupling"   # a table of the second shaft
[[shaft.bearings]]
designation = "6203"
[[shaft.bearings]]
place = "rear"
[[component]]
"quoted key" = 1
bearings = [
  { place = "front" },
]  # a comment beside the end
pulley.diameter_mm = 50
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ((), 1),
        (("name",), 1),
        (("engine",), 2),
        (("engine", "cylinders"), 3),
        (("engine", "strokes"), 2),  # not written: the table it would stand in
        (("shaft",), 4),
        (("shaft", 0), 4),
        (("shaft", 0, "driven_by", "kind"), 6),
        (("shaft", 0, "driven_by", "teeth", 0), 7),
        (("shaft", 0, "driven_by", "teeth", 1), 8),
        (("shaft", 1), 9),
        (("shaft", 1, "driven_by", "kind"), 12),
        (("shaft", 1, "bearings", 0, "designation"), 14),
        (("shaft", 1, "bearings", 1, "place"), 16),
        (("component", 0, "quoted key"), 18),
        (("component", 0, "bearings", 0, "place"), 20),
        (("component", 0, "pulley", "diameter_mm"), 22),
        (("nowhere", 3), 1),
    ],
)
def test_line_of(path, line) -> None:
    """Each key, entry and table is found, else the nearest table around it."""
    assert find_line_numbers(TEXT).line_of(path) == line
