"""Recordings against suspects, as a table and as a picture."""

from dataclasses import replace

import pytest

from acoustic.output.points_picture import draw_points
from acoustic.output.points_text import point_lines, taken_text
from acoustic.output.text import render_text
from acoustic.recording.taken import IN_FRONT, Taken


@pytest.fixture
def at_two_points(screening):
    """The made answer with its recording taken twice, in front and at the idler."""
    first = screening.heard[0]
    second = replace(first, taken=Taken(point="idler", loads=("electrical load",)))
    suspects = tuple(
        replace(s, lines=(*s.lines, *(replace(x, recording=1) for x in s.lines)))
        for s in screening.suspects
    )
    return replace(screening, heard=(first, second), suspects=suspects)


def test_how_a_recording_was_taken_reads_as_words():
    """Place, speed, loads, stage, take."""
    assert taken_text(IN_FRONT) == "in front"
    taken = Taken("idler", loads=("air conditioning",), stage="after", take=2)
    expected = "at idler, 1500 rpm, air conditioning on, after the repair, take 2"
    assert taken_text(taken, 1500.4) == expected


def test_the_table_names_every_recording_and_suspect(at_two_points):
    """Within 80 columns; the block stands in the whole answer too."""
    lines = point_lines(at_two_points)
    assert max(map(len, lines)) <= 80
    text = "\n".join(lines)
    assert "in front" in text
    assert "at idler" in text
    assert "electrical load on" in text
    assert any(line.split()[:1] == [at_two_points.suspects[0].part] for line in lines)
    assert "WHAT EACH RECORDING SAYS" in render_text(at_two_points)


def test_one_place_needs_no_table(screening):
    """Nothing to compare."""
    assert point_lines(screening) == ()


def test_the_picture_has_a_dot_or_stroke_for_each(at_two_points):
    """As many as recordings times suspects; each recording's name stands over its row."""
    figure = draw_points(at_two_points)
    (ax,) = figure.axes
    suspects = [s for s in at_two_points.suspects[:6] if s.lines]
    strokes, dots = ax.collections
    assert len(strokes.get_segments()) + len(dots.get_offsets()) == 2 * len(suspects)
    texts = [text.get_text() for text in ax.texts]
    assert texts[:2] == ["1: in front, 800 rpm", "2: at idler, 800 rpm, electrical load on"]
    assert texts[2:] == ["14", "14"]  # dB above the floor, as its loudest line
    assert next(t.get_text() for t in ax.get_xticklabels()).startswith(suspects[0].part[:10])
