"""The picture of one screening, one column from the answer down to the parts.

What did we hear? Which sounds have a home? How do the parts compare? Each panel answers
the question in its title. `draw_screening` makes the figure, `write_picture` puts any
figure on disk, whole or not at all.
"""

from __future__ import annotations

import io
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.drive.drive import Drive
from acoustic.output.palette import (
    PICTURE_DPI,
    SMALL_PT,
    TITLE_PT,
    WIDTH_IN,
    picture_style,
    say_instead,
)
from acoustic.output.part_letters import MarkedPart, mark_parts, shown_recording
from acoustic.output.part_panels import (
    bars_height_in,
    draw_order_spectrum,
    draw_part_rows,
    draw_probability_bars,
    visible_orders,
)
from acoustic.output.sound_panels import draw_comb, draw_spectrogram_panel, draw_speed_strip
from acoustic.output.whole_file import PICTURE_FORMATS, require_picture_place, write_bytes_whole
from acoustic.output.wording import shortened
from acoustic.verdict.suspects import Heard, Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKED_PARTS = 5
LEFT_IN, RIGHT_IN, COMB_IN = 0.60, 0.12, 0.48


def write_picture(figure: Figure, path: Path) -> None:
    """Write a figure as PNG, SVG or PDF, by the name's ending.

    Raises
    ------
    OutputError
        For another ending or a place that cannot be written.
    """
    require_picture_place(path, "picture")
    suffix = PICTURE_FORMATS[path.suffix.lower()]
    content = io.BytesIO()
    # Without dates the same answer gives the same file.
    undated = {"png": {}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[suffix]
    with picture_style():
        figure.savefig(content, format=suffix, dpi=PICTURE_DPI, metadata=undated)
    write_bytes_whole(path, content.getvalue())


def draw_screening(screening: Screening, drive: Drive) -> Figure:
    """Draw one screening: sound, orders and parts, in that order downwards.

    Of several recordings the one that says most about the best suspect is shown; the
    picture names it.

    Parameters
    ----------
    screening : Screening
    drive : Drive
        The drive it was screened with, for the places where lines must be.
    """
    from matplotlib.figure import Figure

    number = shown_recording(screening)
    marked = mark_parts(screening, drive, number, MARKED_PARTS)
    spectra = bool(screening.heard) and screening.heard[number].spectrum is not None
    heights_in = _heights_in(marked, len(_headline_lines(screening)), spectra)
    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, sum(heights_in.values())), facecolor="white")
        column = _Column(figure, heights_in)
        _draw_headline(figure, screening, number)
        heard = screening.heard[number] if screening.heard else None
        _draw_sound(column, heard, marked)
        _draw_homes(column, screening, number, marked)
        bars = column.axes("bars")
        bars.set_title("How do the parts compare?")
        if marked:
            draw_probability_bars(bars, marked)
        else:
            say_instead(bars, "No parts to compare.")
    return figure


def panel_edges(screening: Screening, drive: Drive) -> tuple[float, float]:
    """Where the picture of `draw_screening` may be cut: below the sound, below the orders.

    Returns
    -------
    (float, float)
        Shares of its height, from the top.
    """
    number = shown_recording(screening)
    marked = mark_parts(screening, drive, number, MARKED_PARTS)
    spectra = bool(screening.heard) and screening.heard[number].spectrum is not None
    heights_in = _heights_in(marked, len(_headline_lines(screening)), spectra)
    names, total = list(heights_in), sum(heights_in.values())
    first, second = (
        sum(heights_in[one] for one in names[: names.index(name) + 1]) / total
        for name in ("below sound", "below rows")
    )
    return first, second


