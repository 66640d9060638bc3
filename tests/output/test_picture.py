"""The picture of a screening: what stands on its axes."""

import dataclasses

import numpy as np
import pytest
from matplotlib.collections import LineCollection  # noqa: TID253 -- pictures are what is tested

from acoustic.errors import OutputError
from acoustic.output.picture import draw_screening, write_picture

QUESTIONS = ["What did we hear?", "Which sounds have a home?", "How do the parts compare?"]


def titles(figure):
    """Titles of all axes, left ones."""
    return [ax.get_title(loc="left") for ax in figure.axes if ax.get_title(loc="left")]


def panel(figure, title):
    """Axes with this title."""
    return next(ax for ax in figure.axes if ax.get_title(loc="left") == title)


def words(figure):
    """Every text of a figure, its axes and their ticks."""
    found = [t.get_text() for t in figure.texts]
    for ax in figure.axes:
        found += [t.get_text() for t in ax.texts]
        found += [ax.get_xlabel(), ax.get_ylabel()]
    return [t for t in found if t]


@pytest.fixture
def figure(screening, drive):
    """Draw the hand-made answer."""
    return draw_screening(screening, drive)


def test_each_panel_asks_its_question(figure):
    """Three questions, from the sound down to the parts."""
    assert titles(figure) == QUESTIONS


def test_the_answer_and_the_clip_are_named(figure):
    """The headline on top, then which recording is shown."""
    text = " ".join(" ".join(words(figure)).split())
    assert "Likely source: idler bearing (0.91)." in text
    assert "recording 1 of 1: idle.m4a" in text


def test_axes_carry_their_units(figure):
    """Seconds, hertz, dB and order are named."""
    text = words(figure)
    for label in ("time, s", "frequency, Hz", "dB above floor", "order (turns per crank turn)"):
        assert label in text


def test_a_stem_is_filled_only_where_the_tone_has_a_home(figure):
    """The idler's two tones are filled, the strange one at order 17.3 is open."""
    ax = panel(figure, QUESTIONS[1])
    heads = {
        round(float(line.get_xdata()[0]), 2): line.get_markerfacecolor()
        for line in ax.lines
        if line.get_marker() == "o"
    }
    assert set(heads) == {6.53, 13.06, 17.3}
    assert heads[17.3] == "white"
    assert heads[6.53] == heads[13.06] != "white"


def test_stems_are_as_high_as_their_tones(figure, screening):
    """The head of each stem stands at the tone's level above the floor."""
    ax = panel(figure, QUESTIONS[1])
    heads = {
        float(line.get_xdata()[0]): float(line.get_ydata()[0])
        for line in ax.lines
        if line.get_marker() == "o"
    }
    assert heads == {tone.order: tone.excess_db for tone in screening.heard[0].tones}


def test_each_part_has_a_row_of_ticks_under_its_orders(figure, drive):
    """Row A holds the idler's expected lines; it shares the order axis with the stems."""
    from acoustic.drive.expected import expected_families

    spectrum = panel(figure, QUESTIONS[1])
    rows = next(ax for ax in figure.axes if [t.get_text() for t in ax.get_yticklabels()] == [
        "A", "B", "C"])  # fmt: skip
    assert rows.get_xlim() == spectrum.get_xlim()
    ticks = next(c for c in rows.collections if isinstance(c, LineCollection))
    drawn = {round(float(segment[0, 0]), 6) for segment in ticks.get_segments()}
    idler = [f for f in expected_families(drive) if f.part == "idler"]
    assert drawn <= {round(line.order, 6) for f in idler for line in f.lines}
    assert drawn


def test_inseparable_parts_are_joined_and_probabilities_said(figure):
    """A bracket with words, and number plus word at each bar."""
    text = words(figure)
    assert "cannot tell\napart" in text
    assert "faulty: 0.91 likely" in text
    assert "faulty: 0.62 possible" in text


def test_a_part_and_its_fault_are_told_in_full(screening, drive):
    """A long fault has a line of its own."""
    first, *others = screening.suspects
    fault = "worn bearing, race not certain (its size is not in the layout)"
    answer = dataclasses.replace(
        screening, suspects=(dataclasses.replace(first, mechanism=fault), *others)
    )
    text = words(draw_screening(answer, drive))
    assert {"A  idler", fault} <= set(text)


def test_bars_are_as_long_as_the_probabilities(figure):
    """Outline 0.97 and filling 0.91 for the first part."""
    widths = [round(bar.get_width(), 3) for bar in panel(figure, QUESTIONS[2]).patches]
    assert widths[:2] == [0.97, 0.91]


def test_seconds_left_out_are_hatched(figure):
    """The gap from 12 to 14 s lies hatched in the speed strip."""
    strip = panel(figure, QUESTIONS[0])
    hatched = [p for p in strip.patches if p.get_hatch()]
    assert len(hatched) == 1
    x = hatched[0].get_extents().transformed(strip.transData.inverted())
    assert (x.x0, x.x1) == pytest.approx((12.0, 14.0))


def test_the_recording_that_says_most_is_shown(screening, drive):
    """With the evidence in the second clip, the second clip is drawn and named."""
    idler = screening.suspects[0]
    moved = tuple(dataclasses.replace(line, recording=1) for line in idler.lines)
    second = dataclasses.replace(
        screening.heard[0],
        recording=dataclasses.replace(screening.heard[0].recording, name="held.m4a"),
    )
    answer = dataclasses.replace(
        screening,
        suspects=(dataclasses.replace(idler, lines=moved), *screening.suspects[1:]),
        heard=(*screening.heard, second),
    )
    assert "recording 2 of 2: held.m4a" in words(draw_screening(answer, drive))


def test_an_unfit_clip_is_drawn_with_a_sentence(unfit, drive):
    """No speed and no suspects: the panels say so instead of failing."""
    text = words(draw_screening(unfit, drive))
    assert "engine speed not known" in text
    assert "No order spectrum: the engine speed is not known." in text


@pytest.mark.parametrize(("ending", "start"), [("png", b"\x89PNG"), ("svg", b"<?xml"),
                                               ("pdf", b"%PDF")])  # fmt: skip
def test_a_picture_is_written_in_the_format_of_its_name(figure, tmp_path, ending, start):
    """The file begins as the format demands, and nothing temporary is left."""
    write_picture(figure, tmp_path / f"answer.{ending}")
    assert (tmp_path / f"answer.{ending}").read_bytes().startswith(start)
    assert len(list(tmp_path.iterdir())) == 1


def test_an_unknown_format_is_refused(figure, tmp_path):
    """A .bmp is answered with the endings we know."""
    with pytest.raises(OutputError, match=r"\.png"):
        write_picture(figure, tmp_path / "answer.bmp")


def test_no_text_leaves_the_picture(figure):
    """Every visible text lies within the figure, so nothing is clipped."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    page = figure.bbox
    for text in figure.findobj(match=lambda a: hasattr(a, "get_fontsize")):
        if text.get_visible() and text.get_text().strip() and text.axes is not None:
            box = text.get_window_extent(renderer)
            in_view = np.isfinite([box.x0, box.x1, box.y0, box.y1]).all()
            if in_view and text in (*text.axes.texts, text.axes.title):
                assert box.x0 >= page.x0 - 1, text.get_text()
                assert box.x1 <= page.x1 + 1, text.get_text()
