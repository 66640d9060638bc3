"""Suspects over recordings: for and against, and where it is loudest."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from acoustic.recording.taken import Taken
from acoustic.verdict.by_recording import by_recording
from acoustic.verdict.suspects import LineEvidence


def a_line(recording, excess_db, support, state="heard", label="inner race"):
    """One line of a suspect in one recording."""
    return LineEvidence(
        recording, label, 8.0, 8.0 if state == "heard" else None, 106.0, excess_db, state, support
    )


def a_screening(lines, points):
    """Just enough of a screening: one suspect, recordings at the points named."""
    heard = [SimpleNamespace(spectrum=object(), taken=Taken(point=point)) for point in points]
    suspect = SimpleNamespace(part="idler", mechanism="worn bearing", lines=tuple(lines))
    return SimpleNamespace(heard=tuple(heard), suspects=(suspect,))


def test_support_and_states_are_added_up_by_recording():
    """Two lines in the first, one missing in the second, one hidden in the third."""
    lines = [
        a_line(0, 12.0, 3.0),
        a_line(0, 6.0, 1.5, label="2nd harmonic"),
        a_line(1, 1.0, -0.7, "missing"),
        a_line(2, None, 0.0, "hidden"),
    ]
    (row,) = by_recording(a_screening(lines, ["", "", ""]))
    assert [says.support_nat for says in row.each] == pytest.approx([4.5, -0.7, 0.0])
    assert [(s.heard, s.missing, s.hidden) for s in row.each] == [(2, 0, 0), (0, 1, 0), (0, 0, 1)]
    assert [says.level_db for says in row.each] == [12.0, 1.0, None]
    assert row.loudest_at == ""


def test_the_loudest_point_leads_clearly_or_is_not_named():
    """10 dB higher at the idler: named. 2 dB: not."""
    lines = [a_line(0, 6.0, 1.0), a_line(1, 16.0, 3.0), a_line(2, 5.0, 1.0)]
    (row,) = by_recording(a_screening(lines, ["", "idler", "pump"]))
    assert row.loudest_at == "idler"
    assert row.leads_db == pytest.approx(10.0)
    close = [lines[0], replace(lines[1], excess_db=8.0), lines[2]]
    (row,) = by_recording(a_screening(close, ["", "idler", "pump"]))
    assert row.loudest_at == ""


def test_a_line_seen_at_one_point_only_decides_nothing():
    """A loud line that is hidden elsewhere is no comparison."""
    lines = [
        a_line(0, 6.0, 1.0),
        a_line(1, 6.5, 1.0),
        a_line(1, 30.0, 5.0, label="2nd harmonic"),
        a_line(0, None, 0.0, "hidden", label="2nd harmonic"),
    ]
    (row,) = by_recording(a_screening(lines, ["", "idler"]))
    assert row.loudest_at == ""
