"""The engine itself: firing order, order step, odd fire.

A four-stroke engine repeats every two turns, so its sound holds every half order; the
strongest is the firing order, half the number of cylinders where it fires evenly.
"""

from __future__ import annotations

from acoustic.drive.drive import Engine
from acoustic.drive.faults import Faults
from acoustic.drive.layout import EngineLayout

_EVEN_WITHIN_DEG = 1.0


def firing_order(cylinders: int, strokes: int) -> float:
    """Firings per crankshaft turn.

    Examples
    --------
    >>> firing_order(4, strokes=4)
    2.0
    """
    return cylinders / (strokes / 2)


def order_step(strokes: int) -> float:
    """Spacing of the engine's own lines in orders: a half for four strokes, else one."""
    return 0.5 if strokes == 4 else 1.0


def fires_unevenly(angles_deg: list[float], strokes: int) -> bool:
    """Tell whether the intervals between firings differ."""
    cycle = 180.0 * strokes
    angles = sorted(angle % cycle for angle in angles_deg)
    following = [*angles[1:], angles[0] + cycle]
    even = cycle / len(angles)
    return any(
        abs(after - before - even) > _EVEN_WITHIN_DEG
        for before, after in zip(angles, following, strict=True)
    )


def build_engine(layout: EngineLayout, faults: Faults) -> Engine:
    """Check the [engine] table and work out its orders."""
    _check_firing(layout, faults)
    for key in ("idle_rpm", "working_rpm"):
        low, high = getattr(layout, key)
        if low >= high:
            faults.add(
                ("engine", key),
                f"runs from {low:g} to {high:g}; write the lower speed first, "
                f"such as [{min(low, high) * 0.95:.0f}, {max(low, high) * 1.05:.0f}].",
            )
    angles = layout.firing_angles_deg
    return Engine(
        cylinders=layout.cylinders,
        strokes=layout.strokes,
        firing_order=firing_order(layout.cylinders, layout.strokes),
        order_step=order_step(layout.strokes),
        odd_fire=bool(angles) and fires_unevenly(angles or [], layout.strokes),
        idle_rpm=layout.idle_rpm,
        working_rpm=layout.working_rpm,
        crank_turns=layout.crank_turns,
        motor=layout.motor,
        firing_phases=tuple(sorted(angle / (180.0 * layout.strokes) for angle in angles or [])),
    )


def _check_firing(layout: EngineLayout, faults: Faults) -> None:
    count = layout.cylinders
    order = layout.firing_order
    if order is not None and sorted(order) != list(range(1, count + 1)):
        faults.add(
            ("engine", "firing_order"),
            f"must name each cylinder from 1 to {count} once; it is {order}.",
        )
    angles = layout.firing_angles_deg
    if angles is None:
        return
    cycle = 180.0 * layout.strokes
    if len(angles) != count:
        faults.add(
            ("engine", "firing_angles_deg"),
            f"has {len(angles)} angles for {count} cylinders; give one a cylinder.",
        )
    if any(not 0 <= angle < cycle for angle in angles):
        faults.add(
            ("engine", "firing_angles_deg"),
            f"angles lie from 0 to below {cycle:g} degrees, one engine cycle.",
        )
