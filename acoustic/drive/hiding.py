"""What hides a line: the engine, another part, its own shaft, the phone.

A line is of use only where it can be told from others. Two lines are told apart when they
stand two bins of the analysis apart; its stretches are shorter at high orders, where speed
wander would smear them.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from acoustic.drive.drive import Drive, ExpectedFamily, ExpectedLine

PHONE_LIMIT_HZ = 60.0
"""Phones' microphones and recorders take away what lies below (common practice, no source)."""
_OWN_SHAFT_WITHIN = 0.02  # search window for race lines, common practice, no source
_SAME_LINE = 1e-9  # a line that is its own shaft's multiple is hidden by nothing
_OWN_SHAFT_MULTIPLES = 6  # higher ones are rarely strong enough to be mistaken for a race line
_HALF_ORDERS_UP_TO = 40.0
_LIKELY = 0.5
_NAMES_SHOWN = 3
# Turns of the crankshaft in one stretch of analysis, up to each order: a Hann window parts
# two lines that lie two over that apart.
_TURNS_UP_TO = ((12.0, 64), (40.0, 32), (130.0, 16), (math.inf, 10))


@dataclass(frozen=True, slots=True)
class PlacedLine:
    """A strong line of some part, of the sound or of its envelope."""

    order: float
    part: str
    label: str
    in_envelope: bool = False


def strong_lines(families: Iterable[ExpectedFamily]) -> list[PlacedLine]:
    """Lines likely enough to hide others, by order.

    Those of a lagging family are left out: they are the lines of other parts again.
    """
    strong = (
        PlacedLine(line.order, family.part, line.label, line.in_envelope)
        for family in families
        for line in family.lines
        if line.probability >= _LIKELY and not family.lags
    )
    return sorted(strong, key=lambda placed: placed.order)


def line_spacing(order: float) -> float:
    """Least distance in orders at which two lines can be told apart at this order."""
    return 2 / next(turns for limit, turns in _TURNS_UP_TO if order <= limit)


def order_hz(order: float, speeds_rpm: tuple[float, ...]) -> tuple[float, ...]:
    """Frequency of an order at each speed. [Hz]"""
    return tuple(order * rpm / 60 for rpm in speeds_rpm)


def find_hiding(
    drive: Drive,
    family: ExpectedFamily,
    line: ExpectedLine,
    speeds: tuple[float, ...],
    others: Sequence[PlacedLine],
) -> Iterator[str]:
    """Yield everything that may hide a line, each as a short phrase.

    Nothing for a line that lags: it lies below its nominal order, nobody knows how far.

    Parameters
    ----------
    others : sequence of PlacedLine
        From `strong_lines`, in order.
    """
    if family.lags:
        return
    low = [
        rpm
        for rpm, hz in zip(speeds, order_hz(line.order, speeds), strict=True)
        if hz < PHONE_LIMIT_HZ
    ]
    if low and not line.in_envelope:  # a low beat of a high sound passes every phone
        yield f"below {PHONE_LIMIT_HZ:.0f} Hz at {' and '.join(f'{rpm:.0f}' for rpm in low)} rpm"
    near = nearest_engine_order(drive, line.order, family.locked)
    if near is not None:
        yield _near(f"engine order {near:g}", line.order, near)
    shaft = drive.shafts[family.shaft].ratio
    if any(row.id == family.row_id for row in drive.knowledge.every_bearing):
        multiple = round(line.order / shaft)
        apart = abs(line.order / (multiple * shaft) - 1) if multiple else 1.0
        if multiple <= _OWN_SHAFT_MULTIPLES and _SAME_LINE < apart < _OWN_SHAFT_WITHIN:
            yield _near(f"{multiple} times its own shaft", line.order, multiple * shaft)
    same = [placed for placed in others if placed.in_envelope == line.in_envelope]
    yield from _beside(family.part, line.order, same)


def nearest_engine_order(drive: Drive, order: float, locked: bool = False) -> float | None:
    """The engine order that hides this one, or None.

    Up to order 40 any order of the engine's step hides; above, only multiples of the
    firing order are strong enough, but a line locked to the crankshaft that falls exactly
    on the engine's comb can never be told from it by its place alone.
    """
    engine = drive.engine
    comb = round(order / engine.order_step) * engine.order_step
    if locked and comb and abs(order - comb) < 1e-6 * order:
        return comb
    step = engine.order_step if order <= _HALF_ORDERS_UP_TO else engine.firing_order
    near = round(order / step) * step
    return near if near and abs(order - near) < line_spacing(order) else None


def _near(what: str, order: float, other: float) -> str:
    apart = abs(order - other)
    if apart < 1e-6 * order:
        return f"exactly on {what}"
    percent = 100 * apart / order
    return f"{percent:.2g} % from {what} (apart after {math.ceil(2 / apart - 1e-9)} turns)"


def _beside(part: str, order: float, others: Sequence[PlacedLine]) -> Iterator[str]:
    """Lines of other parts that cannot be told apart from this one."""
    spacing = line_spacing(order)
    start = bisect.bisect_left(others, order - spacing, key=lambda placed: placed.order)
    stop = bisect.bisect_right(others, order + spacing, key=lambda placed: placed.order)
    nearest = sorted(others[start:stop], key=lambda placed: abs(placed.order - order))
    named: dict[str, PlacedLine] = {}
    for placed in nearest:
        if placed.part != part:
            named.setdefault(placed.part, placed)
    for placed in list(named.values())[:_NAMES_SHOWN]:
        yield f"{placed.part}: {placed.label} ({placed.order:.3f})"
    if len(named) > _NAMES_SHOWN:
        yield f"and {len(named) - _NAMES_SHOWN} more parts"