class _Column:
    """Panels one under the other, by name; inches turned into the figure's own measure."""

    def __init__(self, figure: Figure, heights_in: dict[str, float]) -> None:
        self.figure = figure
        self.heights_in = heights_in

    def axes(self, name: str, right_in: float = RIGHT_IN, share: Axes | None = None) -> Axes:
        """Axes over the width of the column, less the margins."""
        box = self._box(name, LEFT_IN, WIDTH_IN - LEFT_IN - right_in)
        return self.figure.add_axes(box, sharex=share)

    def edge(self, name: str, share: Axes) -> Axes:
        """Narrow axes at the right edge, on the vertical scale of `share`."""
        box = self._box(name, WIDTH_IN - RIGHT_IN - COMB_IN, COMB_IN)
        return self.figure.add_axes(box, sharey=share)

    def under(self, name: str, left_in: float, width_in: float, drop_in: float) -> Axes:
        """Make thin axes below a panel, for its colour scale."""
        left, bottom, width, _ = self._box(name, left_in, width_in)
        total = sum(self.heights_in.values())
        return self.figure.add_axes((left, bottom - drop_in / total, width, 0.06 / total))

    def _box(self, name: str, left_in: float, width_in: float) -> tuple[float, float, float, float]:
        names = list(self.heights_in)
        total = sum(self.heights_in.values())
        below = sum(self.heights_in[n] for n in names[names.index(name) + 1 :])
        height = self.heights_in[name]
        return (left_in / WIDTH_IN, below / total, width_in / WIDTH_IN, height / total)


def _heights_in(
    marked: tuple[MarkedPart, ...], headline_lines: int, spectra: bool
) -> dict[str, float]:
    """Heights from the top down; the spaces hold titles and axis labels. [in]"""
    return {
        "headline": 0.52 + 0.17 * headline_lines,
        "speed": 0.30,
        "space 1": 0.06,
        "sound": 2.30,
        "below sound": 0.48,
        "above orders": 0.54,
        "orders": 1.45 if spectra else 0.4,
        "space 3": 0.08,
        "rows": 0.20 * len(marked) if spectra else 0.0,
        "below rows": 0.58 if spectra else 0.1,
        "above bars": 0.28 if spectra else 0.2,
        "bars": max(0.5, bars_height_in(marked)),
        "space 5": 0.42,
    }


def _headline_lines(screening: Screening) -> list[str]:
    return textwrap.wrap(screening.headline, 60, max_lines=4, placeholder=" …") or [""]


def _draw_headline(figure: Figure, screening: Screening, number: int) -> None:
    height = figure.get_figheight()
    lines = _headline_lines(screening)
    figure.text(
        0.02, 1 - 0.08 / height, "\n".join(lines), va="top", fontsize=TITLE_PT - 0.5,
        fontweight="bold", linespacing=1.15,
    )  # fmt: skip
    if screening.heard:
        name = shortened(screening.heard[number].recording.name, 44)
        which = f"recording {number + 1} of {len(screening.heard)}: {name}"
        drop_in = 0.12 + 0.17 * len(lines)
        figure.text(0.02, 1 - drop_in / height, which, va="top", fontsize=SMALL_PT)


def _draw_sound(column: _Column, heard: Heard | None, marked: tuple[MarkedPart, ...]) -> None:
    right_in = RIGHT_IN + COMB_IN + 0.05
    strip = column.axes("speed", right_in)
    strip.set_title("What did we hear?")
    if heard is None or heard.recording.samples.size == 0:
        say_instead(strip, "No recording.")
        return
    draw_speed_strip(strip, heard)
    sound = column.axes("sound", right_in, share=strip)
    image = draw_spectrogram_panel(sound, heard, marked[0] if marked else None)
    sound.set_xlim(0.0, heard.recording.duration_s)
    draw_comb(column.edge("sound", sound), heard, marked)
    scale = column.under("sound", 2.9, 0.95, drop_in=0.33)
    column.figure.colorbar(image, cax=scale, orientation="horizontal")
    scale.tick_params(labelsize=SMALL_PT - 0.5, length=2, pad=1)
    scale.set_ylabel("dB above floor", rotation=0, ha="right", va="center", fontsize=SMALL_PT)


def _draw_homes(
    column: _Column, screening: Screening, number: int, marked: tuple[MarkedPart, ...]
) -> None:
    orders = column.axes("orders")
    orders.set_title("Which sounds have a home?", pad=24)
    heard = screening.heard[number] if screening.heard else None
    if heard is None or heard.spectrum is None:
        say_instead(orders, "No order spectrum: the engine speed is not known.")
        return
    draw_order_spectrum(orders, heard, number, screening, marked)
    if marked:
        rows = column.axes("rows", share=orders)
        draw_part_rows(rows, marked, visible_orders(heard.spectrum))
    else:
        orders.tick_params(labelbottom=True)
