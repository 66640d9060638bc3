"""Where a probe may rest: on fixed things only, never on or near what turns.

The rule itself is a caution of the trade (common practice, no source): a probe that slips
off a bolt beside a pulley goes into the belt.
"""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(
    [
        *(ROOT / "acoustic" / "tables").glob("*.toml"),
        *(ROOT / "samples" / "layouts").glob("*.toml"),
        ROOT / "acoustic" / "cli" / "demo_layout.toml",
    ]
)
TURNS = re.compile(r"\b(pulley|belt|fan|blades?|hub|damper|coupling|centre bolt|shaft bolt)s?\b")
FIXED = re.compile(r"\b(housing|body|cover|bracket|block|base|flange|crankcase)\b")


def places(rows):
    """Every probe_at anywhere in a file."""
    if isinstance(rows, list):
        for row in rows:
            yield from places(row)
    elif isinstance(rows, dict):
        for key, value in rows.items():
            if key == "probe_at":
                yield value
            else:
                yield from places(value)


def is_safe(place):
    """Tell whether a place names something fixed, and nothing that turns or moves."""
    moving = re.search(r"\barm\b", place.replace("never the arm", ""))
    return bool(FIXED.search(place)) and not TURNS.search(place) and moving is None


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_probe_rests_on_or_near_what_turns(path):
    """No pulley, belt, fan or bolt that turns is named, not even to be beside it."""
    named = list(places(tomllib.loads(path.read_text("utf-8"))))
    assert [place for place in named if not is_safe(place)] == []


def test_the_tables_and_layouts_do_name_places():
    """The files looked through hold places at all."""
    found = [p for path in FILES for p in places(tomllib.loads(path.read_text("utf-8")))]
    assert len(found) > 20


@pytest.mark.parametrize(
    "place",
    [
        "centre bolt of the idler, from the side",
        "fixed bolt of the housing beside the pulley",
        "front cover bolt, away from belt and fan",
        "tensioner arm on its body",
        "spindle nut",
    ],
)
def test_an_unsafe_place_would_be_seen(place):
    """Beside, on, or not said to be fixed."""
    assert not is_safe(place)
