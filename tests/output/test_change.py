"""A hand-made comparison as text, JSON and picture."""

import json

import numpy as np
import pytest

from acoustic.output.change_picture import draw_change
from acoustic.output.change_text import change_to_dict, change_words, render_change
from acoustic.output.json_report import render_json
from acoustic.output.palette import SUSPECT_COLOUR
from acoustic.verdict.change_values import Change, FamilyChange, NewTone, TakeScatter, Target


def family(part, change_db, low_db, high_db, outcome, **other):
    """One family found on both sides, or only where the change is open."""
    before = None if np.isinf(high_db) else -4.0
    after = None if np.isinf(low_db) else -14.0
    values = {
        "mechanism": "outer race", "title": "worn bearing, outer race", "shows_as": "tones",
        "orders": (6.5,), "before_db": before, "after_db": after, "before_limit_db": -20.0,
        "after_limit_db": -21.0, "before_above_floor_db": before and 12.0,
        "after_above_floor_db": after and 2.0, "p_value": 0.01,
    }  # fmt: skip
    return FamilyChange(
        part=part, change_db=change_db, low_db=low_db, high_db=high_db, outcome=outcome,
        **(values | other),
    )  # fmt: skip


@pytest.fixture
def change():
    """The flat idler is 10 dB softer, the fan new, the pump open downwards, one stray tone."""
    return Change(
        verdict="new_sound",
        headline="New sound: something is heard that was not there before.",
        reasons=("flat idler: -10.0 dB (90 % interval -13.0 to -7.0 dB): clearly lower.",),
        next_steps=("Screen the recordings after by themselves.",),
        target=Target("flat idler"),
        against="before",
        families=(
            family("flat idler", -10.0, -13.0, -7.0, "lower", is_target=True),
            family("fan", None, 8.0, np.inf, "new"),
            family("pump", None, -np.inf, -2.0, "unclear"),
        ),
        not_heard=40,
        new_tones=(NewTone(17.3, 230.7, -3.0, -19.0, 0.001),),
        takes=(3, 3),
        scatter=TakeScatter(2.2, 10.0, "usual for a phone held in the hand; not measured"),
        confidence=0.9,
    )


def test_the_text_goes_from_the_answer_to_the_limits(change):
    """Answer first, at most 80 columns, the repaired family marked, a caution at the engine."""
    text = render_change(change)
    lines = text.splitlines()
    assert lines[0] == change.headline
    assert all(len(line) <= 80 for line in lines)
    heads = [text.index(head) for head in ("WHY", "NEXT", "FAMILY BY FAMILY", "LIMITS")]
    assert heads == sorted(heads)
    row = next(line for line in lines if "* flat idler" in line)
    assert "-10.0 (-13.0 to -7.0)" in row
    assert row.endswith("lower")
    assert "keep hands" in text
    assert "order 17.30" in text


def test_an_open_interval_is_said_as_more_or_less_than(change):
    """Found on one side only: above or below the other end."""
    words = {row.part: change_words(row) for row in change.families}
    assert words["fan"] == "above +8.0"
    assert words["pump"] == "below -2.0"


def test_json_holds_no_infinity(change):
    """Open ends are null, and the whole is one JSON object with its name first."""
    report = json.loads(render_json(change_to_dict(change)))
    assert next(iter(report)) == "schema"
    assert report["schema"] == "acoustic-change/1"
    fan = next(row for row in report["families"] if row["part"] == "fan")
    assert (fan["low_db"], fan["high_db"]) == (8.0, None)


def test_the_picture_has_the_target_on_top_of_one_axis(change):
    """Dot and interval per family over a zero line; the repaired one highest and coloured."""
    figure = draw_change(change)
    (ax,) = figure.axes
    assert ax.get_title(loc="left") == "What changed?"
    bottom, top = ax.get_ylim()
    assert bottom > top  # downwards
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    places = [float(dot.get_ydata()[0]) for dot in dots]
    assert places == [0.0, 1.0, 2.0, 3.0]
    assert dots[0].get_color() == SUSPECT_COLOUR
    assert float(dots[0].get_xdata()[0]) == -10.0
    assert any(list(line.get_xdata()) == [0.0, 0.0] for line in ax.lines)
    assert "dB" in ax.get_xlabel()
    words = [text.get_text() for text in ax.texts]
    assert any("flat idler" in text and "lower" in text for text in words)
    assert any("order 17.30" in text for text in words)


def test_a_picture_of_nothing_says_so(change):
    """No family heard: a sentence instead of an empty axis."""
    from dataclasses import replace

    figure = draw_change(replace(change, families=(), new_tones=()))
    assert "No family" in figure.axes[0].texts[0].get_text()
