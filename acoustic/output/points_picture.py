"""Picture 4, "Where is it loudest?": recordings against suspects as dots.

The area of a dot grows with how far the loudest line of the suspect stands above the floor
in that recording. A filled dot speaks for the suspect, an open one against it or for nobody;
a short stroke stands where nothing of it could be seen.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SUSPECT_COLOUR,
    TITLE_PT,
    WIDTH_IN,
    picture_style,
    say_instead,
)
from acoustic.output.points_text import taken_text
from acoustic.output.wording import shortened
from acoustic.verdict.by_recording import SuspectByRecording, by_recording
from acoustic.verdict.suspects import Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW_IN = 0.46
_HEAD_IN, _FOOT_IN = 0.78, 0.30
_SIDE_IN = 0.10
_NAME_WIDTH, _NAME_LINES = 12, 2
_LABEL_WIDTH = 60
_LABEL_UP = 0.36
"""Rows: a label stands so far above the middle of its dots."""
_FOR_NAT = 1.0
_LEAST_DB, _MOST_DB = 0.0, 30.0
_LEAST_AREA, _MOST_AREA = 8.0, 130.0


def draw_points(screening: Screening) -> Figure:
    """Draw all recordings of a screening against its leading suspects."""
    from matplotlib.figure import Figure

    rows = by_recording(screening)
    count = len(rows[0].each) if rows else 1
    height = _HEAD_IN + _ROW_IN * count + _FOOT_IN
    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, height), facecolor="white")
        left = _SIDE_IN / WIDTH_IN
        ax = figure.add_axes((left, _FOOT_IN / height, 1.0 - 2.0 * left, _ROW_IN * count / height))
        figure.text(
            0.02, 1.0 - 0.08 / height, "Where is it loudest?", va="top", weight="bold",
            size=TITLE_PT,
        )  # fmt: skip
        if not rows:
            say_instead(ax, "No suspect has lines to compare.")
            return figure
        _draw_axes(ax, screening, rows)
        _draw_dots(ax, rows)
        figure.text(0.02, 0.06 / height, _KEY, size=SMALL_PT, color=INK)
    return figure


_KEY = "filled: speaks for it; open: does not; stroke: cannot be seen. Number: dB above the floor."


def _draw_axes(ax: Axes, screening: Screening, rows: Sequence[SuspectByRecording]) -> None:
    """Parts across, recordings down; a recording's name stands over its dots."""
    count = len(rows[0].each)
    ax.set_xlim(-0.5, len(rows) - 0.5)
    ax.set_ylim(count - 0.35, -0.65)
    ax.set_yticks([])
    ax.xaxis.set_ticks_position("top")
    ax.set_xticks(range(len(rows)), [_in_lines(row.part) for row in rows], fontsize=SMALL_PT)
    ax.tick_params(length=0)
    for side in ("top", "right", "bottom", "left"):
        ax.spines[side].set_visible(False)
    for y, says in enumerate(rows[0].each):
        heard = screening.heard[says.recording]
        rpm = None if heard.speed is None else heard.speed.mean_rpm
        name = shortened(f"{says.recording + 1}: {taken_text(heard.taken, rpm)}", _LABEL_WIDTH)
        ax.axhline(y - 0.65, color=QUIET_COLOUR, linewidth=0.4)
        ax.text(-0.5, y - _LABEL_UP, name, fontsize=SMALL_PT, va="center", color=INK)


def _in_lines(part: str) -> str:
    lines = textwrap.wrap(part, _NAME_WIDTH, max_lines=_NAME_LINES, placeholder="…")
    return "\n".join(lines)


def _draw_dots(ax: Axes, rows: Sequence[SuspectByRecording]) -> None:
    """All dots at once, which is much quicker than one by one; strokes where nothing is seen."""
    cells = [(x, y, says) for x, row in enumerate(rows) for y, says in enumerate(row.each)]
    hidden = [(x, y) for x, y, says in cells if says.level_db is None]
    ax.hlines(
        [y for _, y in hidden], [x - 0.06 for x, _ in hidden], [x + 0.06 for x, _ in hidden],
        color=QUIET_COLOUR, linewidth=1.2,
    )  # fmt: skip
    seen = [(x, y, says, says.level_db) for x, y, says in cells if says.level_db is not None]
    colours = [EXPLAINED_COLOUR if x else SUSPECT_COLOUR for x, *_ in seen]
    ax.scatter(
        [x for x, *_ in seen], [y for _, y, *_ in seen],
        s=[_area(level_db) for *_, level_db in seen],
        facecolors=[
            colour if says.support_nat >= _FOR_NAT else "white"
            for (_, _, says, _), colour in zip(seen, colours, strict=True)
        ],
        edgecolors=colours, linewidths=1.0, clip_on=False,
    )  # fmt: skip
    for x, y, _, level_db in seen:
        ax.text(x + 0.16, y, f"{level_db:.0f}", fontsize=SMALL_PT, va="center", color=INK)


def _area(level_db: float) -> float:
    """Area of a dot. [pt²]"""
    share = (min(max(level_db, _LEAST_DB), _MOST_DB) - _LEAST_DB) / (_MOST_DB - _LEAST_DB)
    return _LEAST_AREA + share * (_MOST_AREA - _LEAST_AREA)
