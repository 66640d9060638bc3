"""Parts and their bearings: what the user listed, and what follows from the drive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from acoustic.drive.bearings import (
    distinct_geometries,
    estimate_geometry,
    find_designation,
    geometry_of,
)
from acoustic.drive.drive import Bearing, BearingGeometry, Part
from acoustic.drive.faults import Faults, KeyPath, did_you_mean
from acoustic.drive.layout import BearingLayout, ComponentLayout
from acoustic.drive.places import ComponentPlace, Places
from acoustic.tables.knowledge import Knowledge
from acoustic.tables.rows import Kind, Quantity


def build_part(place: ComponentPlace, knowledge: Knowledge, faults: Faults) -> Part | None:
    """Make a part of a component, its counts checked against its kind."""
    typed = place.typed
    kind = knowledge.kind(typed.kind)
    if kind is None or not kind.listed:
        known = [kind.id for kind in knowledge.kinds.values() if kind.listed]
        near = did_you_mean(typed.kind, known, also=knowledge.aliases)
        faults.add(
            (*place.path, "kind"),
            f"{typed.kind!r} is no kind of component. {near} For anything else there is "
            'kind = "rotating accessory".',
        )
        return None
    return Part(
        name=typed.name,
        kind=kind.id,
        title=kind.title,
        shaft=place.shaft,
        pulley=place.pulley,
        quantities=read_quantities(typed, kind, place.path, faults),
        access_hours=typed.access_hours,
        special_tool=typed.special_tool,
        service_interval_km=typed.service_interval_km,
        probe_at=typed.probe_at or kind.probe_at or None,
        note=typed.note,
    )


# ------------------------------------------------------------------ counts


def read_quantities(
    typed: ComponentLayout, kind: Kind, path: KeyPath, faults: Faults
) -> Mapping[str, float]:
    """Counts of a component: as typed, then as they follow from others."""
    rows = {row.name: row for row in kind.quantity}
    given: dict[str, float] = {}
    for key, value in (typed.model_extra or {}).items():
        row = rows.get(key)
        if row is None:
            keys = [*rows, *ComponentLayout.model_fields]
            faults.add(
                (*path, key),
                f"a component of kind {kind.id!r} has no such key. {did_you_mean(key, keys)}",
            )
        elif (fault := _count_fault(value, row)) is not None:
            faults.add((*path, key), f"= {value!r}: {fault}")
        else:
            given[key] = float(value)
    return _completed(given, rows, path, faults)


def _count_fault(value: Any, row: Quantity) -> str | None:
    span = f"{row.title}: from {row.low:g} to {row.high:g}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"must be a number ({span})."
    if not row.low <= value <= row.high:
        return f"is out of range ({span})."
    if row.whole and value != int(value):
        return f"must be a whole number ({span})."
    if row.even and value % 2:
        return f"must be even ({span})."
    return None


def _completed(
    given: dict[str, float], rows: Mapping[str, Quantity], path: KeyPath, faults: Faults
) -> dict[str, float]:
    known = dict(given)
    missing = {name for name in rows if name not in known and rows[name].default is not None}
    while True:
        found = {
            name: rule.value(known)
            for name in missing
            if (rule := rows[name].default) is not None and rule.names <= known.keys()
        }
        if not found:
            break
        known |= found
        missing -= found.keys()
    for name, value in given.items():
        rule = rows[name].default
        if rows[name].identity and rule is not None and rule.names <= given.keys():
            wanted = rule.value(given)
            if wanted != value:
                faults.add(
                    (*path, name), f"= {value:g} does not fit {rule.text} = {wanted:g}; keep one."
                )
                break  # the other one of the pair would be told as well
    return known


# ------------------------------------------------------------------ bearings


def build_bearings(
    part: Part,
    typed: list[BearingLayout],
    path: KeyPath,
    kind: Kind,
    places: Places,
    found: tuple[Knowledge, Faults],
) -> Iterator[Bearing]:
    """Yield the bearings of one part."""
    knowledge, faults = found
    names: set[str] = set()
    for index, bearing in enumerate(typed):
        at: KeyPath = (*path, "bearings", index)
        if bearing.place in names:
            faults.add(
                at, f"place = {bearing.place!r} is there twice; call them front and rear, say."
            )
            continue
        names.add(bearing.place)
        variants, estimated = _variants(bearing, at, knowledge, faults)
        inner, outer = _rings(bearing, part, kind, places, (at, faults))
        if variants:
            yield Bearing(
                name=f"{part.name}, {bearing.place} bearing",
                part=part.name,
                place=bearing.place,
                variants=variants,
                inner_shaft=inner,
                outer_shaft=outer,
                estimated=estimated,
            )


def _rings(
    bearing: BearingLayout, part: Part, kind: Kind, places: Places, at: tuple[KeyPath, Faults]
) -> tuple[str | None, str | None]:
    path, faults = at
    ring = bearing.turning_ring or kind.place_ring.get(bearing.place, kind.turning_ring)
    pulley = places.pulleys.get(part.pulley or "")
    body = pulley.rim if pulley else part.shaft
    if ring == "inner":
        return part.shaft, None
    if ring == "outer":
        return None, body
    inner = bearing.inner_shaft or part.shaft
    outer = bearing.outer_shaft or body
    known = {*places.shaft_names, *(s for p in places.pulleys.values() for s in (p.shaft, p.rim))}
    for key, name in (("inner_shaft", inner), ("outer_shaft", outer)):
        if name not in known:
            faults.add((*path, key), f"{name!r} is no shaft. {did_you_mean(name, known)}")
    if inner == outer:
        faults.add(
            path,
            "both rings would turn with the same shaft and the bearing stand still in itself; "
            "name inner_shaft and outer_shaft.",
        )
    return inner, outer


def _variants(
    bearing: BearingLayout, path: KeyPath, knowledge: Knowledge, faults: Faults
) -> tuple[tuple[BearingGeometry, ...], bool]:
    """Geometries a bearing may have, and whether they are guessed from outside dimensions."""
    own = (bearing.ball_count, bearing.ball_diameter_mm, bearing.pitch_diameter_mm)
    if all(value is not None for value in own):
        return _typed_geometry(bearing, path, faults), False
    if bearing.designation is None:
        faults.add(
            path,
            'needs designation = "6203" or the like, or all of ball_count, ball_diameter_mm '
            "and pitch_diameter_mm.",
        )
        return (), False
    rows = find_designation(bearing.designation, knowledge.bearings)
    known = [geometry for row in rows if (geometry := geometry_of(row)) is not None]
    guessed: list[BearingGeometry] = []
    if bearing.ball_count is not None:
        counted = bearing.ball_count
        known = [geometry for geometry in known if geometry.ball_count == counted]
        estimates = (estimate_geometry(row, counted) for row in rows)
        guessed = [] if known else [geometry for geometry in estimates if geometry is not None]
    if not known and not guessed:
        faults.add((*path, "designation"), _not_known(bearing, bool(rows), knowledge))
    return distinct_geometries(tuple(known or guessed[:1])), bool(guessed)


def _not_known(bearing: BearingLayout, dimensions: bool, knowledge: Knowledge) -> str:
    if dimensions:
        return (
            f"the inside of {bearing.designation!r} is not published; count the balls and add "
            "ball_count, or leave the bearing out."
        )
    near = did_you_mean(str(bearing.designation), knowledge.bearings)
    if near.startswith("Known"):
        near = ""
    return (
        f"{bearing.designation!r} is not in the table of bearings; give ball_count, "
        f"ball_diameter_mm and pitch_diameter_mm, or leave the bearing out. {near}".strip()
    )


def _typed_geometry(
    bearing: BearingLayout, path: KeyPath, faults: Faults
) -> tuple[BearingGeometry, ...]:
    assert bearing.ball_count and bearing.ball_diameter_mm and bearing.pitch_diameter_mm  # noqa: S101 - the caller looked
    # Balls on the pitch circle must have room beside each other.
    if bearing.ball_count * bearing.ball_diameter_mm > 3.1416 * bearing.pitch_diameter_mm:
        faults.add(
            (*path, "ball_count"),
            f"{bearing.ball_count} balls of {bearing.ball_diameter_mm:g} mm do not fit on a "
            f"pitch circle of {bearing.pitch_diameter_mm:g} mm; measure again.",
        )
        return ()
    return (
        BearingGeometry(
            designation=bearing.designation or "by geometry",
            ball_count=bearing.ball_count,
            ball_diameter_mm=bearing.ball_diameter_mm,
            pitch_diameter_mm=bearing.pitch_diameter_mm,
            contact_angle_deg=bearing.contact_angle_deg,
            source="given in the layout",
        ),
    )
