"""Belts: their path round the pulleys, length, wrap, spans and how often they come round.

Geometry is seen facing the drive, x to the right and y up, angles anticlockwise. Each
pulley carries the sign of its turning, +1 anticlockwise; with signed radii R = sign * r a
belt span from circle 1 to circle 2 runs along the unit vector u with normal n (to its left)
where (c2 - c1) . n = R2 - R1, for open and crossed tangents alike.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

Point = tuple[float, float]

_FULL_TURN = 2 * math.pi


@dataclass(frozen=True, slots=True)
class Route:
    """A closed belt path: a tangent a span, a wrap a pulley, pitch length.

    `tangents_mm[i]` runs from pulley i to the next one; `wraps_rad[i]` is the angle of
    pulley i in touch with the belt.
    """

    tangents_mm: tuple[tuple[Point, Point], ...]
    spans_mm: tuple[float, ...]
    wraps_rad: tuple[float, ...]
    length_mm: float


def split_section(section: str) -> tuple[int, str]:
    """Ribs and profile of a section such as ``"6PK"``.

    Examples
    --------
    >>> split_section("6PK")
    (6, 'PK')
    """
    match = re.fullmatch(r"(\d{1,2})(P[HJKLM])", section)
    if match is None:
        raise ValueError(f"{section!r} is no belt section; write ribs and profile, such as 6PK")
    return int(match.group(1)), match.group(2)


def split_path_entry(entry: str) -> tuple[str, bool]:
    """Pulley name, and whether the belt's back runs on it.

    Examples
    --------
    >>> split_path_entry("tensioner (back)")
    ('tensioner', True)
    """
    match = re.fullmatch(r"(.*?)\s*\(\s*back\s*\)", entry, flags=re.IGNORECASE)
    return (match.group(1), True) if match else (entry.strip(), False)


def belt_route(
    centres_mm: Sequence[Point], radii_mm: Sequence[float], turns: Sequence[int]
) -> Route | None:
    """Route of a belt that runs over the pulleys in this order.

    Parameters
    ----------
    centres_mm, radii_mm : sequence
        Centre and pitch radius of each pulley.
    turns : sequence of int
        +1 for a pulley that turns anticlockwise, -1 clockwise.

    Returns
    -------
    Route or None
        None if no belt can run so: pulleys overlap, or the order and the sides do not
        close to one simple loop that never crosses itself.
    """
    count = len(centres_mm)
    signed = [turn * radius for turn, radius in zip(turns, radii_mm, strict=True)]
    headings: list[float] = []
    tangents: list[tuple[Point, Point]] = []
    for i in range(count):
        j = (i + 1) % count
        span = _tangent(centres_mm[i], centres_mm[j], signed[i], signed[j])
        if span is None:
            return None
        headings.append(span[0])
        tangents.append(span[1])
    wraps = tuple((turns[i] * (headings[i] - headings[i - 1])) % _FULL_TURN for i in range(count))
    turned = sum(turn * wrap for turn, wrap in zip(turns, wraps, strict=True))
    if abs(abs(turned) - _FULL_TURN) > 1e-6:
        return None
    if any(_cross(*pair) for pair in itertools.combinations(tangents, 2)):
        return None
    spans = tuple(math.dist(*tangent) for tangent in tangents)
    arcs = sum(wrap * radius for wrap, radius in zip(wraps, radii_mm, strict=True))
    return Route(tuple(tangents), spans, wraps, sum(spans) + arcs)


def _tangent(
    start: Point, end: Point, signed_start: float, signed_end: float
) -> tuple[float, tuple[Point, Point]] | None:
    """Heading and end points of the span between two circles, None if they overlap."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    distance = math.hypot(dx, dy)
    offset = signed_end - signed_start
    if distance <= abs(offset) or distance == 0:
        return None
    # (c2 - c1) . n = distance * sin(bearing - heading) = offset
    heading = math.atan2(dy, dx) - math.asin(offset / distance)
    normal = (-math.sin(heading), math.cos(heading))
    leave = (start[0] - signed_start * normal[0], start[1] - signed_start * normal[1])
    reach = (end[0] - signed_end * normal[0], end[1] - signed_end * normal[1])
    return heading, (leave, reach)


def _cross(first: tuple[Point, Point], second: tuple[Point, Point]) -> bool:
    """Tell whether two spans cross: each has its ends on both sides of the other."""

    def side(line: tuple[Point, Point], point: Point) -> float:
        (x0, y0), (x1, y1) = line
        return (x1 - x0) * (point[1] - y0) - (y1 - y0) * (point[0] - x0)

    return (
        side(first, second[0]) * side(first, second[1]) < 0
        and side(second, first[0]) * side(second, first[1]) < 0
    )


def pitch_length_mm(reference_length_mm: float, line_differential_mm: float) -> float:
    """Pitch length of a belt from its marked (effective) length: L + 2 pi b_e. [mm]"""
    return reference_length_mm + _FULL_TURN * line_differential_mm


def belt_turn_order(driver_ratio: float, driver_pitch_mm: float, length_mm: float) -> float:
    """Turns of the belt per crankshaft turn, slip not included."""
    return driver_ratio * math.pi * driver_pitch_mm / length_mm


def belt_speed_m_s(driver_turns_per_s: float, driver_pitch_mm: float) -> float:
    """Speed of the belt. [m/s]"""
    return driver_turns_per_s * math.pi * driver_pitch_mm / 1000


def span_frequency_hz(
    length_mm: float,
    tension_n: float,
    mass_kg_per_m: float,
    speed_m_s: float = 0.0,
    mode: int = 1,
) -> float:
    """Natural frequency of a belt span, standing or running. [Hz]

    f_n = n (c^2 - v^2) / (2 L c) with c = sqrt(T / m), the axially moving string; it falls
    to zero where the belt runs as fast as its own wave, and is 0 beyond.
    """
    wave_m_s = math.sqrt(tension_n / mass_kg_per_m)
    length_m = length_mm / 1000
    return max(0.0, mode * (wave_m_s**2 - speed_m_s**2) / (2 * length_m * wave_m_s))


def span_tension_n(length_mm: float, frequency_hz: float, mass_kg_per_m: float) -> float:
    """Span tension from the first natural frequency standing: T = 4 m L^2 f^2. [N]"""
    return 4 * mass_kg_per_m * (length_mm / 1000) ** 2 * frequency_hz**2
