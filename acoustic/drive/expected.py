"""Every line the drive can make: families of orders, by part and mechanism."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain

from acoustic.drive.bearings import bearing_orders
from acoustic.drive.drive import (
    Bearing,
    BearingGeometry,
    Drive,
    ExpectedFamily,
    ExpectedLine,
    ExpectedNoise,
    Part,
    ShaftSpeed,
)
from acoustic.tables.rows import LineRow, Mechanism

_SAME_ORDER = 1e-9
# Share of the usual geometry where a designation stands for several; the rest is shared by
# the others. Common practice, no source.
_USUAL_VARIANT = 0.75
# Quantities that tell one geometry of a bearing from another; the cage hardly does.
_COUNTED = frozenset({"bpfo", "bpfi", "ball"})
# A belt creeps on the driving and the driven pulley alike, so it lags by half the slip.
_BELT_SHARE_OF_SLIP = 0.5


@dataclass(frozen=True, slots=True)
class _Carrier:
    """The speed a family scales with, in crankshaft orders."""

    shaft: str
    ratio: float
    depends_on: Mapping[str, float]
    belt: str | None
    locked: bool


def expected_families(drive: Drive) -> tuple[ExpectedFamily, ...]:
    """All families of a drive, part by part, prior weights summing to one per part."""
    families: list[ExpectedFamily] = []
    for part in sorted(drive.parts.values(), key=lambda part: part.kind == "coupling"):
        if part.kind == "coupling":
            own = list(_coupling_families(drive, part, families))
        else:
            own = list(_part_families(drive, part))
        total = sum(family.prior_weight for family in own)
        families += [
            replace(
                family,
                prior_weight=family.prior_weight / total,
                load_db=_over_a_recording(drive, family.load_db),
            )
            for family in own
        ]
    return tuple(families)


def _over_a_recording(drive: Drive, load_db: Mapping[str, float]) -> dict[str, float]:
    """What each load does to the mean level of a recording in which it is switched on. [dB]"""
    switches = drive.knowledge.switches
    return {name: switches[name].mean_change_db(change) for name, change in load_db.items()}


def _part_families(drive: Drive, part: Part) -> Iterator[ExpectedFamily]:
    kind = drive.knowledge.kinds[part.kind]
    carrier = _carrier(drive, part)
    common = drive.knowledge.every_part if kind.turns_whole else ()
    for row in (*kind.mechanism, *(row for row in common if _applies(row, drive, part))):
        family = _family(part, row, carrier, part.quantities, own_tolerance=row.own_tolerance)
        if family is not None:
            yield family
    yield from _bearing_families(drive, part)


def _applies(row: Mechanism, drive: Drive, part: Part) -> bool:
    """Whether a mechanism of whatever turns may be at work in this part."""
    if row.applies == "with a pulley":
        return part.pulley is not None
    if row.applies == "bearings not given":
        typed = next((c for c in drive.layout.component if c.name == part.name), None)
        return typed is not None and typed.bearings is None
    return True


def _coupling_families(
    drive: Drive, part: Part, families: list[ExpectedFamily]
) -> Iterator[ExpectedFamily]:
    """What a coupling shows; a loose one the lines of the shaft it drives, sitting low.

    Not their strength tells a loose one from a tight one but their place, so its lines are
    those that the parts on that shaft make whether healthy or not.
    """
    shaft = drive.shafts[part.shaft]
    tight = _carrier(drive, part)
    lags = replace(tight, depends_on={**shaft.depends_on, part.name: -1.0}, locked=False)
    carried = [family for family in families if family.shaft == part.shaft]
    sung = _merged(line for family in carried for line in family.tonal_lines if line.natural)
    low = tuple(replace(line, natural=False) for line in sung)
    for row in drive.knowledge.kinds[part.kind].mechanism:
        carrier, carried_lines = (lags, low) if row.lags else (tight, ())
        family = _family(
            part, row, carrier, part.quantities, row.own_tolerance, carried=carried_lines
        )
        if family is not None:
            yield family


def _carrier(drive: Drive, part: Part) -> _Carrier:
    shaft = drive.shafts[part.shaft]
    if part.kind != "belt":
        return _Carrier(shaft.name, shaft.ratio, shaft.depends_on, shaft.belt, shaft.locked)
    belt = drive.belts[part.name.removeprefix("belt ")]
    depends = dict(shaft.depends_on)
    for name, slope in (
        (f"diameter of {belt.driver}", 1.0),
        (f"slip of belt {belt.name}", -_BELT_SHARE_OF_SLIP),
    ):
        if name in drive.unknowns:
            depends[name] = depends.get(name, 0.0) + slope
    return _Carrier(shaft.name, shaft.ratio, depends, belt.name, False)


def _family(
    part: Part,
    row: Mechanism,
    carrier: _Carrier,
    quantities: Mapping[str, float],
    own_tolerance: float,
    *,
    carried: tuple[ExpectedLine, ...] = (),
) -> ExpectedFamily | None:
    """Family of one mechanism, or None where its counts are not known.

    `carried` are lines beside those of its own rows.
    """
    own = (line for line_row in row.line for line in _lines(line_row, quantities, carrier.ratio))
    lines = _merged(chain(carried, own))
    if not lines and not row.noise:
        return None
    return ExpectedFamily(
        part=part.name,
        mechanism=row.id,
        title=row.title,
        shaft=carrier.shaft,
        lines=lines,
        depends_on=carrier.depends_on,
        belt=carrier.belt,
        locked=carrier.locked,
        own_tolerance=own_tolerance,
        prior_weight=row.prior_weight,
        source=row.source,
        noises=tuple(ExpectedNoise(made.noise, made.probability) for made in row.noise),
        lags=row.lags,
        load_db={effect.switch: effect.change_db for effect in row.load},
    )


def _lines(row: LineRow, quantities: Mapping[str, float], ratio: float) -> Iterator[ExpectedLine]:
    if not row.formula.names <= quantities.keys():
        return
    fundamental = row.formula.value(quantities) * ratio
    if fundamental <= _SAME_ORDER:
        return
    for harmonic, chance, level in zip(
        row.harmonics, row.probability, row.relative_level_db, strict=True
    ):
        yield ExpectedLine(
            order=harmonic * fundamental,
            label=row.label if harmonic == 1 else f"{row.label}, {ordinal(harmonic)} harmonic",
            probability=chance,
            relative_level_db=level,
            natural=row.natural,
            shows_as=row.shows_as,
        )


def _merged(lines: Iterable[ExpectedLine]) -> tuple[ExpectedLine, ...]:
    """Lines in order, those at one place merged into the likeliest of them."""
    merged: list[ExpectedLine] = []
    rising = sorted(lines, key=lambda line: (line.in_envelope, line.order, -line.probability))
    for line in rising:
        if (
            merged
            and merged[-1].in_envelope == line.in_envelope
            and line.order - merged[-1].order <= _SAME_ORDER * line.order
        ):
            continue
        merged.append(line)
    return tuple(merged)


def ordinal(number: int) -> str:
    """English ordinal.

    Examples
    --------
    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 22)]
    ['1st', '2nd', '3rd', '4th', '11th', '22nd']
    """
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


# ------------------------------------------------------------------ bearings


def _bearing_families(drive: Drive, part: Part) -> Iterator[ExpectedFamily]:
    bearings = [bearing for bearing in drive.bearings if bearing.part == part.name]
    for bearing in bearings:
        shares = _variant_shares(len(bearing.variants))
        for index, (geometry, share) in enumerate(zip(bearing.variants, shares, strict=True)):
            for row in drive.knowledge.every_bearing:
                counted = any(line.formula.names & _COUNTED for line in row.line)
                if index and not counted:
                    continue
                family = _bearing_family(drive, part, bearing, geometry, row)
                if family is None:
                    continue
                place = f"/{bearing.place}" if len(bearings) > 1 else ""
                variant = f"#{index + 1}" if index else ""
                yield replace(
                    family,
                    mechanism=f"{row.id}{place}{variant}",
                    title=_bearing_title(row, bearing, geometry, len(bearings), index),
                    prior_weight=row.prior_weight * (share if counted else 1.0) / len(bearings),
                )


def _variant_shares(count: int) -> list[float]:
    if count == 1:
        return [1.0]
    return [_USUAL_VARIANT] + [(1 - _USUAL_VARIANT) / (count - 1)] * (count - 1)


def _bearing_title(
    row: Mechanism, bearing: Bearing, geometry: BearingGeometry, count: int, index: int
) -> str:
    words = [bearing.place] if count > 1 else []
    if index:
        words.append(f"as {geometry.designation}")
    return f"{row.title} ({', '.join(words)})" if words else row.title


def _bearing_family(
    drive: Drive, part: Part, bearing: Bearing, geometry: BearingGeometry, row: Mechanism
) -> ExpectedFamily | None:
    inner = drive.shafts[bearing.inner_shaft] if bearing.inner_shaft else None
    outer = drive.shafts[bearing.outer_shaft] if bearing.outer_shaft else None
    carrier, inner_turn, outer_turn = _relative_speed(inner, outer)
    if carrier is None:
        return None
    orders = bearing_orders(geometry, inner_turn, outer_turn)
    quantities = {
        "bpfo": orders.bpfo,
        "bpfi": orders.bpfi,
        "ball": 2 * orders.bsf,
        "cage": orders.cage,
        "inner_turn": abs(inner_turn),
        "outer_turn": abs(outer_turn),
    }
    tolerance = row.own_tolerance_estimated if bearing.estimated else row.own_tolerance
    family = _family(part, row, replace(carrier, ratio=1.0), quantities, tolerance)
    return family and replace(family, source=f"{row.source}; geometry: {geometry.source}")


def _relative_speed(
    inner: ShaftSpeed | None, outer: ShaftSpeed | None
) -> tuple[_Carrier | None, float, float]:
    """What the relative speed of the rings hangs on, and each ring's signed order."""
    inner_turn = inner.ratio * inner.sense if inner else 0.0
    outer_turn = outer.ratio * outer.sense if outer else 0.0
    relative = inner_turn - outer_turn
    main = inner or outer
    if main is None or abs(relative) <= _SAME_ORDER:
        return None, inner_turn, outer_turn
    if inner is None or outer is None:
        carrier = _Carrier(main.name, main.ratio, main.depends_on, main.belt, main.locked)
        return carrier, inner_turn, outer_turn
    names = {*inner.depends_on, *outer.depends_on}
    depends = {
        name: (
            inner_turn * inner.depends_on.get(name, 0.0)
            - outer_turn * outer.depends_on.get(name, 0.0)
        )
        / relative
        for name in sorted(names)
    }
    belt = main.belt if inner.belt == outer.belt else inner.belt or outer.belt
    locked = inner.locked and outer.locked
    return (
        _Carrier(main.name, main.ratio, depends, belt, locked),
        inner_turn,
        outer_turn,
    )
