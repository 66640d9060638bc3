"""The picture "What changed?": a dot and an interval per family, the repaired one on top."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from acoustic.output.change_text import OUTCOME_WORDS
from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SUSPECT_COLOUR,
    TITLE_PT,
    UNEXPLAINED_COLOUR,
    WIDTH_IN,
    draw_bare,
    picture_style,
    say_instead,
)
from acoustic.output.wording import shortened
from acoustic.verdict.change_values import Change, FamilyChange

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHOWN_ROWS = 12
ROW_IN = 0.40
LEAST_RANGE_DB = 12.0
SIDE_IN, FOOT_IN = 0.20, 0.62


def draw_change(change: Change, margin_db: float = 3.0) -> Figure:
    """Draw a comparison: one dB axis, zero line, the margin within which nothing changed.

    A filled dot was found on both sides; an open one with an arrow on one only, so that the
    change is at least so large. New tones without a part stand below.
    """
    from matplotlib.figure import Figure

    headline = textwrap.wrap(change.headline, 58)
    rows = change.families[:SHOWN_ROWS]
    tones = change.new_tones[: max(0, SHOWN_ROWS - len(rows))]
    count = max(1, len(rows) + len(tones))
    head_in = 0.42 + 0.17 * len(headline)
    height = head_in + ROW_IN * count + FOOT_IN
    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, height), facecolor="white")
        figure.text(
            0.02, 1 - 0.08 / height, "\n".join(headline), va="top", fontsize=TITLE_PT - 0.5,
            fontweight="bold", linespacing=1.15,
        )  # fmt: skip
        box = (
            SIDE_IN / WIDTH_IN, FOOT_IN / height,
            1 - 2 * SIDE_IN / WIDTH_IN, ROW_IN * count / height,
        )  # fmt: skip
        ax = figure.add_axes(box)
        ax.set_title(
            "How far from normal?" if change.against == "healthy" else "What changed?", pad=6
        )
        if not rows and not tones:
            say_instead(ax, "No family of lines was heard on either side.")
            return figure
        reach = _reach_db(change)
        _draw_axis(ax, change, reach, margin_db, count)
        for place, row in enumerate(rows):
            _draw_row(ax, place, row, reach)
        for place, tone in enumerate(tones, start=len(rows)):
            words = f"no part: tone at order {tone.order:.2f}, {tone.frequency_hz:.0f} Hz: new"
            least = tone.after_db - tone.below_before_db
            _draw_open(ax, place, min(least, 0.9 * reach), reach, UNEXPLAINED_COLOUR)
            _label(ax, place, words, UNEXPLAINED_COLOUR, bold=False)
    return figure


def _reach_db(change: Change) -> float:
    ends = [
        abs(end) for row in change.families for end in (row.low_db, row.high_db) if np.isfinite(end)
    ]
    return 1.15 * max([LEAST_RANGE_DB, *ends])


def _draw_axis(ax: Axes, change: Change, reach: float, margin_db: float, count: int) -> None:
    draw_bare(ax)
    ax.spines["left"].set_visible(False)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(count - 0.35, -0.75)
    ax.set_yticks([])
    ax.axvspan(-margin_db, margin_db, facecolor="#EFEFEF", edgecolor="none", zorder=0)
    ax.axvline(0.0, color=INK, linewidth=0.8, zorder=1)
    step = 5 if reach < 25 else 10
    ticks = np.arange(-int(reach // step) * step, reach, step)
    ax.set_xticks(ticks, [f"{tick:+.0f}" if tick else "0" for tick in ticks])
    what = "now against normal" if change.against == "healthy" else "after against before"
    percent = f"{100 * change.confidence:.0f} %"
    ax.set_xlabel(
        f"{what}, dB (left: softer); line: {percent} interval;\n"
        f"grey: within ±{margin_db:.0f} dB nothing that matters",
        fontsize=SMALL_PT,
    )


def _draw_row(ax: Axes, place: int, row: FamilyChange, reach: float) -> None:
    colour = SUSPECT_COLOUR if row.is_target else EXPLAINED_COLOUR
    swing = ", swing" if row.shows_as == "swing" else ""
    name = shortened(f"{row.part}, {row.title}{swing}", 46)
    _label(ax, place, f"{name}: {OUTCOME_WORDS[row.outcome]}", colour, bold=row.is_target)
    if row.change_db is not None:
        width = 2.0 if row.is_target else 1.2
        ax.hlines(place, row.low_db, row.high_db, color=colour, linewidth=width, zorder=2)
        ax.plot([row.change_db], [place], "o", color=colour, markersize=5, zorder=3)
    elif row.before_db is not None:
        _draw_open(ax, place, row.high_db, -reach, colour)
    else:
        _draw_open(ax, place, row.low_db, reach, colour)


def _draw_open(ax: Axes, place: int, start_db: float, end_db: float, colour: str) -> None:
    """An open dot where the change begins, and an arrow to where it may end."""
    ax.annotate(
        "", (0.99 * end_db, place), (start_db, place),
        arrowprops={"arrowstyle": "->", "color": colour, "linewidth": 1.2, "shrinkA": 0},
    )  # fmt: skip
    ax.plot(
        [start_db], [place], "o", markersize=5, markerfacecolor="white",
        markeredgecolor=colour, zorder=3,
    )  # fmt: skip


def _label(ax: Axes, place: int, words: str, colour: str, *, bold: bool) -> None:
    ax.annotate(
        words, (0.0, place), xycoords=("axes fraction", "data"), xytext=(0, 6),
        textcoords="offset points", fontsize=SMALL_PT, color=colour,
        fontweight="bold" if bold else "normal", va="bottom",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
    )  # fmt: skip
    ax.axhline(place + 0.42, color=QUIET_COLOUR, linewidth=0.3, zorder=0)
