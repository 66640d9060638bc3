"""Links over belts: from one pulley of a belt to the others, by what was measured.

Where diameters are known the ratio is that of the pitch diameters, and hangs on both of
them, on the belt's line differential and on its slip. A measured speed ratio stands by
itself. Where nothing was measured the usual ratio of the component serves, wide as it is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from acoustic.drive.belts import split_section
from acoustic.drive.faults import KeyPath
from acoustic.drive.linking import Linking, PulleySize
from acoustic.drive.places import BeltPlace, PulleyPlace
from acoustic.drive.pulleys import RATIO_TOLERANCE, diameter_tolerance, pitch_diameter_mm
from acoustic.drive.shafts import SLIP_RANGE, Link, normal_unknown, uniform_unknown
from acoustic.tables.rows import BeltProfile

_USED_LINE_DIFFERENTIAL = {"drawing", "caliper over ribs", "estimate", "not said"}


def size_pulleys(linking: Linking, belt: BeltPlace) -> None:
    """Work out the pitch diameters of a belt's pulleys."""
    profile = linking.knowledge.belt_profiles[split_section(belt.typed.section)[1]]
    for name in belt.pulleys:
        pulley = linking.places.pulleys[name]
        typed = pulley.typed
        if typed.diameter_mm is None:
            if typed.measured is not None:
                linking.faults.add(
                    (*pulley.path, "measured"), "says how, but diameter_mm is missing; add it."
                )
            continue
        measured = typed.measured or "not said"
        if _measured_so(linking, pulley, measured):
            linking.sizes[name] = _size(pulley, measured, profile)


def _measured_so(linking: Linking, pulley: PulleyPlace, measured: str) -> bool:
    path: KeyPath = (*pulley.path, "measured")
    if pulley.back_side and measured == "caliper over ribs":
        linking.faults.add(
            path,
            f"the belt's back runs on {pulley.name!r}, so it has no ribs; if it is flat, write "
            'measured = "flat back-side pulley", else take "(back)" out of the path.',
        )
        return False
    if not pulley.back_side and measured == "flat back-side pulley":
        linking.faults.add(
            path,
            f'the ribs run on {pulley.name!r}; write "{pulley.name} (back)" in the path if '
            "the belt's back runs on it.",
        )
        return False
    return True


def _size(pulley: PulleyPlace, measured: str, profile: BeltProfile) -> PulleySize:
    typed = pulley.typed
    assert typed.diameter_mm is not None  # noqa: S101 - the caller looked
    pitch = pitch_diameter_mm(typed.diameter_mm, measured, profile, pulley.back_side)
    tolerance = diameter_tolerance(pitch, measured, pulley.back_side)
    if typed.tolerance_percent is not None and typed.speed_ratio is None:
        tolerance = typed.tolerance_percent / 100
    by_line = measured in _USED_LINE_DIFFERENTIAL and not pulley.back_side
    slope = 2 * profile.line_differential_mm / pitch if by_line else 0.0
    return PulleySize(pitch, tolerance, measured, slope)


def belt_links(linking: Linking, belt: BeltPlace) -> Iterator[Link]:
    """Yield a link from the pulley whose surface speed is known to each of the others."""
    if len(belt.pulleys) < 2:
        return
    driver = linking.places.pulleys[belt.pulleys[0]]
    if driver.typed.speed_ratio is not None:
        linking.faults.add(
            (*driver.path, "speed_ratio"),
            f"{driver.name!r} drives belt {belt.typed.name!r}, so its speed follows from its "
            "shaft; give speed_ratio for a driven pulley.",
        )
    for step, name in enumerate(belt.pulleys[1:], start=1):
        link = _pulley_link(linking, belt, driver, linking.places.pulleys[name])
        if link is not None:
            yield replace(link, path=(*belt.path, "path", step))


def _pulley_link(
    linking: Linking, belt: BeltPlace, driver: PulleyPlace, pulley: PulleyPlace
) -> Link | None:
    if pulley.typed.speed_ratio is not None:
        sense = _sense_of(belt, pulley.name)
        return _measured_link(linking, driver, pulley, sense)
    if pulley.name not in linking.sizes:
        if pulley.typed.diameter_mm is not None:
            return None  # its measure does not fit its side and has been told
        return _usual_link(linking, driver, pulley, _sense_of(belt, pulley.name))
    reference = _reference(linking, belt)
    if reference is not None:
        return _size_link(linking, belt, reference, pulley)
    if driver.typed.diameter_mm is None and driver.typed.measured is None:
        linking.faults.add(
            driver.path,
            f"{driver.name!r} drives belt {belt.typed.name!r} but has no diameter_mm; give "
            "it, or the speed_ratio of a pulley whose diameter is known.",
        )
    return None


