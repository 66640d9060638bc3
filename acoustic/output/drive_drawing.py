"""Picture 7: the drive as it stands, so that a layout can be checked against the engine.

Pulleys to scale with their belts, numbered, a list telling the numbers, and the shafts that
gears, chains and couplings drive as a plain chain.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acoustic.drive.drive import Drive
from acoustic.output.belt_panels import (
    BELT_STYLE_WORDS,
    belt_part,
    draw_placed_belts,
    draw_unrolled_belt,
    placed_belts,
    unplaced_belts,
)
from acoustic.output.palette import SMALL_PT, SUSPECT_COLOUR, WIDTH_IN, picture_style
from acoustic.output.shaft_chain import chain_height_in, draw_shaft_chain, shaft_chain
from acoustic.output.wording import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARGIN_IN = 0.12
TITLE_IN = 0.62
PLANE_IN = 3.3
UNROLLED_IN = 1.1
LIST_ROW_IN = 0.15


def draw_drive(drive: Drive, suspects: Sequence[str] = ()) -> Figure:
    """Draw the drive with its belts, sense of rotation and shafts.

    Parameters
    ----------
    drive : Drive
    suspects : sequence of str
        Part names to hatch; each part's pulley is hatched, or its shaft where it has none.
    """
    from matplotlib.figure import Figure

    hatched = hatched_names(drive, suspects)
    numbers = pulley_numbers(drive)
    links = shaft_chain(drive)
    chain_in = chain_height_in(links) if len(links) > 1 or not numbers else 0.0
    heights = _heights_in(drive, len(numbers), chain_in)
    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, sum(heights.values())), facecolor="white")
        _draw_title(figure, drive, hatched)
        if "plane" in heights:
            draw_placed_belts(_axes(figure, heights, "plane"), drive, numbers, hatched)
        for belt in unplaced_belts(drive):
            ax = _axes(figure, heights, f"belt {belt.name}")
            draw_unrolled_belt(ax, drive, belt, numbers, hatched)
        if numbers:
            _draw_list(_inch_axes(figure, heights, "list"), drive, numbers, hatched)
        if "chain" in heights:
            chain = _inch_axes(figure, heights, "chain")
            draw_shaft_chain(chain, drive, links, hatched)
    return figure


def pulley_numbers(drive: Drive) -> dict[str, int]:
    """Number of each pulley: along the belts in running order, then the others."""
    on_belts = [name for belt in drive.belts.values() for name in belt.path]
    names = dict.fromkeys([*on_belts, *drive.pulleys])
    return {name: number for number, name in enumerate(names, start=1) if name in drive.pulleys}


def hatched_names(drive: Drive, suspects: Sequence[str]) -> tuple[str, ...]:
    """Pulley, or else shaft, of each suspected part; none for what every engine has.

    A belt that is suspected itself stands under its own name as a part.
    """
    kinds = drive.knowledge.kinds
    belts = {belt_part(belt) for belt in drive.belts.values()}
    found = [
        drive.parts[name]
        for name in suspects
        if name in drive.parts and not kinds[drive.parts[name].kind].everywhere
    ]
    return tuple(part.name if part.name in belts else part.pulley or part.shaft for part in found)


def _heights_in(drive: Drive, pulleys: int, chain_in: float) -> dict[str, float]:
    heights = {"title": TITLE_IN}
    if placed_belts(drive):
        heights["plane"] = PLANE_IN
    for belt in unplaced_belts(drive):
        heights[f"belt {belt.name}"] = UNROLLED_IN
    heights["space"] = 0.1
    if pulleys:
        heights["list"] = LIST_ROW_IN * (pulleys + 1 + len(drive.belts))
    if chain_in:
        heights["gap"] = 0.2
        heights["chain"] = chain_in
    heights["foot"] = 0.12
    return heights


def _axes(figure: Figure, heights: dict[str, float], name: str) -> Axes:
    """Axes of one panel."""
    names = list(heights)
    total = sum(heights.values())
    below = sum(heights[n] for n in names[names.index(name) + 1 :])
    width = WIDTH_IN - 2 * MARGIN_IN
    box = (MARGIN_IN / WIDTH_IN, below / total, width / WIDTH_IN, heights[name] / total)
    return figure.add_axes(box)


def _inch_axes(figure: Figure, heights: dict[str, float], name: str) -> Axes:
    """Axes of one panel with a scale in inches from the upper left."""
    ax = _axes(figure, heights, name)
    ax.set_xlim(0.0, WIDTH_IN - 2 * MARGIN_IN)
    ax.set_ylim(heights[name], 0.0)
    return ax


def _draw_title(figure: Figure, drive: Drive, hatched: Sequence[str]) -> None:
    height = figure.get_figheight()
    left = MARGIN_IN / WIDTH_IN
    figure.text(left, 1 - 0.08 / height, "How does the drive run?", va="top", fontsize=9.5,
                fontweight="bold")  # fmt: skip
    figure.text(left, 1 - 0.27 / height, shortened(drive.name, 62), va="top", fontsize=SMALL_PT)
    seen = f"seen facing the drive; the crankshaft turns {drive.engine.crank_turns}"
    belts = {belt_part(belt) for belt in drive.belts.values()}
    marks = ["hatched"] if set(hatched) - belts else []
    marks += ["thick"] if set(hatched) & belts else []
    if marks:
        seen += f"; {' or '.join(marks)}: suspected"
    figure.text(left, 1 - 0.41 / height, seen, va="top", fontsize=SMALL_PT)


def _draw_list(ax: Axes, drive: Drive, numbers: dict[str, int], hatched: Sequence[str]) -> None:
    """What each number stands for: pulley, diameter, speed against the crank."""
    ax.set_axis_off()
    columns = ((0.16, "right"), (0.24, "left"), (2.50, "right"), (3.05, "right"), (4.12, "right"))
    rows = [("", "pulley", "pitch, mm", "× crank", "belt")]
    rows += [_list_row(drive, name, number) for name, number in numbers.items()]
    names = [None, *numbers]
    for index, (row, name) in enumerate(zip(rows, names, strict=True)):
        suspected = name in hatched
        for (x, side), cell in zip(columns, row, strict=True):
            ax.text(
                x, LIST_ROW_IN * (index + 0.5), cell, ha=side, va="center", fontsize=SMALL_PT,
                color=SUSPECT_COLOUR if suspected else None,
                fontweight="bold" if suspected or index == 0 or x < 0.2 else "normal",
            )  # fmt: skip
    for index, belt in enumerate(drive.belts.values(), start=len(rows)):
        suspected = belt_part(belt) in hatched
        ax.text(
            0.24, LIST_ROW_IN * (index + 0.5), _belt_sentence(drive, belt.name), va="center",
            fontsize=SMALL_PT, color=SUSPECT_COLOUR if suspected else None,
            fontweight="bold" if suspected else "normal",
        )  # fmt: skip


def _list_row(drive: Drive, name: str, number: int) -> tuple[str, str, str, str, str]:
    pulley = drive.pulleys[name]
    diameter = "" if pulley.pitch_diameter_mm is None else f"{pulley.pitch_diameter_mm:.1f}"
    belts = [b.name for b in drive.belts.values() if name in b.path]
    free = "" if pulley.overrunning == "no" else f" ({pulley.overrunning})"
    back = " (back)" if pulley.back_side else ""
    ratio = f"{drive.shafts[pulley.shaft].ratio:.3f}"
    label = shortened(f"{name}{back}{free}", 28)
    return str(number), label, diameter, ratio, shortened(", ".join(belts), 17)


def _style_word(drive: Drive, name: str) -> str:
    """Tell how a belt is drawn, where there is more than one."""
    names = [belt.name for belt in placed_belts(drive)]
    if len(names) < 2 or name not in names:
        return ""
    return f" ({BELT_STYLE_WORDS[names.index(name) % len(BELT_STYLE_WORDS)]})"


def _belt_sentence(drive: Drive, name: str) -> str:
    belt = drive.belts[name]
    parts = [f"belt {shortened(name, 16)}{_style_word(drive, name)}: {belt.section}"]
    if belt.length_mm is not None:
        parts.append(f"{belt.length_mm:.0f} mm ({belt.length_basis})")
    if belt.turn_order is not None:
        parts.append(f"{belt.turn_order:.3f} turns per crank turn")
    return ", ".join(parts)
