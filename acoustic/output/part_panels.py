"""Panels of pictures 2 and 3: "Which sounds have a home?" and "How do the parts compare?"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from acoustic.evidence.findings import OrderSpectrum, Tone
from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    SUSPECT_COLOUR,
    TEXT_PT,
    UNEXPLAINED_COLOUR,
    draw_bare,
)
from acoustic.output.part_letters import MarkedPart, explaining_part
from acoustic.output.wording import (
    order_text,
    probability_text,
    shortened,
)
from acoustic.verdict.suspects import Heard, Screening
from acoustic.verdict.wording import LIKELY, POSSIBLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ORDER_TICKS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 400)
NAMED_TONES = 6
NAME_CHARACTERS = 35
PHRASE_CHARACTERS = 77
WORD_LIMITS = (POSSIBLE, LIKELY)
BAR_ROW_IN, BAR_MIDDLE_IN, BAR_HEIGHT_IN, PHRASE_IN = 0.46, 0.30, 0.13, 0.13


def draw_order_spectrum(
    ax: Axes, heard: Heard, recording: int, screening: Screening, marked: tuple[MarkedPart, ...]
) -> None:
    """Level above the floor over orders; each found tone a stem, filled when explained."""
    spectrum = heard.spectrum
    if spectrum is None:
        raise ValueError("draw_order_spectrum needs a recording with an order spectrum")
    low, high = visible_orders(spectrum)
    for band in spectrum.bands:
        inside = (band.orders >= low) & (band.orders <= high)
        above_db = np.maximum(band.level_db - band.floor_db, 0.0)[inside]
        ax.fill_between(band.orders[inside], 0.0, above_db, color=QUIET_COLOUR, linewidth=0)
    for tone in heard.tones:
        _draw_stem(ax, tone, explaining_part(tone, recording, screening, marked), marked)
    highest = max([12.0, *(tone.excess_db for tone in heard.tones)])
    ax.set_ylim(0.0, 1.25 * highest)
    set_order_axis(ax, low, high)
    _name_tones(ax, heard.tones)
    draw_bare(ax)
    ax.tick_params(labelbottom=False)
    ax.locator_params(axis="y", integer=True, nbins=5)
    ax.set_ylabel("dB above floor")
    ax.text(
        1.0, 0.97, "grey: all sound; filled: has a home; open: has none", ha="right", va="top",
        fontsize=SMALL_PT, transform=ax.transAxes,
    )  # fmt: skip
    _draw_frequency_axis(ax, heard)


def visible_orders(spectrum: OrderSpectrum) -> tuple[float, float]:
    """Range of orders in which something could be seen."""
    speed_hz = spectrum.mean_speed_hz
    lowest = max(spectrum.lowest_hz / speed_hz, float(spectrum.bands[0].orders[0]), 0.4)
    highest = min(spectrum.highest_hz / speed_hz, float(spectrum.bands[-1].orders[-1]))
    return lowest, max(highest, 2.0 * lowest)


def set_order_axis(ax: Axes, low: float, high: float) -> None:
    """Logarithmic order axis with round ticks."""
    ax.set_xscale("log")
    ax.set_xlim(low, high)
    ticks = [o for o in ORDER_TICKS if low <= o <= high]
    ax.set_xticks(ticks, [f"{o:g}" for o in ticks])
    ax.minorticks_off()


def draw_part_rows(ax: Axes, marked: tuple[MarkedPart, ...], limits: tuple[float, float]) -> None:
    """One row per part with ticks where its lines must be, heard ones bold."""
    set_order_axis(ax, *limits)
    ax.set_ylim(len(marked) - 0.4, -0.6)
    ax.set_yticks(range(len(marked)), [part.letter for part in marked])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("order (turns per crank turn)", labelpad=1)
    ax.annotate(
        "tick: expected here; bold: heard; cross: should have been heard", (1.0, 0.0),
        xytext=(0, -30), xycoords="axes fraction", textcoords="offset points", ha="right",
        va="top", fontsize=SMALL_PT,
    )  # fmt: skip
    draw_bare(ax)
    for row, part in enumerate(marked):
        colour = SUSPECT_COLOUR if row == 0 else EXPLAINED_COLOUR
        ax.axhline(row, color=QUIET_COLOUR, linewidth=0.4)
        ax.vlines(part.orders, row - 0.22, row + 0.22, color=colour, linewidth=0.7)
        for line in part.lines:
            if line.state == "heard":
                place = line.heard_order or line.order
                ax.plot([place, place], [row - 0.36, row + 0.36], color=colour, linewidth=2.2)
            elif line.state == "missing":
                ax.plot(line.order, row, marker="x", color=colour, markersize=4, linewidth=0)


def bars_height_in(marked: tuple[MarkedPart, ...]) -> float:
    """Height the bars need, phrases included. [in]"""
    return _row_tops_in(marked)[-1]


def draw_probability_bars(ax: Axes, marked: tuple[MarkedPart, ...]) -> None:
    """Outline: makes the sound; filled: faulty; the fault, first phrase for and against.

    The vertical scale is in inches from the top, so that rows are as high as their text.
    """
    tops = _row_tops_in(marked)
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(tops[-1], 0.0)
    ax.set_yticks([])
    ax.set_xticks([0, *WORD_LIMITS, 1.0], ["0", *(f"{p:g}" for p in WORD_LIMITS), "1"])
    ax.set_xlabel("probability (outline: makes the sound; filled: faulty)", labelpad=1)
    draw_bare(ax)
    ax.spines["left"].set_visible(False)
    for rank, (top, part) in enumerate(zip(tops, marked, strict=False)):
        _draw_bar(ax, top, part, SUSPECT_COLOUR if rank == 0 else EXPLAINED_COLOUR)
    _draw_brackets(ax, marked, tops)


def _phrases(part: MarkedPart) -> list[str]:
    """The likeliest fault, the strongest phrase for and against, one line each."""
    suspect = part.suspect
    phrases = [suspect.mechanism]
    phrases += [f"+ {suspect.evidence[0]}"] if suspect.evidence else []
    phrases += [f"− {suspect.against[0]}"] if suspect.against else []
    return [shortened(phrase, PHRASE_CHARACTERS) for phrase in phrases]


def _row_tops_in(marked: tuple[MarkedPart, ...]) -> list[float]:
    """Upper edge of each row from the top down, and the lower edge of the last. [in]"""
    tops = [0.0]
    for part in marked:
        tops.append(tops[-1] + BAR_ROW_IN + PHRASE_IN * len(_phrases(part)))
    return tops


def _draw_bar(ax: Axes, top: float, part: MarkedPart, colour: str) -> None:
    suspect = part.suspect
    middle, half = top + BAR_MIDDLE_IN, 0.5 * BAR_HEIGHT_IN
    source, faulty = suspect.source_probability, suspect.probability
    ax.barh(middle, source, BAR_HEIGHT_IN, facecolor="white", edgecolor=colour)
    ax.barh(middle, faulty, BAR_HEIGHT_IN, color=colour, linewidth=0)
    ax.vlines(
        WORD_LIMITS, middle - half, middle + half, color=QUIET_COLOUR, linewidth=0.6, zorder=0
    )
    line = middle - half - 0.03
    name = shortened(part.name, NAME_CHARACTERS)
    ax.text(0.0, line, name, va="bottom", fontsize=TEXT_PT, fontweight="bold")
    ax.text(
        1.0, line, f"faulty: {probability_text(faulty)}", va="bottom", ha="right", fontsize=TEXT_PT
    )
    for number, phrase in enumerate(_phrases(part)):
        y = middle + half + 0.02 + PHRASE_IN * number
        ax.text(0.0, y, phrase, va="top", fontsize=SMALL_PT - 0.5)


def _draw_brackets(ax: Axes, marked: tuple[MarkedPart, ...], tops: list[float]) -> None:
    """Join the rows of parts that this sound cannot tell apart."""
    rows = {part.suspect.part: row for row, part in enumerate(marked)}
    groups: set[tuple[int, ...]] = set()
    for part in marked:
        members = (part.suspect.part, *part.suspect.not_separable_from)
        groups.add(tuple(sorted(rows[name] for name in members if name in rows)))
    for depth, group in enumerate(sorted(g for g in groups if len(g) > 1)):
        x = -0.02 - 0.025 * depth
        ends = [tops[row] + BAR_MIDDLE_IN for row in group]
        place: dict[str, Any] = {
            "transform": ax.get_yaxis_transform(),
            "clip_on": False,
            "color": INK,
            "linewidth": 1.0,
        }
        ax.plot([x, x], [ends[0], ends[-1]], **place)
        for end in ends:
            ax.plot([x, x + 0.015], [end, end], **place)
        ax.text(
            x - 0.012, 0.5 * (ends[0] + ends[-1]), "cannot tell\napart", rotation=90, ha="right",
            va="center", fontsize=SMALL_PT - 0.5, transform=ax.get_yaxis_transform(),
        )  # fmt: skip


def _draw_stem(ax: Axes, tone: Tone, home: str | None, marked: tuple[MarkedPart, ...]) -> None:
    """Draw a stem with a round head, filled when the tone has a home, open when not."""
    if home is None:
        colour, face = UNEXPLAINED_COLOUR, "white"
    else:
        colour = SUSPECT_COLOUR if marked and home == marked[0].letter else EXPLAINED_COLOUR
        face = colour
    ax.vlines(tone.order, 0.0, tone.excess_db, color=colour, linewidth=1.0)
    ax.plot(
        tone.order, tone.excess_db, marker="o", markersize=4.5, markeredgecolor=colour,
        markerfacecolor=face, markeredgewidth=1.0, linewidth=0,
    )  # fmt: skip


def _name_tones(ax: Axes, tones: tuple[Tone, ...]) -> None:
    """Order beside the loudest heads, each only where no louder one is near."""
    named: list[float] = []
    for tone in sorted(tones, key=lambda t: -t.excess_db):
        if len(named) == NAMED_TONES:
            break
        if all(abs(np.log(tone.order / other)) > 0.35 for other in named):
            named.append(tone.order)
            at_edge = tone.order < 1.2 * ax.get_xlim()[0]
            ax.annotate(
                order_text(tone.order), (tone.order, tone.excess_db), xytext=(0, 4),
                textcoords="offset points", ha="left" if at_edge else "center", fontsize=SMALL_PT,
            )  # fmt: skip


def _draw_frequency_axis(ax: Axes, heard: Heard) -> None:
    """Hz at this recording's mean speed, on the upper edge."""
    if heard.spectrum is None:
        return
    speed_hz = heard.spectrum.mean_speed_hz
    low, high = ax.get_xlim()
    upper = ax.secondary_xaxis("top")
    ticks = [f for f in (20, 50, 100, 200, 500, 1000, 2000, 5000) if low <= f / speed_hz <= high]
    upper.set_xticks([f / speed_hz for f in ticks], [f"{f:g}" for f in ticks])
    upper.minorticks_off()
    upper.set_xlabel(f"Hz at {60 * speed_hz:.0f} rpm", labelpad=2, loc="right", fontsize=SMALL_PT)
