"""The record over closed cases as plain text."""

from dataclasses import replace

import pytest

from acoustic.casework.track_record import LEAST_FOR_TEMPERATURE, ClosedCase, track_record
from acoustic.output.track_record_text import render_track_record
from acoustic.verdict.belief import Belief

KINDS = ("idler", "alternator")
WHY = (
    "/cases/bus 2/screenings/0001.json: this answer is damaged or missing. Screen the case again.",
    "/cases/bus 3: no screening of it told anything.",
)


def _case(stated, found):
    sets = (((0,), stated), ((1,), 1.0 - stated))
    return ClosedCase("made", Belief(KINDS, sets, ({}, {})), found, KINDS)


def _too_sure(count=100):
    """0.95 stated, 0.7 true."""
    right = round(0.7 * count)
    closed = [_case(0.95, ("idler",))] * right + [_case(0.95, ("alternator",))] * (count - right)
    return track_record(closed)


def test_no_case_says_how_to_get_one():
    """With why others do not count, where there are any."""
    text = render_track_record(track_record([]))
    assert text == "No closed case to count yet. Close one with: acoustic case close FOLDER\n"
    text = render_track_record(track_record([]), WHY)
    assert "LEFT OUT" in text
    assert "bus 3: no screening" in text


def test_one_case_is_counted_and_corrects_nothing():
    """In the singular; bands with their figures; too few to refit."""
    text = render_track_record(track_record([_case(0.9, ("idler",))]), WHY)
    assert "CLOSED CASES: 1 counted, 2 left out" in text
    assert "First suspect right in 1 of 1 case.\n" in text
    assert "No part of the layout" not in text
    assert "0.80 to 0.95        1   0.90   1.00 (0.27 to 1.00)" in text
    assert f"Too few cases to correct anything: 1 of {LEAST_FOR_TEMPERATURE}." in text
    assert "Temperature" not in text


def test_cases_in_which_nothing_was_found_are_told():
    """One of two."""
    text = render_track_record(track_record([_case(0.9, ()), _case(0.9, ("idler",))]))
    assert "First suspect right in 1 of 2 cases." in text
    assert "No part of the layout to blame in 1." in text
    assert "LEFT OUT" not in text


def test_answers_too_sure_are_called_so_with_the_count():
    """T = ln 19 / ln (7/3) = 3.48; kinds with how often they were found."""
    text = " ".join(render_track_record(_too_sure()).split())
    assert "100 cases): answers are too sure." in text
    assert "idler: found 70 times" in text
    assert text.index("alternator: found 30 times") < text.index("idler: found 70 times")
    assert "--own-record ROOT" in text
    assert "Too few" not in text


@pytest.mark.parametrize(
    ("temperature", "said"),
    [
        ((0.6, 0.5, 0.8), "not sure enough"),
        ((1.2, 0.9, 1.6), "about as sure as right"),
        ((1.9, 1.4, 2.6), "answers are too sure"),
    ],
)
def test_a_verdict_needs_its_whole_interval_on_one_side(temperature, said):
    """An interval that holds 1 is no finding."""
    text = render_track_record(replace(_too_sure(), temperature=temperature))
    assert said in " ".join(text.split())


@pytest.mark.parametrize("width", [40, 80, 120])
def test_sentences_keep_their_width(width):
    """All but the table, which needs 52 columns; none ends in blanks."""
    for record in (track_record([]), _too_sure(), _too_sure(10)):
        text = render_track_record(record, WHY, width)
        assert text.endswith("\n") and not text.endswith("\n\n")
        for line in text.splitlines():
            assert line == line.rstrip()
            assert len(line) <= max(width, 52) or "/" in line
