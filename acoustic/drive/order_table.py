"""The order table: every shaft, belt, gear and line of a drive, in figures for people.

A line is of use only where it can be told from others. Each row therefore says what hides
it: the engine's own orders, a line of another part, a multiple of its own shaft, or the
phone's loss of low frequencies.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from acoustic.drive.belts import belt_speed_m_s, span_frequency_hz, split_section
from acoustic.drive.drive import (
    BeltGeometry,
    Drive,
    ExpectedFamily,
    ExpectedLine,
    ShaftSpeed,
    ShowsAs,
)
from acoustic.drive.expected import expected_families
from acoustic.drive.gears import gear_train
from acoustic.drive.hiding import PlacedLine, find_hiding, order_hz, strong_lines

HELD_SPEED_RPM = 2000.0
"""A second speed to record at, where most lines clear the phone's limit."""


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
    shows_as : str
        ``"tones"`` for a line of the sound; the others are lines of its envelope.
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
    shows_as: ShowsAs = "tones"


@dataclass(frozen=True, slots=True)
class NoiseMade:
    """A noise without lines that a mechanism makes.

    `noise` is its id in the tables, `title` its name for people, `probability` the chance
    that it is heard when the mechanism is at work.
    """

    part: str
    mechanism: str
    noise: str
    title: str
    probability: float


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
    noises: tuple[NoiseMade, ...] = ()


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
        noises=_noises_made(drive),
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


# ------------------------------------------------------------------ lines


def _line_rows(drive: Drive, speeds: tuple[float, ...]) -> tuple[OrderRow, ...]:
    families = expected_families(drive)
    others = strong_lines(families)
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
    others: Sequence[PlacedLine],
) -> OrderRow:
    low, high = offset_range(drive, family.depends_on, family.own_tolerance)
    return OrderRow(
        part=family.part,
        mechanism=family.title,
        label=line.label,
        order=line.order,
        frequencies_hz=order_hz(line.order, speeds),
        low_percent=100 * math.expm1(low),
        high_percent=100 * math.expm1(high),
        probability=line.probability,
        natural=line.natural,
        hidden_by=tuple(find_hiding(drive, family, line, speeds, others)),
        source=family.source,
        shows_as=line.shows_as,
    )


def _noises_made(drive: Drive) -> tuple[NoiseMade, ...]:
    titles = drive.knowledge.noises
    return tuple(
        NoiseMade(family.part, family.title, made.noise, titles[made.noise].title, made.probability)
        for family in expected_families(drive)
        for made in family.noises
    )


# ------------------------------------------------------------------ engine, shafts, belts


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
            frequencies_hz=order_hz(order, speeds),
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
        frequencies_hz=order_hz(shaft.ratio, speeds),
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
        turn_hz=None if belt.turn_order is None else order_hz(belt.turn_order, speeds),
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
