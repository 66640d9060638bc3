"""Picture 4, "Where is it loudest?": recordings against suspects as dots.

The area of a dot grows with how far the loudest line of the suspect stands above the floor
in that recording. A filled dot speaks for the suspect, an open one against it or for nobody;
a short stroke stands where nothing of it could be seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SUSPECT_COLOUR,
    TEXT_PT,
    WIDTH_IN,
    picture_style,
    say_instead,
)
from acoustic.output.points_text import taken_text
from acoustic.output.wording import shortened
from acoustic.verdict.by_recording import RecordingSays, SuspectByRecording, by_recording
from acoustic.verdict.suspects import Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW_IN = 0.34
_MARGIN_IN = 1.1
_LEFT_SHARE = 0.48
_LABEL_WIDTH = 38
_FOR_NAT = 1.0
_LEAST_DB, _MOST_DB = 0.0, 30.0
_LEAST_AREA, _MOST_AREA = 8.0, 150.0


def draw_points(screening: Screening) -> Figure:
    """Draw all recordings of a screening against its leading suspects."""
    from matplotlib.figure import Figure

    rows = by_recording(screening)
    count = len(rows[0].each) if rows else 1
    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, _MARGIN_IN + _ROW_IN * (count + 1)), facecolor="white")
        height = figure.get_figheight()
        foot, head = 0.42 / height, 0.66 / height
        ax = figure.add_axes((_LEFT_SHARE, foot, 0.86 - _LEFT_SHARE, 1.0 - foot - head))
        figure.text(0.02, 1.0 - 0.22 / height, "Where is it loudest?", weight="bold", size=9.5)
        if not rows:
            say_instead(ax, "No suspect has lines to compare.")
            return figure
        _draw_axes(ax, screening, rows)
        for x, row in enumerate(rows):
            for y, says in enumerate(row.each):
                _draw_dot(ax, (x, y), says, lead=x == 0)
        figure.text(0.02, 0.05 / height, _KEY, size=SMALL_PT, color=INK)
    return figure


_KEY = "filled: speaks for it; open: does not; stroke: cannot be seen. Number: dB above the floor."


def _draw_axes(ax: Axes, screening: Screening, rows: Sequence[SuspectByRecording]) -> None:
    names = []
    for says in rows[0].each:
        heard = screening.heard[says.recording]
        rpm = None if heard.speed is None else heard.speed.mean_rpm
        names.append(shortened(taken_text(heard.taken, rpm), _LABEL_WIDTH))
    ax.set_xlim(-0.5, len(rows) - 0.5)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_yticks(range(len(names)), names, fontsize=SMALL_PT)
    parts = [shortened(row.part, 16) for row in rows]
    ax.xaxis.set_ticks_position("top")
    ax.set_xticks(range(len(parts)), parts, fontsize=TEXT_PT, rotation=20, ha="left")
    ax.tick_params(length=0)
    for side in ("top", "right", "bottom", "left"):
        ax.spines[side].set_visible(False)
    for y in range(1, len(names)):
        ax.axhline(y - 0.5, color=QUIET_COLOUR, linewidth=0.4)


def _draw_dot(ax: Axes, at: tuple[int, int], says: RecordingSays, *, lead: bool) -> None:
    if says.level_db is None:
        ax.plot([at[0] - 0.1, at[0] + 0.1], [at[1], at[1]], color=QUIET_COLOUR, linewidth=1.2)
        return
    share = (min(max(says.level_db, _LEAST_DB), _MOST_DB) - _LEAST_DB) / (_MOST_DB - _LEAST_DB)
    colour = SUSPECT_COLOUR if lead else EXPLAINED_COLOUR
    ax.scatter(
        [at[0]], [at[1]],
        s=_LEAST_AREA + share * (_MOST_AREA - _LEAST_AREA),
        facecolors=colour if says.support_nat >= _FOR_NAT else "white",
        edgecolors=colour,
        linewidths=1.0,
        clip_on=False,
    )  # fmt: skip
    ax.text(at[0] + 0.22, at[1], f"{says.level_db:.0f}", fontsize=SMALL_PT, va="center", color=INK)
