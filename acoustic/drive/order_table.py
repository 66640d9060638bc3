"""The order table: every shaft, belt, gear and line of a drive, in figures for people.

A line is of use only where it can be told from others. Each row therefore says what hides
it: the engine's own orders, a line of another part, a multiple of its own shaft, or the
phone's loss of low frequencies.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from acoustic.drive.belts import belt_speed_m_s, span_frequency_hz, split_section
from acoustic.drive.drive import BeltGeometry, Drive, ExpectedFamily, ExpectedLine, ShaftSpeed
from acoustic.drive.expected import expected_families
from acoustic.drive.gears import gear_train

PHONE_LIMIT_HZ = 60.0
"""Phones' microphones and recorders take away what lies below (common practice, no source)."""
HELD_SPEED_RPM = 2000.0
"""A second speed to record at, where most lines clear the phone's limit."""
_OWN_SHAFT_WITHIN = 0.02  # search window for race lines, common practice, no source
_OWN_SHAFT_MULTIPLES = 6  # higher ones are rarely strong enough to be mistaken for a race line
_HALF_ORDERS_UP_TO = 40.0
_LIKELY = 0.5
_NAMES_SHOWN = 3
# Turns of the crankshaft in one stretch of analysis, up to each order: a Hann window parts
# two lines that lie two over that apart.
_TURNS_UP_TO = ((12.0, 64), (40.0, 32), (130.0, 16), (math.inf, 10))


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One expected line.

    Attributes
    ----------
    order : float
        Nominal, per crankshaft turn.
    frequencies_hz : tuple of float
        At each speed of the table.
    low_percent, high_percent : float
        How far the true order may lie off: two standard deviations of diameters, ratios
        and geometry, and the whole range of slip and overrun. [%]
    hidden_by : tuple of str
        Why it may not be told from something else; empty if nothing hides it.
    """

    part: str
    mechanism: str
    label: str
    order: float
    frequencies_hz: tuple[float, ...]
    low_percent: float
    high_percent: float
    probability: float
    natural: bool
    hidden_by: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class ShaftRow:
    """One shaft: how fast, which way round, and how it is driven."""

    name: str
    ratio: float
    speeds_rpm: tuple[float, ...]
    frequencies_hz: tuple[float, ...]
    turns: str
    low_percent: float
    high_percent: float
    way: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpanRow:
    """One free span of a belt; frequencies of its running string at each speed."""

    from_pulley: str
    to_pulley: str
    length_mm: float
    frequencies_hz: tuple[float, ...] | None


@dataclass(frozen=True, slots=True)
class BeltRow:
    """One belt: pitch length, how often it comes round, wrap and spans."""

    name: str
    section: str
    length_mm: float | None
    length_basis: str
    turn_order: float | None
    turn_hz: tuple[float, ...] | None
    speeds_m_s: tuple[float, ...] | None
    wrap_deg: Mapping[str, float]
    spans: tuple[SpanRow, ...]


@dataclass(frozen=True, slots=True)
class GearRow:
    """One gear train: mesh, idler wheels, and how seldom the same teeth meet.

    All orders are per crankshaft turn. `hunting_orders` has one entry a mesh; where
    `assembly_phases` is 1 every tooth meets every other (a hunting set).
    """

    name: str
    teeth: tuple[int, ...]
    mesh_order: float
    wheel_orders: tuple[float, ...]
    hunting_orders: tuple[float, ...]
    assembly_phases: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class OrderTable:
    """Everything that turns, at the speeds asked for."""

    name: str
    speeds_rpm: tuple[float, ...]
    engine: tuple[OrderRow, ...]
    shafts: tuple[ShaftRow, ...]
    belts: tuple[BeltRow, ...]
    gears: tuple[GearRow, ...]
    lines: tuple[OrderRow, ...]
    notes: tuple[str, ...]


def find_order_table(drive: Drive, rpm: float | None = None) -> OrderTable:
    """Make the whole table.

    Parameters
    ----------
    drive : Drive
    rpm : float, optional
        Crankshaft speed; if left out, mid idle and a held speed of about 2000 rpm.
    """
    speeds = table_speeds_rpm(drive, rpm)
    return OrderTable(
        name=drive.name,
        speeds_rpm=speeds,
        engine=_engine_rows(drive, speeds),
        shafts=tuple(_shaft_row(drive, shaft, speeds) for shaft in drive.shafts.values()),
        belts=tuple(_belt_row(drive, belt, speeds) for belt in drive.belts.values()),
        gears=tuple(_gear_rows(drive)),
        lines=_line_rows(drive, speeds),
        notes=drive.notes,
    )


def find_order_rows(drive: Drive, rpm: float | None = None) -> tuple[OrderRow, ...]:
    """List the lines of every part, as `find_order_table` has them."""
    return _line_rows(drive, table_speeds_rpm(drive, rpm))


def table_speeds_rpm(drive: Drive, rpm: float | None = None) -> tuple[float, ...]:
    """Speeds of the table: the one asked for, or mid idle and a held speed. [rpm]"""
    if rpm is not None:
        return (rpm,)
    idle = sum(drive.engine.idle_rpm) / 2
    held = min(HELD_SPEED_RPM, drive.engine.working_rpm[1])
    return (idle, held) if held > idle else (idle,)


def offset_range(
    drive: Drive, depends_on: Mapping[str, float], own_tolerance: float = 0.0
) -> tuple[float, float]:
    """How far ln(order) may lie from nominal: 2 sd of the normal unknowns, all of the others."""
    variance = own_tolerance**2
    low = high = 0.0
    for name, slope in depends_on.items():
        unknown = drive.unknowns[name]
        if unknown.kind in ("slip", "overrun"):
            ends = sorted((slope * unknown.low, slope * unknown.high))
            low, high = low + ends[0], high + ends[1]
        else:
            variance += (slope * unknown.sd) ** 2
    return low - 2 * math.sqrt(variance), high + 2 * math.sqrt(variance)


def line_spacing(order: float) -> float:
    """Least distance in orders at which two lines can be told apart at this order."""
    return 2 / next(turns for limit, turns in _TURNS_UP_TO if order <= limit)


# ------------------------------------------------------------------ lines


@dataclass(frozen=True, slots=True)
class _Placed:
    order: float
    part: str
    label: str


def _line_rows(drive: Drive, speeds: tuple[float, ...]) -> tuple[OrderRow, ...]:
    families = expected_families(drive)
    others = sorted(
        (
            _Placed(line.order, family.part, line.label)
            for family in families
            for line in family.lines
            if line.probability >= _LIKELY
        ),
        key=lambda placed: placed.order,
    )
    return tuple(
        _line_row(drive, family, line, speeds, others)
        for family in families
        for line in family.lines
    )


def _line_row(
    drive: Drive,
    family: ExpectedFamily,
    line: ExpectedLine,
    speeds: tuple[float, ...],
    others: Sequence[_Placed],
) -> OrderRow:
    low, high = offset_range(drive, family.depends_on, family.own_tolerance)
    return OrderRow(
        part=family.part,
        mechanism=family.title,
        label=line.label,
        order=line.order,
        frequencies_hz=_at(line.order, speeds),
        low_percent=100 * math.expm1(low),
        high_percent=100 * math.expm1(high),
        probability=line.probability,
        natural=line.natural,
        hidden_by=tuple(_hiding(drive, family, line, speeds, others)),
        source=family.source,
    )


def _hiding(
    drive: Drive,
    family: ExpectedFamily,
    line: ExpectedLine,
    speeds: tuple[float, ...],
    others: Sequence[_Placed],
) -> Iterator[str]:
    """Everything that may hide a line, each as a short phrase."""
    low = [
        rpm for rpm, hz in zip(speeds, _at(line.order, speeds), strict=True) if hz < PHONE_LIMIT_HZ
    ]
    if low:
        yield f"below {PHONE_LIMIT_HZ:.0f} Hz at {' and '.join(f'{rpm:.0f}' for rpm in low)} rpm"
    near = nearest_engine_order(drive, line.order, family.locked)
    if near is not None:
        yield _near(f"engine order {near:g}", line.order, near)
    shaft = drive.shafts[family.shaft].ratio
    if family.mechanism.startswith("bearing"):
        multiple = round(line.order / shaft)
        apart = abs(line.order / (multiple * shaft) - 1) if multiple else 1.0
        if multiple <= _OWN_SHAFT_MULTIPLES and apart < _OWN_SHAFT_WITHIN:
            yield _near(f"{multiple} times its own shaft", line.order, multiple * shaft)
    yield from _beside(family.part, line.order, others)


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


def _beside(part: str, order: float, others: Sequence[_Placed]) -> Iterator[str]:
    """Lines of other parts that cannot be told apart from this one."""
    spacing = line_spacing(order)
    start = bisect.bisect_left(others, order - spacing, key=lambda placed: placed.order)
    stop = bisect.bisect_right(others, order + spacing, key=lambda placed: placed.order)
    nearest = sorted(others[start:stop], key=lambda placed: abs(placed.order - order))
    named: dict[str, _Placed] = {}
    for placed in nearest:
        if placed.part != part:
            named.setdefault(placed.part, placed)
    for placed in list(named.values())[:_NAMES_SHOWN]:
        yield f"{placed.part}: {placed.label} ({placed.order:.3f})"
    if len(named) > _NAMES_SHOWN:
        yield f"and {len(named) - _NAMES_SHOWN} more parts"


# ------------------------------------------------------------------ engine, shafts, belts


def _at(order: float, speeds: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(order * rpm / 60 for rpm in speeds)


def _engine_rows(drive: Drive, speeds: tuple[float, ...]) -> tuple[OrderRow, ...]:
    engine = drive.engine
    cycle = "engine cycle" if engine.strokes == 4 else "crankshaft turn"
    lines = [(engine.order_step, f"{cycle} and all its multiples")]
    lines += [(k * engine.firing_order, f"firing order x {k}") for k in (1, 2, 3)]
    if engine.odd_fire:
        lines.append((1.0, "uneven firing adds orders between the firing multiples"))
    return tuple(
        OrderRow(
            part="engine",
            mechanism="firing",
            label=label,
            order=order,
            frequencies_hz=_at(order, speeds),
            low_percent=0.0,
            high_percent=0.0,
            probability=1.0,
            natural=True,
            hidden_by=(),
            source="cylinders over turns of a cycle",
        )
        for order, label in lines
    )


def _shaft_row(drive: Drive, shaft: ShaftSpeed, speeds: tuple[float, ...]) -> ShaftRow:
    low, high = offset_range(drive, shaft.depends_on)
    clockwise = (drive.engine.crank_turns == "clockwise") == (shaft.sense > 0)
    return ShaftRow(
        name=shaft.name,
        ratio=shaft.ratio,
        speeds_rpm=tuple(shaft.ratio * rpm for rpm in speeds),
        frequencies_hz=_at(shaft.ratio, speeds),
        turns="clockwise" if clockwise else "anticlockwise",
        low_percent=100 * math.expm1(low),
        high_percent=100 * math.expm1(high),
        way=shaft.way,
    )


def _belt_row(drive: Drive, belt: BeltGeometry, speeds: tuple[float, ...]) -> BeltRow:
    pulley = drive.pulleys[belt.driver]
    turns = drive.shafts[pulley.shaft].ratio
    running = None
    if pulley.pitch_diameter_mm is not None:
        running = tuple(
            belt_speed_m_s(turns * rpm / 60, pulley.pitch_diameter_mm) for rpm in speeds
        )
    return BeltRow(
        name=belt.name,
        section=belt.section,
        length_mm=belt.length_mm,
        length_basis=belt.length_basis,
        turn_order=belt.turn_order,
        turn_hz=None if belt.turn_order is None else _at(belt.turn_order, speeds),
        speeds_m_s=running,
        wrap_deg=belt.wrap_deg,
        spans=_span_rows(drive, belt, running),
    )


def _span_rows(
    drive: Drive, belt: BeltGeometry, running: tuple[float, ...] | None
) -> tuple[SpanRow, ...]:
    ribs, profile = split_section(belt.section)
    mass = ribs * drive.knowledge.belt_profiles[profile].mass_per_rib_kg_per_m
    tension = next(typed.span_tension_n for typed in drive.layout.belt if typed.name == belt.name)
    rows = []
    for span in belt.spans:
        frequencies = None
        if tension is not None and running is not None:
            frequencies = tuple(
                span_frequency_hz(span.length_mm, tension, mass, speed) for speed in running
            )
        rows.append(SpanRow(span.from_pulley, span.to_pulley, span.length_mm, frequencies))
    return tuple(rows)


def _gear_rows(drive: Drive) -> Iterator[GearRow]:
    for shaft in drive.layout.shaft:
        typed = shaft.driven_by
        if typed.kind != "gears" or typed.teeth is None:
            continue
        part = drive.parts[f"gears to {shaft.name}"]
        driver = drive.shafts[part.shaft].ratio
        train = gear_train(typed.teeth)
        yield GearRow(
            name=part.name,
            teeth=tuple(typed.teeth),
            mesh_order=train.mesh * driver,
            wheel_orders=tuple(turn * driver for turn in train.turns),
            hunting_orders=tuple(order * driver for order in train.hunting),
            assembly_phases=train.assembly_phases,
        )
