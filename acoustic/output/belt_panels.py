"""Panels of picture 7, "How does the drive run?": pulleys and belts.

Where every pulley of a belt has a position it is drawn to scale with the belt on its true
side. A belt without positions is drawn unrolled: a straight line with its pulleys below it
(ribs) and above it (back), in running order and to scale in diameter only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from acoustic.drive.drive import BeltGeometry, Drive, PulleyGeometry
from acoustic.output.palette import (
    EXPLAINED_COLOUR,
    INK,
    SMALL_PT,
    SUSPECT_COLOUR,
    TEXT_PT,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Point = tuple[float, float]

BELT_STYLES = ("solid", (0, (5, 1.5)), (0, (1.5, 1)))
BELT_STYLE_WORDS = ("solid", "dashed", "dotted")
UNKNOWN_DIAMETER_MM = 80.0
SUSPECT_HATCH = "//////"


def placed_belts(drive: Drive) -> list[BeltGeometry]:
    """Belts whose path is known in the plane."""
    return [belt for belt in drive.belts.values() if belt.tangents_mm]


def unplaced_belts(drive: Drive) -> list[BeltGeometry]:
    """Belts of which only the order of pulleys is known."""
    return [belt for belt in drive.belts.values() if not belt.tangents_mm]


def turns_clockwise(drive: Drive, pulley: PulleyGeometry) -> bool:
    """Whether the pulley turns clockwise, seen facing the drive."""
    crank_clockwise = drive.engine.crank_turns == "clockwise"
    return crank_clockwise == (drive.shafts[pulley.shaft].sense > 0)


def draw_placed_belts(
    ax: Axes, drive: Drive, numbers: Mapping[str, int], hatched: Sequence[str]
) -> None:
    """Pulleys to scale, each belt on its true side, arrows in the sense of rotation."""
    ax.set_aspect("equal")
    ax.set_axis_off()
    for style, belt in zip(_styles(), placed_belts(drive), strict=False):
        outline = np.array(belt_outline_mm(drive, belt))
        ax.plot(*outline.T, linestyle=style, zorder=3, **_belt_look(belt, hatched))
    radii = placed_radii_mm(drive)
    together: dict[Point, list[str]] = {}
    for name in sorted(radii, key=lambda n: -radii[n]):  # the smaller one lies in front
        centre = drive.pulleys[name].position_mm
        if centre is not None:
            _draw_pulley(ax, centre, radii[name], name in hatched)
            together.setdefault((round(centre[0]), round(centre[1])), []).append(name)
    for names in together.values():
        largest = drive.pulleys[names[0]]
        if largest.position_mm is not None:
            clockwise = turns_clockwise(drive, largest)
            _draw_sense(ax, largest.position_mm, radii[names[-1]], clockwise)
            label = ", ".join(str(n) for n in sorted(numbers[name] for name in names))
            _draw_number(ax, largest.position_mm, label)
    ax.margins(0.04)
    ax.autoscale_view()
    _draw_scale(ax)


def placed_radii_mm(drive: Drive) -> dict[str, float]:
    """Pitch radius of every pulley on a placed belt. [mm]

    Where only a speed ratio was measured, the radius is that at which the belt runs.
    """
    return {
        name: math.dist(belt.tangents_mm[i][0], drive.pulleys[name].position_mm or (0.0, 0.0))
        for belt in placed_belts(drive)
        for i, name in enumerate(belt.path)
    }


def belt_outline_mm(drive: Drive, belt: BeltGeometry) -> list[Point]:
    """Points along a placed belt: its spans and its arcs round the pulleys, closed. [mm]"""
    points: list[Point] = []
    for i, name in enumerate(belt.path):
        pulley = drive.pulleys[name]
        reach, leave = belt.tangents_mm[i - 1][1], belt.tangents_mm[i][0]
        if pulley.position_mm is not None:
            clockwise = turns_clockwise(drive, pulley)
            points += _arc(pulley.position_mm, reach, leave, clockwise)
    return [*points, points[0]]


def draw_unrolled_belt(
    ax: Axes, drive: Drive, belt: BeltGeometry, numbers: Mapping[str, int], hatched: Sequence[str]
) -> None:
    """A belt as a straight line: ribbed pulleys below, back-side ones above, in order."""
    ax.set_aspect("equal")
    ax.set_axis_off()
    radii = [
        0.5 * (drive.pulleys[name].pitch_diameter_mm or UNKNOWN_DIAMETER_MM) for name in belt.path
    ]
    gap = 0.35 * max(radii)
    x = 0.0
    for name, back, radius in zip(belt.path, belt.back_side, radii, strict=True):
        x += radius
        centre = (x, radius if back else -radius)
        pulley = drive.pulleys[name]
        _draw_pulley(ax, centre, radius, name in hatched)
        _draw_sense(ax, centre, radius, turns_clockwise(drive, pulley))
        _draw_number(ax, centre, str(numbers[name]))
        x += radius + gap
    ax.plot([-gap, x], [0.0, 0.0], zorder=3, **_belt_look(belt, hatched))
    ax.margins(0.04)
    ax.autoscale_view()


def belt_part(belt: BeltGeometry) -> str:
    """Name under which a belt itself is a part of the drive."""
    return f"belt {belt.name}"


def _belt_look(belt: BeltGeometry, hatched: Sequence[str]) -> dict[str, Any]:
    """Thick where the belt itself is suspected: a line cannot be hatched."""
    if belt_part(belt) in hatched:
        return {"color": SUSPECT_COLOUR, "linewidth": 4.0}
    return {"color": INK, "linewidth": 2.0}


def _styles() -> list[str | tuple[int, tuple[float, ...]]]:
    return [*BELT_STYLES] * 4


def _arc(centre: Point, start: Point, end: Point, clockwise: bool) -> list[Point]:
    """Points round `centre` from `start` to `end` in the sense the pulley turns."""
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    swept = (first - last if clockwise else last - first) % (2 * math.pi)
    radius = math.dist(centre, start)
    angles = np.linspace(first, first + (-swept if clockwise else swept), 40)
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles]


def _draw_pulley(ax: Axes, centre: Point, radius: float, hatched: bool) -> None:
    from matplotlib.patches import Circle

    ax.add_patch(
        Circle(
            centre,
            radius,
            facecolor="white",
            edgecolor=SUSPECT_COLOUR if hatched else EXPLAINED_COLOUR,
            hatch=SUSPECT_HATCH if hatched else None,
            linewidth=1.6 if hatched else 0.9,
            zorder=2,
        )
    )


def _draw_sense(ax: Axes, centre: Point, radius: float, clockwise: bool) -> None:
    """An arrow inside the rim, over the top of the pulley."""
    ends = [math.radians(a) for a in ((130, 50) if clockwise else (50, 130))]
    inside = 0.74 * radius
    start, end = (
        (centre[0] + inside * math.cos(a), centre[1] + inside * math.sin(a)) for a in ends
    )
    ax.annotate(
        "", end, xytext=start, zorder=4,
        arrowprops={
            "arrowstyle": "->,head_width=0.18,head_length=0.3",
            "connectionstyle": f"arc3,rad={-0.35 if clockwise else 0.35}",
            "color": INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0,
        },
    )  # fmt: skip


def _draw_number(ax: Axes, centre: Point, number: str) -> None:
    ax.text(
        centre[0], centre[1], number, ha="center", va="center", fontsize=TEXT_PT,
        fontweight="bold", zorder=5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip


def _draw_scale(ax: Axes) -> None:
    """A bar of 100 mm in the lower right corner."""
    right, (low, high) = ax.get_xlim()[1], ax.get_ylim()
    height = 0.04 * (high - low)
    bottom = low - 1.5 * height  # under everything drawn
    ax.set_ylim(bottom - 0.3 * height, high)
    place: dict[str, Any] = {"color": INK, "linewidth": 1.0, "clip_on": False}
    ax.plot([right - 100, right], [bottom, bottom], **place)
    for end in (right - 100, right):
        ax.plot([end, end], [bottom - height / 4, bottom + height / 4], **place)
    ax.text(
        right - 50, bottom + 0.3 * height, "100 mm", ha="center", va="bottom", fontsize=SMALL_PT
    )
