"""From a layout to the drive as it turns, every fault of the layout told at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from acoustic.drive.belt_paths import build_belt
from acoustic.drive.drive import (
    Bearing,
    BeltGeometry,
    Drive,
    Engine,
    Part,
    PulleyGeometry,
    ShaftSpeed,
)
from acoustic.drive.engine import build_engine
from acoustic.drive.faults import Fault, Faults, KeyPath, report_of
from acoustic.drive.gears import chain_turn, gear_train
from acoustic.drive.layout import Layout, ShaftLayout
from acoustic.drive.linking import Linking
from acoustic.drive.links import link_drive
from acoustic.drive.parts import build_bearings, build_part
from acoustic.drive.places import CRANKSHAFT, PulleyPlace, find_places
from acoustic.drive.pulleys import rim_diameter_mm
from acoustic.drive.shafts import LOOSE_COUPLING_RANGE, solve_shafts, uniform_unknown
from acoustic.errors import DriveError
from acoustic.tables.knowledge import Knowledge, load_knowledge

_CLUTCH_NAMES = {"one-way": "one-way clutch", "decoupler": "decoupler"}
# Kind in the tables by how it overruns and whether its pulley drives the belt.
_CLUTCH_KINDS = {
    ("one-way", True): "overrunning drive pulley",
    ("one-way", False): "overrunning pulley",
    ("decoupler", True): "decoupler pulley",
    ("decoupler", False): "decoupler pulley",
}


def build_drive(layout: Layout, knowledge: Knowledge | None = None, where: str = "layout") -> Drive:
    """Resolve a layout into the drive as it turns.

    Parameters
    ----------
    layout : Layout
    knowledge : Knowledge, optional
        The shipped tables if left out.
    where : str
        Name of the layout for messages.

    Raises
    ------
    DriveError
        Listing every fault of the layout with its place and what to do about it.
    """
    drive, faults = resolve_drive(layout, knowledge)
    if drive is None:
        raise DriveError(report_of(faults, where, lambda _: None))
    return drive


def resolve_drive(
    layout: Layout, knowledge: Knowledge | None = None
) -> tuple[Drive | None, list[Fault]]:
    """Work like `build_drive`, but hand back the faults with the keys they sit at."""
    knowledge = knowledge if knowledge is not None else load_knowledge()
    faults = Faults()
    engine = build_engine(layout.engine, faults)
    places = find_places(layout, faults)
    linking = link_drive(layout, places, knowledge, faults)
    names_fit = not faults.found  # else what hangs on a wrong name would be told as well
    speeds = solve_shafts(linking.links, faults if names_fit else Faults())
    listed = _listed_parts(linking, faults)
    parts, bearings = _with_bearings(linking, listed)
    if faults.found:
        return None, faults.found
    belts = {name: build_belt(linking, belt, speeds, engine) for name, belt in places.belts.items()}
    parts |= {part.name: part for part in _following_parts(linking, parts, belts)}
    if faults.found:
        return None, faults.found
    linking.notes += _gaps(linking, parts, bearings)
    return _drive(linking, engine, speeds, parts, (tuple(bearings), belts)), []


def _drive(
    linking: Linking,
    engine: Engine,
    speeds: Mapping[str, ShaftSpeed],
    parts: Mapping[str, Part],
    rest: tuple[tuple[Bearing, ...], Mapping[str, BeltGeometry]],
) -> Drive:
    pulleys = linking.places.pulleys
    return Drive(
        name=linking.layout.name,
        engine=engine,
        shafts=dict(speeds),
        unknowns=linking.unknowns,
        pulleys={name: _pulley(linking, place, speeds) for name, place in pulleys.items()},
        belts=dict(rest[1]),
        bearings=rest[0],
        parts=dict(parts),
        layout=linking.layout,
        knowledge=linking.knowledge,
        notes=tuple(linking.notes),
    )


def _gaps(
    linking: Linking, parts: Mapping[str, Part], bearings: Sequence[Bearing]
) -> Iterator[str]:
    """Yield what could be predicted if more had been counted."""
    for part in parts.values():
        kind = linking.knowledge.kinds[part.kind]
        known = part.quantities.keys()
        for row in kind.mechanism:
            if (
                row.line
                and kind.listed
                and not any(line.formula.names <= known for line in row.line)
            ):
                wanted = " and ".join(sorted(row.line[0].formula.names - known))
                yield (
                    f"{part.name}: {wanted} not given, so the lines of "
                    f'"{row.title}" are not predicted. Count and add them.'
                )
    for bearing in bearings:
        counts = sorted({variant.ball_count for variant in bearing.variants})
        if len(counts) > 1:
            yield (
                f"{bearing.name}: {bearing.variants[0].designation} may hold "
                f"{' or '.join(map(str, counts))} balls, so each is looked for. Count them and "
                "add ball_count to be surer."
            )
    left_out = [typed.name for typed in linking.layout.component if typed.bearings is None]
    if left_out:
        yield (
            f"no bearings given for {', '.join(left_out)}: their race lines are not predicted. "
            "Add bearings, or bearings = [] where there are none."
        )


def _listed_parts(linking: Linking, faults: Faults) -> dict[str, Part]:
    """Parts of the components, with unknown shafts noted."""
    parts = {}
    for place in linking.places.components.values():
        part = build_part(place, linking.knowledge, faults)
        if part is not None:
            parts[part.name] = part
    return parts


def _with_bearings(
    linking: Linking, parts: dict[str, Part]
) -> tuple[dict[str, Part], list[Bearing]]:
    """Add shafts that have bearings of their own, and collect all bearings."""
    knowledge, faults = linking.knowledge, linking.faults
    bearings: list[Bearing] = []
    for place in linking.places.components.values():
        part = parts.get(place.typed.name)
        if part is not None and place.typed.bearings:
            kind = knowledge.kinds[part.kind]
            bearings += build_bearings(
                part, place.typed.bearings, place.path, kind, linking.places, (knowledge, faults)
            )
    for index, shaft in enumerate(linking.layout.shaft):
        if not shaft.bearings:
            continue
        path: KeyPath = ("shaft", index)
        if shaft.name in parts:
            faults.add(
                (*path, "name"),
                f"{shaft.name!r} is a component too, and both have bearings or lines of their "
                "own; rename one.",
            )
            continue
        kind = knowledge.kinds["shaft"]
        part = Part(shaft.name, kind.id, kind.title, shaft.name, None, {})
        parts[part.name] = part
        bearings += build_bearings(
            part, shaft.bearings, path, kind, linking.places, (knowledge, faults)
        )
    return parts, bearings


def _following_parts(
    linking: Linking, listed: Mapping[str, Part], belts: Mapping[str, BeltGeometry]
) -> Iterator[Part]:
    """Belts, gears, chains, couplings and clutches, and what every engine has, as parts."""
    kinds = linking.knowledge.kinds
    drivers = [kinds[part.kind] for part in listed.values() if part.shaft == CRANKSHAFT]
    replaced = {name for kind in drivers for name in kind.replaces}
    for kind in kinds.values():
        if kind.everywhere and kind.id not in replaced:
            yield _part(linking, kind.title, kind.id, CRANKSHAFT, {})
    for shaft in linking.layout.shaft:
        if shaft.driven_by.kind in {"gears", "chain", "toothed belt"}:
            yield _toothed_part(linking, shaft)
        elif shaft.driven_by.kind == "coupling":
            yield _coupling_part(linking, shaft)
    yield from _clutch_parts(linking)
    for belt in belts.values():
        place = linking.places.pulleys[belt.driver]
        size = linking.sizes.get(belt.driver)
        if belt.length_mm is None or size is None:
            linking.notes.append(
                f"belt {belt.name}: length not known, so the lines of the belt itself are not "
                "predicted. Add length_mm, or position_mm for every pulley of its path."
            )
            continue
        turn = math.pi * size.pitch_mm / belt.length_mm
        yield _part(linking, f"belt {belt.name}", "belt", place.rim, {"belt_turn": turn})


def _coupling_part(linking: Linking, shaft: ShaftLayout) -> Part:
    name = f"coupling to {shaft.name}"
    loose = uniform_unknown(name, "slip", LOOSE_COUPLING_RANGE, "a coupling come loose lags")
    return _part(linking, linking.know(loose), "coupling", shaft.name, {})


def _clutch_parts(linking: Linking) -> Iterator[Part]:
    """One-way clutches and decouplers, of pulleys on a belt and in the drive of a shaft."""
    for place in linking.places.pulleys.values():
        way = place.typed.overrunning
        if way != "no" and place.belt is not None:
            kind = _CLUTCH_KINDS[way, place.drives]
            part = _part(linking, f"{place.name} {_CLUTCH_NAMES[way]}", kind, place.rim, {})
            yield replace(part, pulley=place.name)
    for shaft in linking.layout.shaft:
        way = shaft.driven_by.overrunning
        if way != "no":
            name = f"{shaft.name} {_CLUTCH_NAMES[way]}"
            yield _part(linking, name, _CLUTCH_KINDS[way, False], shaft.name, {})


def _toothed_part(linking: Linking, shaft: ShaftLayout) -> Part:
    typed = shaft.driven_by
    teeth = typed.teeth or []
    train = gear_train(teeth)
    quantities = {"mesh": train.mesh, "driver_turn": 1.0, "driven_turn": train.ratio}
    if typed.links is not None:
        quantities["chain_turn"] = chain_turn(teeth[0], typed.links)
    driver = next(link.driver for link in linking.links if link.driven == shaft.name)
    return _part(linking, f"{typed.kind} to {shaft.name}", typed.kind, driver, quantities)


def _part(
    linking: Linking, name: str, kind: str, shaft: str, quantities: Mapping[str, float]
) -> Part:
    row = linking.knowledge.kinds[kind]
    if name in linking.places.components:
        path = linking.places.components[name].path
        linking.faults.add((*path, "name"), f"{name!r} is a name the drive gives itself; rename.")
    return Part(
        name=name,
        kind=kind,
        title=row.title,
        shaft=shaft,
        pulley=None,
        quantities=dict(quantities),
        probe_at=row.probe_at or None,
    )


def _pulley(
    linking: Linking, place: PulleyPlace, speeds: Mapping[str, ShaftSpeed]
) -> PulleyGeometry:
    size = linking.sizes.get(place.name)
    outside = None
    if size is not None and place.belt is not None:
        belt = linking.places.belts[place.belt].typed
        profile = linking.knowledge.belt_profiles[belt.section.lstrip("0123456789")]
        outside = rim_diameter_mm(size.pitch_mm, profile, place.back_side)
    ratio = linking.unknowns.get(f"ratio of {place.name}")
    tolerance = size.tolerance if size else ratio.sd if ratio else 0.0
    return PulleyGeometry(
        name=place.name,
        shaft=speeds[place.rim].name,
        pitch_diameter_mm=size.pitch_mm if size else None,
        outside_diameter_mm=outside,
        tolerance=tolerance,
        measured=size.measured if size else "speed ratio" if place.typed.speed_ratio else "unknown",
        back_side=place.back_side,
        overrunning=place.typed.overrunning,
        position_mm=place.typed.position_mm,
    )
