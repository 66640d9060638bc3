"""Colours, sizes and the few rules every picture keeps.

Paper first: whatever a colour says is also said by filled or open, by line or hatching, so
a grey print and a colour-blind reader lose nothing. The colours are those of Okabe and Ito
(Color Universal Design, 2008), which stay apart for all common kinds of colour blindness.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SUSPECT_COLOUR = "#D55E00"  # vermillion: the leading suspect and nothing else
EXPLAINED_COLOUR = "#0072B2"  # blue: explained by another source
UNEXPLAINED_COLOUR = "#595959"  # dark grey, 7:1 on white
QUIET_COLOUR = "#B3B3B3"
INK = "#1A1A1A"
SOUND_MAP = "cividis"  # even in lightness, the same to colour-blind eyes (Nuñez et al. 2018)

# A picture is shown 380 px wide on a phone: 4.4 in make that 86 px an inch, where 8 pt is
# 9.6 px high. On a desk the same file at 220 px an inch is 968 px wide.
WIDTH_IN = 4.4
PICTURE_DPI = 220
TEXT_PT = 8.0
SMALL_PT = 7.0
TITLE_PT = 9.5

STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # shipped with matplotlib: the same on every machine
    "font.size": TEXT_PT,
    "axes.titlesize": TITLE_PT,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": TEXT_PT,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.6,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "legend.fontsize": SMALL_PT,
    "hatch.linewidth": 0.6,
    "text.color": INK,
    "axes.labelcolor": INK,
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "text.usetex": False,
    "text.parse_math": False,  # a part may be called "pump $2"
}


@contextmanager
def picture_style() -> Iterator[None]:
    """Our sizes and fonts for the time of one picture; the reader's own are kept."""
    from matplotlib import rc_context

    with rc_context(cast(Any, STYLE)):
        yield


def draw_bare(ax: Axes) -> None:
    """Leave only the lower and left edge of the axes."""
    ax.spines["top"].set_visible(False)
    ax.spines["right"].set_visible(False)


def say_instead(ax: Axes, sentence: str) -> None:
    """Write a sentence where a panel has nothing to draw."""
    ax.set_xticks([])
    ax.set_yticks([])
    ax.text(
        0.5, 0.5, sentence, ha="center", va="center", transform=ax.transAxes, wrap=True,
        fontsize=TEXT_PT,
    )  # fmt: skip