def _reference(linking: Linking, belt: BeltPlace) -> str | None:
    """Pulley whose surface speed is known: the driver, else one of measured speed."""
    if belt.pulleys[0] in linking.sizes:
        return belt.pulleys[0]
    pulleys = linking.places.pulleys
    return next(
        (n for n in belt.pulleys[1:] if n in linking.sizes and pulleys[n].typed.speed_ratio), None
    )


def _measured_link(linking: Linking, driver: PulleyPlace, pulley: PulleyPlace, sense: int) -> Link:
    ratio = pulley.typed.speed_ratio
    assert ratio is not None  # noqa: S101 - the caller looked
    percent = pulley.typed.tolerance_percent
    sd = RATIO_TOLERANCE if percent is None else percent / 100
    name = linking.know(
        normal_unknown(
            f"ratio of {pulley.name}", "ratio", sd, f"measured speed ratio: {100 * sd:g} %"
        )
    )
    phrase = f"measured at {ratio:g} times the crankshaft"
    return _absolute(driver, pulley, ratio, sense, phrase, name)


def _usual_link(
    linking: Linking, driver: PulleyPlace, pulley: PulleyPlace, sense: int
) -> Link | None:
    """Link by the usual ratio of the component's kind, wide as that is."""
    kinds = [
        linking.knowledge.kind(place.typed.kind)
        for place in linking.places.components.values()
        if place.shaft == pulley.shaft
    ]
    usual = next((kind.usual_ratio for kind in kinds if kind and kind.usual_ratio), None)
    if usual is None:
        linking.faults.add(
            pulley.path,
            f"{pulley.name!r} has neither diameter_mm nor speed_ratio; give one, and be it a "
            'rough one with measured = "estimate".',
        )
        return None
    low, high = usual
    ratio = math.sqrt(low * high)
    sd = math.log(high / low) / math.sqrt(12)
    name = linking.know(
        normal_unknown(
            f"ratio of {pulley.name}", "ratio", sd, f"not measured, usually {low:g} to {high:g}"
        )
    )
    linking.notes.append(
        f"{pulley.name}: pulley not measured, speed taken as {ratio:.2f} times the crankshaft "
        f"within {100 * sd:.0f} %. Measure its diameter to be surer."
    )
    phrase = f"not measured, about {ratio:.2f} times the crankshaft"
    return _absolute(driver, pulley, ratio, sense, phrase, name)


def _absolute(
    driver: PulleyPlace,
    pulley: PulleyPlace,
    ratio: float,
    sense: int,
    phrase: str,
    unknown: str,
) -> Link:
    return Link(
        driver=driver.rim,
        driven=pulley.rim,
        ratio=ratio,
        sense=sense,
        phrase=phrase,
        path=pulley.path,
        depends_on={unknown: 1.0},
        absolute=True,
    )


def _size_link(linking: Linking, belt: BeltPlace, reference: str, pulley: PulleyPlace) -> Link:
    """Link by pitch diameters: d_1 / d_2, on both diameters and the belt's slip."""
    name = belt.typed.name
    first, second = linking.sizes[reference], linking.sizes[pulley.name]
    depends = {
        _diameter(linking, reference): 1.0,
        _diameter(linking, pulley.name): -1.0,
    }
    slope = first.line_slope - second.line_slope
    if slope:
        depends[_line_differential(linking, belt)] = slope
    if reference == belt.pulleys[0]:
        slip = uniform_unknown(
            f"slip of belt {name}", "slip", SLIP_RANGE, "belt slip and creep, 0 to 3 %"
        )
        depends[linking.know(slip)] = -1.0
    return Link(
        driver=linking.places.pulleys[reference].rim,
        driven=pulley.rim,
        ratio=first.pitch_mm / second.pitch_mm,
        sense=_sense_of(belt, reference) * _sense_of(belt, pulley.name),
        phrase=f"belt {name}, {reference} to {pulley.name}, "
        f"pitch {first.pitch_mm:.1f} to {second.pitch_mm:.1f} mm",
        path=pulley.path,
        depends_on=depends,
        belt=name,
    )


def _sense_of(belt: BeltPlace, pulley: str) -> int:
    """+1 if a pulley of the belt turns as its driver, -1 against it."""
    return 1 if belt.back_side[belt.pulleys.index(pulley)] == belt.back_side[0] else -1


def _diameter(linking: Linking, pulley: str) -> str:
    size = linking.sizes[pulley]
    return linking.know(
        normal_unknown(
            f"diameter of {pulley}",
            "diameter",
            size.tolerance,
            f"{size.measured}: {100 * size.tolerance:.2g} %",
        )
    )


def _line_differential(linking: Linking, belt: BeltPlace) -> str:
    profile = linking.knowledge.belt_profiles[split_section(belt.typed.section)[1]]
    sd = profile.line_differential_sd_mm / profile.line_differential_mm
    return linking.know(
        normal_unknown(
            f"line differential of belt {belt.typed.name}",
            "diameter",
            sd,
            f"b_e = {profile.line_differential_mm:g} mm, published values differ",
        )
    )
