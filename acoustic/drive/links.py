"""From typed drives to links: gears, chains, couplings, ratios, one-way clutches, belts."""

from __future__ import annotations

from acoustic.drive.belt_links import belt_links, size_pulleys
from acoustic.drive.faults import Faults, KeyPath, did_you_mean
from acoustic.drive.gears import gear_train
from acoustic.drive.layout import DrivenBy, Layout
from acoustic.drive.linking import Linking
from acoustic.drive.places import CRANKSHAFT, Places, PulleyPlace
from acoustic.drive.pulleys import RATIO_TOLERANCE
from acoustic.drive.shafts import (
    OVERRUN_RANGE,
    SLIP_RANGE,
    Link,
    normal_unknown,
    uniform_unknown,
)
from acoustic.tables.knowledge import Knowledge


def link_drive(layout: Layout, places: Places, knowledge: Knowledge, faults: Faults) -> Linking:
    """Make every link of a layout."""
    linking = Linking(layout, places, knowledge, faults, [], {}, {}, [])
    for index, shaft in enumerate(layout.shaft):
        path: KeyPath = ("shaft", index, "driven_by")
        _link_shaft(linking, shaft.name, shaft.driven_by, path)
    for pulley in places.pulleys.values():
        _link_clutch(linking, pulley)
    for belt in places.belts.values():
        size_pulleys(linking, belt)
        linking.links.extend(belt_links(linking, belt))
    return linking


def _link_shaft(linking: Linking, name: str, typed: DrivenBy, path: KeyPath) -> None:
    driver = _driver_of(linking, typed, path)
    depends: dict[str, float] = {}
    clutch = ""
    if typed.overrunning != "no":
        depends[_overrun(linking, name, typed.overrunning)] = 1.0
        clutch = " with a one-way clutch" if typed.overrunning == "one-way" else " with a decoupler"
    step = _step(linking, name, typed, path, depends)
    if step is not None:
        ratio, sense, phrase = step
        linking.links.append(
            Link(
                driver=driver,
                driven=name,
                ratio=ratio,
                sense=sense,
                phrase=f"{phrase}{clutch} from {driver}",
                path=path,
                depends_on=depends,
                locked=not depends,
            )
        )


def _driver_of(linking: Linking, typed: DrivenBy, path: KeyPath) -> str:
    places = linking.places
    if typed.from_ in places.shaft_names:
        return typed.from_
    if typed.from_ in places.pulleys:
        return places.pulleys[typed.from_].shaft
    if typed.from_ in places.components:
        return places.components[typed.from_].shaft
    known = [*places.shaft_names, *places.pulleys]
    linking.faults.add(
        (*path, "from"), f"{typed.from_!r} is no shaft. {did_you_mean(typed.from_, known)}"
    )
    return CRANKSHAFT


def _step(
    linking: Linking, name: str, typed: DrivenBy, path: KeyPath, depends: dict[str, float]
) -> tuple[float, int, str] | None:
    """Ratio, sense and phrase of a shaft's drive; adds what it hangs on to `depends`."""
    _refuse_strangers(linking, typed, path)
    if typed.kind == "coupling":
        if typed.may_slip:
            slip = uniform_unknown(
                f"slip of coupling to {name}", "slip", SLIP_RANGE, "a loose coupling may slip"
            )
            depends[linking.know(slip)] = -1.0
        return 1.0, 1, "coupling"
    if typed.kind == "ratio":
        if typed.ratio is None:
            linking.faults.add(path, 'kind = "ratio" needs ratio = the measured speed ratio.')
            return None
        sd = RATIO_TOLERANCE
        if typed.tolerance_percent is not None:
            sd = typed.tolerance_percent / 100
        if sd > 0:
            ratio = normal_unknown(
                f"ratio of {name}", "ratio", sd, f"measured speed ratio: {100 * sd:g} %"
            )
            depends[linking.know(ratio)] = 1.0
        return typed.ratio, 1, f"measured ratio {typed.ratio:g}"
    return _toothed(linking, typed, path)


def _toothed(linking: Linking, typed: DrivenBy, path: KeyPath) -> tuple[float, int, str] | None:
    teeth = typed.teeth or []
    if len(teeth) < 2 or (typed.kind != "gears" and len(teeth) != 2):
        linking.faults.add(
            path,
            f'kind = "{typed.kind}" needs teeth = [driving wheel, '
            + ("idler gears if any, " if typed.kind == "gears" else "")
            + "driven wheel].",
        )
        return None
    train = gear_train(teeth)
    counts = ":".join(str(count) for count in teeth)
    sense = train.sense if typed.kind == "gears" else 1
    return train.ratio, sense, f"{typed.kind} {counts}"


def _refuse_strangers(linking: Linking, typed: DrivenBy, path: KeyPath) -> None:
    """Refuse keys that mean nothing for this way of driving."""
    fitting = {
        "teeth": {"gears", "chain", "toothed belt"},
        "links": {"chain", "toothed belt"},
        "ratio": {"ratio"},
        "tolerance_percent": {"ratio"},
        "may_slip": {"coupling"},
    }
    for key, kinds in fitting.items():
        if getattr(typed, key) and typed.kind not in kinds:
            linking.faults.add(
                (*path, key),
                f'means nothing with kind = "{typed.kind}"; it goes with {" or ".join(kinds)}.',
            )


# ------------------------------------------------------------------ one-way clutches


def _overrun(linking: Linking, name: str, way: str) -> str:
    return linking.know(
        uniform_unknown(
            f"overrun of {name}", "overrun", OVERRUN_RANGE[way], f"{way} clutch running free"
        )
    )


def _link_clutch(linking: Linking, pulley: PulleyPlace) -> None:
    """Join body and shaft of an overrunning pulley, the driving one to the driven one."""
    way = pulley.typed.overrunning
    if way == "no" or pulley.belt is None:
        return
    driver, driven = pulley.rim, pulley.shaft
    if pulley.drives:
        driver, driven = driven, driver
    phrase = "one-way clutch" if way == "one-way" else "decoupler"
    linking.links.append(
        Link(
            driver=driver,
            driven=driven,
            ratio=1.0,
            sense=1,
            phrase=f"{phrase} in {pulley.name}",
            path=(*pulley.path, "overrunning"),
            depends_on={_overrun(linking, pulley.name, way): 1.0},
        )
    )
