"""Belts of a drive on their pulleys: route, length, spans, turn order."""

from __future__ import annotations

import math
from collections.abc import Mapping

from acoustic.drive.belts import (
    Route,
    belt_route,
    belt_speed_m_s,
    belt_turn_order,
    pitch_length_mm,
    span_frequency_hz,
    split_section,
)
from acoustic.drive.drive import BeltGeometry, Engine, ShaftSpeed, Span
from acoustic.drive.linking import Linking
from acoustic.drive.places import BeltPlace

_LENGTHS_DIFFER = 0.02  # a tensioner's travel takes up about this much


def build_belt(
    linking: Linking, belt: BeltPlace, speeds: Mapping[str, ShaftSpeed], engine: Engine
) -> BeltGeometry:
    """Lay one belt over its pulleys."""
    typed = belt.typed
    ribs, profile_name = split_section(typed.section)
    profile = linking.knowledge.belt_profiles[profile_name]
    order, route = _running_order(linking, belt, speeds, engine)
    path = tuple(belt.pulleys[i] for i in order)
    length, basis = None, "unknown"
    if typed.length_mm is not None:
        length = pitch_length_mm(typed.length_mm, profile.line_differential_mm)
        basis = "given"
    elif route is not None:
        length, basis = route.length_mm, "from positions"
    if typed.length_mm is not None and route is not None:
        _compare_lengths(linking, typed.name, length or 0.0, route.length_mm)
    wraps = dict(zip(path, map(math.degrees, route.wraps_rad), strict=True)) if route else {}
    return BeltGeometry(
        name=typed.name,
        section=typed.section,
        profile=profile_name,
        ribs=ribs,
        path=path,
        back_side=tuple(belt.back_side[i] for i in order),
        driver=path[0],
        length_mm=length,
        length_basis=basis,
        turn_order=_turn_order(linking, belt, speeds, length),
        wrap_deg=wraps,
        spans=_spans(linking, belt, path, route, _speed_m_s(linking, belt, speeds, engine)),
        tangents_mm=route.tangents_mm if route else (),
        stretch=typed.stretch,
    )


def _running_order(
    linking: Linking, belt: BeltPlace, speeds: Mapping[str, ShaftSpeed], engine: Engine
) -> tuple[list[int], Route | None]:
    """Order in which the belt meets its pulleys, and its route where positions allow.

    The path may be typed either way round; the crankshaft's sense of rotation settles it.
    """
    count = len(belt.pulleys)
    forward = list(range(count))
    radii = _radii_mm(linking, belt, speeds)
    centres = [linking.places.pulleys[name].typed.position_mm for name in belt.pulleys]
    if count < 2 or None in centres or radii is None:
        return forward, None
    driver = speeds.get(linking.places.pulleys[belt.pulleys[0]].rim)
    crank = -1 if engine.crank_turns == "clockwise" else 1
    turn = crank * (driver.sense if driver else 1)
    turns = [turn if back == belt.back_side[0] else -turn for back in belt.back_side]
    for order in (forward, [0, *forward[:0:-1]]):
        route = belt_route(
            [centre for i in order if (centre := centres[i]) is not None],
            [radii[i] for i in order],
            [turns[i] for i in order],
        )
        if route is not None:
            return order, route
    linking.faults.add(
        (*belt.path, "path"),
        "no belt can run over these pulleys in this order with these sides and positions; "
        'check the order, each "(back)", and position_mm (x to the right, y up, in mm, seen '
        "facing the drive).",
    )
    return forward, None


def _radii_mm(
    linking: Linking, belt: BeltPlace, speeds: Mapping[str, ShaftSpeed]
) -> list[float] | None:
    """Pitch radii; where only a speed is known it follows from the belt's speed."""
    rims = [speeds.get(linking.places.pulleys[name].rim) for name in belt.pulleys]
    sizes = [linking.sizes.get(name) for name in belt.pulleys]
    surface = next(
        (rim.ratio * size.pitch_mm for rim, size in zip(rims, sizes, strict=True) if rim and size),
        None,
    )
    if surface is None or None in rims:
        return None
    return [
        (size.pitch_mm if size else surface / (rim.ratio if rim else 1.0)) / 2
        for rim, size in zip(rims, sizes, strict=True)
    ]


def _turn_order(
    linking: Linking, belt: BeltPlace, speeds: Mapping[str, ShaftSpeed], length: float | None
) -> float | None:
    radii = _radii_mm(linking, belt, speeds)
    if length is None or radii is None:
        return None
    driver = speeds[linking.places.pulleys[belt.pulleys[0]].rim]
    return belt_turn_order(driver.ratio, 2 * radii[0], length)


def _speed_m_s(
    linking: Linking, belt: BeltPlace, speeds: Mapping[str, ShaftSpeed], engine: Engine
) -> float:
    """Belt speed at mid idle. [m/s]"""
    radii = _radii_mm(linking, belt, speeds)
    if radii is None:
        return 0.0
    driver = speeds[linking.places.pulleys[belt.pulleys[0]].rim]
    return belt_speed_m_s(driver.ratio * sum(engine.idle_rpm) / 120, 2 * radii[0])


def _spans(
    linking: Linking,
    belt: BeltPlace,
    path: tuple[str, ...],
    route: Route | None,
    speed_m_s: float,
) -> tuple[Span, ...]:
    if route is None:
        return ()
    ribs, profile = split_section(belt.typed.section)
    mass = ribs * linking.knowledge.belt_profiles[profile].mass_per_rib_kg_per_m
    tension = belt.typed.span_tension_n
    return tuple(
        Span(
            from_pulley=start,
            to_pulley=end,
            length_mm=length,
            natural_frequency_hz=None
            if tension is None
            else span_frequency_hz(length, tension, mass, speed_m_s),
        )
        for start, end, length in zip(path, (*path[1:], path[0]), route.spans_mm, strict=True)
    )


def _compare_lengths(linking: Linking, name: str, given: float, drawn: float) -> None:
    if abs(drawn / given - 1) > _LENGTHS_DIFFER:
        linking.notes.append(
            f"belt {name}: the pitch length is {given:.0f} mm by length_mm and {drawn:.0f} mm by "
            "the pulley positions; one of them is wrong. length_mm was used."
        )
