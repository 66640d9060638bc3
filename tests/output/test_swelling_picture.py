"""The picture of the swelling: the right band of the right recording, its lines by their state."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.output.palette import SUSPECT_COLOUR
from acoustic.output.picture_words import swelling_words
from acoustic.output.swelling_picture import draw_swelling, find_swelling_view

HIGH = (3083.0, 4440.0)


def test_the_band_that_says_most_is_shown(striking):
    """Not the tone, though it says more; only what was sought in that band."""
    view = find_swelling_view(striking)
    assert (view.band.low_hz, view.band.high_hz) == HIGH
    assert [line.label for line in view.heard] == ["strikes", "strikes, 2nd"]
    assert len(view.lines) == 3


def test_without_swelling_there_is_no_picture(screening, striking):
    """Tones only, or no envelope kept."""
    assert find_swelling_view(screening) is None
    bare = replace(striking, heard=(replace(striking.heard[0], envelope=None),))
    assert find_swelling_view(bare) is None


def test_heard_lines_are_stems_where_the_grey_rises(striking):
    """A dot each at order and level, a cross for the missing one, the spectrum below."""
    (ax,) = draw_swelling(find_swelling_view(striking)).axes
    dots = [x for x in ax.lines if x.get_marker() == "o"]
    assert [(float(d.get_xdata()[0]), float(d.get_ydata()[0])) for d in dots] == [
        (4.2, 15.0), (8.4, 8.0),
    ]  # fmt: skip
    assert {d.get_color() for d in dots} == {SUSPECT_COLOUR}
    (cross,) = [x for x in ax.lines if x.get_marker() == "x"]
    assert cross.get_xdata()[0] == 12.6
    grey = np.vstack([path.vertices for path in ax.collections[0].get_paths()])
    peak = grey[np.argmax(grey[:, 1])]
    assert peak[0] == pytest.approx(4.2, abs=0.02)
    assert peak[1] == pytest.approx(15.0, abs=3.0)


def test_its_words_say_the_finding(striking):
    """Band, lines with their figures, what is missing."""
    said = swelling_words(find_swelling_view(striking))
    assert "from 3083 to 4440 Hz swells as idler would make it: strikes at order 4.200" in said
    assert "15 dB above the floor" in said
    assert "Missing though they should have been heard: 1." in said
