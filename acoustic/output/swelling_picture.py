"""The picture "How often does it swell?": the band in which the leading suspect swells most.

A worn bearing often makes no tone: a band of the noise grows and falls with each strike.
Grey is how strongly that band swells at each order; a stem is a line of the suspect that was
heard, a cross one that should have been, a tick one that cannot be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from acoustic.evidence.findings import EnvelopeBand
from acoustic.output.palette import (
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SUSPECT_COLOUR,
    TITLE_PT,
    WIDTH_IN,
    draw_bare,
    picture_style,
)
from acoustic.output.part_panels import set_order_axis
from acoustic.output.wording import order_text, shortened
from acoustic.verdict.suspects import LineEvidence, Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HEIGHT_IN = 2.5
_SAME_BAND_HZ = 1.0
_LEAST_TOP_DB = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class SwellingView:
    """The band and recording that say most of the leading suspect's swelling.

    `lines` are all its swelling lines that were sought in that band; `recording` counts
    from 0.
    """

    part: str
    recording: int
    band: EnvelopeBand
    lines: tuple[LineEvidence, ...]

    @property
    def heard(self) -> tuple[LineEvidence, ...]:
        """Lines that were heard, lowest order first."""
        there = (line for line in self.lines if line.state == "heard")
        return tuple(sorted(there, key=lambda line: line.order))


def find_swelling_view(screening: Screening) -> SwellingView | None:
    """Find the view of the leading suspect; None where none of its swelling was heard."""
    for suspect in screening.suspects[:1]:
        heard = [x for x in suspect.lines if x.swings_hz is not None and x.state == "heard"]
        for best in sorted(heard, key=lambda line: -line.support):
            band = _band_of(screening, best)
            if band is not None:
                same = [x for x in suspect.lines if _together(x, best)]
                return SwellingView(suspect.part, best.recording, band, tuple(same))
    return None


def draw_swelling(view: SwellingView) -> Figure:
    """Draw how strongly the band swells, over the orders of the swing."""
    from matplotlib.figure import Figure

    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, _HEIGHT_IN), facecolor="white")
        figure.text(
            0.02, 1 - 0.08 / _HEIGHT_IN, "How often does it swell?", va="top",
            fontsize=TITLE_PT, fontweight="bold",
        )  # fmt: skip
        band = f"{view.band.low_hz:.0f} to {view.band.high_hz:.0f} Hz"
        said = f"recording {view.recording + 1}, sound from {band}; {shortened(view.part, 24)}"
        figure.text(0.02, 1 - 0.28 / _HEIGHT_IN, said, va="top", fontsize=SMALL_PT)
        ax = figure.add_axes((0.137, 0.68 / _HEIGHT_IN, 0.84, 1 - 1.2 / _HEIGHT_IN))
        _draw_band(ax, view)
        figure.text(
            0.02, 0.06 / _HEIGHT_IN,
            "stem: heard; cross: should have been heard; tick: cannot be seen",
            fontsize=SMALL_PT, color=INK,
        )  # fmt: skip
    return figure


def _draw_band(ax: Axes, view: SwellingView) -> None:
    for band in view.band.bands:
        above_db = np.maximum(band.level_db - band.floor_db, 0.0)
        ax.fill_between(band.orders, 0.0, above_db, color=QUIET_COLOUR, linewidth=0)
    levels = [line.excess_db for line in view.lines if line.excess_db is not None]
    top = max([_LEAST_TOP_DB, *levels])
    orders = [line.order for line in view.lines]
    set_order_axis(ax, 0.5 * min(orders), 1.5 * max(orders))
    ax.set_ylim(0.0, 1.25 * top)
    draw_bare(ax)
    ax.set_xlabel("order (swells per crank turn)", labelpad=1)
    ax.set_ylabel("dB above floor")
    for line in view.lines:
        _draw_line(ax, line)


def _draw_line(ax: Axes, line: LineEvidence) -> None:
    order = line.order if line.heard_order is None else line.heard_order
    if line.state == "heard" and line.excess_db is not None:
        ax.plot([order, order], [0.0, line.excess_db], color=SUSPECT_COLOUR, linewidth=1.2)
        ax.plot([order], [line.excess_db], "o", color=SUSPECT_COLOUR, markersize=4.5)
        ax.annotate(
            order_text(order), (order, line.excess_db), xytext=(0, 4), ha="center",
            textcoords="offset points", fontsize=SMALL_PT,
        )  # fmt: skip
    elif line.state == "missing":
        ax.plot([order], [max(line.excess_db or 0.0, 0.6)], "x", color=SUSPECT_COLOUR, markersize=5)
    else:
        ax.plot([order, order], [0.0, 0.6], color=SUSPECT_COLOUR, linewidth=1.2)


def _together(line: LineEvidence, best: LineEvidence) -> bool:
    """Whether a line was sought in the same band of the same recording."""
    if line.swings_hz is None or best.swings_hz is None or line.recording != best.recording:
        return False
    return bool(np.allclose(line.swings_hz, best.swings_hz, rtol=0.0, atol=_SAME_BAND_HZ))


def _band_of(screening: Screening, line: LineEvidence) -> EnvelopeBand | None:
    envelope = screening.heard[line.recording].envelope
    if envelope is None or line.swings_hz is None:
        return None
    for band in envelope.carriers:
        ends = (band.low_hz, band.high_hz)
        if np.allclose(ends, line.swings_hz, rtol=0.0, atol=_SAME_BAND_HZ):
            return band
    return None
