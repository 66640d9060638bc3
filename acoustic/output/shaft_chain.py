"""Shafts as a plain chain: what is driven from what, and by which wheels.

Belt pulleys' own shafts are left to the belt panels; here stand the crankshaft and every
shaft driven by gears, chain, toothed belt, coupling or a measured ratio.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from acoustic.drive.drive import Drive
from acoustic.drive.layout import DrivenBy
from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    SMALL_PT,
    SUSPECT_COLOUR,
    TEXT_PT,
)
from acoustic.output.wording import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CRANKSHAFT = "crankshaft"
ROW_IN = 0.52
BOX_IN = 0.30
INDENT_IN = 0.28
JOINT_IN = 0.10  # the joining line stands so far left of a box
CARRIES_IN = INDENT_IN  # clear of the line that goes down to a child


@dataclass(frozen=True, slots=True)
class ChainLink:
    """One shaft of the chain: how deep, how driven, what it carries."""

    shaft: str
    depth: int
    parent_row: int | None
    step: str
    carries: tuple[str, ...]


def shaft_chain(drive: Drive) -> tuple[ChainLink, ...]:
    """The crankshaft and every shaft not driven by a ribbed belt, parents before children."""
    links: list[ChainLink] = []

    def add(shaft: str, depth: int, parent_row: int | None, step: str) -> None:
        row = len(links)
        links.append(ChainLink(shaft, depth, parent_row, step, _carried(drive, shaft)))
        for typed in drive.layout.shaft:
            if typed.driven_by.from_ == shaft:
                add(typed.name, depth + 1, row, _step(typed.driven_by))

    add(CRANKSHAFT, 0, None, "")
    told = {link.shaft for link in links}
    for typed in drive.layout.shaft:
        if typed.name not in told and typed.driven_by.from_ not in told:
            row = len(links)
            source = typed.driven_by.from_
            links.append(ChainLink(source, 0, None, "", _carried(drive, source)))
            told.add(source)
            add(typed.name, 1, row, _step(typed.driven_by))
            told.update(link.shaft for link in links)
    return tuple(links)


def draw_shaft_chain(
    ax: Axes, drive: Drive, links: Sequence[ChainLink], hatched: Sequence[str]
) -> None:
    """Boxes one below the other, indented by depth, joined by a line naming the step.

    The scale is in inches from the upper left.
    """
    ax.set_axis_off()
    for row, link in enumerate(links):
        _draw_box(ax, drive, row, link, link.shaft in hatched)
        if link.parent_row is not None:
            _draw_step(ax, row, link)


def _draw_box(ax: Axes, drive: Drive, row: int, link: ChainLink, hatched: bool) -> None:
    from matplotlib.patches import Rectangle

    left, top = _box_place_in(row, link.depth)
    width = ax.get_xlim()[1] - 0.02 - left
    ax.add_patch(
        Rectangle(
            (left, top), width, BOX_IN, facecolor="white",
            edgecolor=SUSPECT_COLOUR if hatched else EXPLAINED_COLOUR,
            linewidth=1.6 if hatched else 0.9, hatch="//////" if hatched else None, clip_on=False,
        )
    )  # fmt: skip
    plain = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    ax.text(
        left + 0.06, top + 0.5 * BOX_IN, shortened(link.shaft, 24), va="center",
        fontsize=TEXT_PT, fontweight="bold", bbox=plain,
    )  # fmt: skip
    ax.text(
        left + width - 0.06, top + 0.5 * BOX_IN, _speed_phrase(drive, link.shaft),
        va="center", ha="right", fontsize=SMALL_PT, bbox=plain,
    )  # fmt: skip
    if link.carries:
        text = shortened(f"carries {'; '.join(link.carries)}", 60)
        ax.text(left + CARRIES_IN, top + BOX_IN + 0.03, text, va="top", fontsize=SMALL_PT - 0.5)


def _speed_phrase(drive: Drive, shaft: str) -> str:
    """How fast and which way round, against the crankshaft."""
    speed = drive.shafts.get(shaft)
    if shaft == CRANKSHAFT:
        return f"turns {drive.engine.crank_turns}"
    if speed is None:
        return ""
    way = "turns as the crank" if speed.sense > 0 else "turns against the crank"
    return f"× {speed.ratio:.3f}, {way}"


def _draw_step(ax: Axes, row: int, link: ChainLink) -> None:
    """Line from the parent's box down to this one, with how it is driven."""
    left, top = _box_place_in(row, link.depth)
    x = left - JOINT_IN
    parent_bottom = _box_place_in(link.parent_row or 0, link.depth - 1)[1] + BOX_IN
    middle = top + 0.5 * BOX_IN
    ax.plot([x, x, left], [parent_bottom, middle, middle], color=INK, linewidth=1.2)
    ax.text(
        ax.get_xlim()[1] - 0.02, top - 0.02, shortened(link.step, 40), ha="right", va="bottom",
        fontsize=SMALL_PT - 0.5, fontstyle="italic",
    )  # fmt: skip


def _box_place_in(row: int, depth: int) -> tuple[float, float]:
    return INDENT_IN * depth, row * (ROW_IN + 0.06) + 0.04


def chain_height_in(links: Sequence[ChainLink]) -> float:
    """Height the chain needs. [in]"""
    return len(links) * (ROW_IN + 0.06) + 0.04


def _carried(drive: Drive, shaft: str) -> tuple[str, ...]:
    """Pulleys fitted to a shaft and components that turn with it."""
    pulleys = [pulley.name for pulley in drive.layout.pulley if pulley.on == shaft]
    components = [
        typed.name for typed in drive.layout.component if drive.parts[typed.name].shaft == shaft
    ]
    return (*pulleys, *components)


def _step(driven_by: DrivenBy) -> str:
    """How a shaft is driven, in a phrase."""
    wheels = f" {'–'.join(str(t) for t in driven_by.teeth)} teeth" if driven_by.teeth else ""
    ratio = f" {driven_by.ratio:g}" if driven_by.ratio else ""
    loose = ", may slip" if driven_by.may_slip else ""
    free = "" if driven_by.overrunning == "no" else f", {driven_by.overrunning}"
    return f"{driven_by.kind}{wheels}{ratio}{loose}{free}"
