"""Who sits where: every name of a layout, its pulley, belt and shaft, checked.

A pulley body turns with the shaft it sits on, unless a one-way clutch or decoupler lies
between: then the body is a shaft of its own, ``"<pulley> rim"``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from acoustic.drive.belts import split_path_entry
from acoustic.drive.faults import Faults, KeyPath, did_you_mean
from acoustic.drive.layout import BeltLayout, ComponentLayout, Layout, PulleyBase, PulleyLayout

CRANKSHAFT = "crankshaft"


@dataclass(frozen=True, slots=True)
class PulleyPlace:
    """A pulley with the belt that runs over it.

    `shaft` is the shaft inside, `rim` the one the body turns with; `drives` is True for
    the pulley that drives its belt.
    """

    name: str
    typed: PulleyBase
    path: KeyPath
    shaft: str
    rim: str
    belt: str | None = None
    back_side: bool = False
    drives: bool = False


@dataclass(frozen=True, slots=True)
class BeltPlace:
    """A belt and the pulleys of its path that exist."""

    typed: BeltLayout
    path: KeyPath
    pulleys: tuple[str, ...]
    back_side: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class ComponentPlace:
    """A component and the shaft it turns with."""

    typed: ComponentLayout
    path: KeyPath
    shaft: str
    pulley: str | None


@dataclass(frozen=True, slots=True)
class Places:
    """Everything of a layout in its place."""

    pulleys: dict[str, PulleyPlace]
    belts: dict[str, BeltPlace]
    components: dict[str, ComponentPlace]
    shaft_names: frozenset[str]


def find_places(layout: Layout, faults: Faults) -> Places:
    """Resolve every name of a layout, noting what does not fit."""
    shafts = _shaft_names(layout, faults)
    typed = _typed_pulleys(layout, shafts, faults)
    resolver = _Resolver(layout, shafts, typed, faults)
    pulleys = {name: resolver.pulley(name) for name in typed}
    belts = _belts(layout, pulleys, faults)
    components = {
        component.name: place
        for index, component in enumerate(layout.component)
        if (place := resolver.component(index, component)) is not None
    }
    return Places(pulleys, belts, components, frozenset(shafts))


def _shaft_names(layout: Layout, faults: Faults) -> dict[str, KeyPath]:
    names: dict[str, KeyPath] = {CRANKSHAFT: ("engine",)}
    for index, shaft in enumerate(layout.shaft):
        path: KeyPath = ("shaft", index, "name")
        if shaft.name == CRANKSHAFT:
            faults.add(path, "the crankshaft is always there; leave this shaft out.")
        elif shaft.name in names:
            faults.add(path, f"{shaft.name!r} is the name of two shafts; rename one.")
        else:
            names[shaft.name] = path
    return names


def _named_pulleys(layout: Layout) -> Iterator[tuple[str, PulleyBase, KeyPath]]:
    for index, pulley in enumerate(layout.pulley):
        yield pulley.name, pulley, ("pulley", index)
    for index, component in enumerate(layout.component):
        if component.pulley is not None:
            yield component.name, component.pulley, ("component", index, "pulley")


def _typed_pulleys(
    layout: Layout, shafts: dict[str, KeyPath], faults: Faults
) -> dict[str, tuple[PulleyBase, KeyPath]]:
    pulleys: dict[str, tuple[PulleyBase, KeyPath]] = {}
    for name, typed, path in _named_pulleys(layout):
        at: KeyPath = (*path, "name") if path[0] == "pulley" else path
        if name in pulleys:
            faults.add(at, f"{name!r} is the name of two pulleys; rename one.")
        elif name in shafts and _seat(typed) != name:
            faults.add(at, f"{name!r} is the name of a shaft too; rename the pulley.")
        else:
            pulleys[name] = (typed, path)
    return pulleys


def _seat(typed: PulleyBase) -> str | None:
    return typed.on if isinstance(typed, PulleyLayout) else None


class _Resolver:
    """Follows `on` from component to pulley to shaft."""

    def __init__(
        self,
        layout: Layout,
        shafts: dict[str, KeyPath],
        typed: dict[str, tuple[PulleyBase, KeyPath]],
        faults: Faults,
    ) -> None:
        self.shafts = shafts
        self.typed = typed
        self.faults = faults
        self.components: dict[str, ComponentLayout] = {}
        for component in layout.component:
            self.components.setdefault(component.name, component)

    def shaft_of(self, name: str, path: KeyPath, seen: tuple[str, ...] = ()) -> str:
        """Shaft behind a name; the name itself, with a fault, if nothing is behind it."""
        if name in self.shafts:
            return name
        if name in seen:
            self.faults.add(path, f"{' -> '.join((*seen, name))} sits on itself; name a shaft.")
            return name
        if name in self.typed:
            seat = _seat(self.typed[name][0])
            return name if seat is None else self.shaft_of(seat, path, (*seen, name))
        component = self.components.get(name)
        if component is not None and component.on is not None:
            return self.shaft_of(component.on, path, (*seen, name))
        known = [*self.shafts, *self.typed]
        self.faults.add(path, f"{name!r} is no shaft or pulley. {did_you_mean(name, known)}")
        return name

    def pulley(self, name: str) -> PulleyPlace:
        typed, path = self.typed[name]
        shaft = self.shaft_of(name, (*path, "on"))
        free = typed.overrunning != "no"
        return PulleyPlace(name, typed, path, shaft, f"{name} rim" if free else shaft)

    def component(self, index: int, typed: ComponentLayout) -> ComponentPlace | None:
        path: KeyPath = ("component", index)
        if self.components[typed.name] is not typed:
            self.faults.add((*path, "name"), f"{typed.name!r} is listed twice; rename one.")
            return None
        if (typed.pulley is None) == (typed.on is None):
            self.faults.add(
                path,
                f"{typed.name!r} needs either on = the pulley or shaft it turns with, or "
                "pulley = { diameter_mm = ... } for one of its own, and not both.",
            )
            return None
        if typed.on is None:
            return ComponentPlace(typed, path, typed.name, typed.name)
        shaft = self.shaft_of(typed.on, (*path, "on"))
        return ComponentPlace(typed, path, shaft, typed.on if typed.on in self.typed else None)


def _belts(layout: Layout, pulleys: dict[str, PulleyPlace], faults: Faults) -> dict[str, BeltPlace]:
    belts: dict[str, BeltPlace] = {}
    for index, belt in enumerate(layout.belt):
        path: KeyPath = ("belt", index)
        if belt.name in belts:
            faults.add((*path, "name"), f"{belt.name!r} is the name of two belts; rename one.")
            continue
        on_path = _run_over(belt, path, pulleys, faults)
        names = tuple(name for name, _ in on_path)
        belts[belt.name] = BeltPlace(belt, path, names, tuple(back for _, back in on_path))
    misspelt = any(split_path_entry(e)[0] not in pulleys for b in layout.belt for e in b.path)
    for name, pulley in pulleys.items():
        if pulley.belt is None and not misspelt:
            faults.add(
                pulley.path,
                f"no belt runs over {name!r}; add it to the path of its belt.",
            )
    return belts


def _run_over(
    belt: BeltLayout, path: KeyPath, pulleys: dict[str, PulleyPlace], faults: Faults
) -> list[tuple[str, bool]]:
    """Mark the pulleys of one belt; returns those that exist, with their side."""
    on_path: list[tuple[str, bool]] = []
    for step, entry in enumerate(belt.path):
        name, back = split_path_entry(entry)
        at: KeyPath = (*path, "path", step)
        pulley = pulleys.get(name)
        if pulley is None:
            faults.add(at, f"{name!r} is no pulley. {did_you_mean(name, pulleys)}")
        elif pulley.belt == belt.name:
            faults.add(at, f"the path comes to {name!r} twice; a belt meets each pulley once.")
        elif pulley.belt is not None:
            faults.add(
                at,
                f"{name!r} is on belt {pulley.belt!r} already; where a pulley has grooves for "
                f'two belts, write two pulleys on one shaft (on = "{pulley.shaft}").',
            )
        else:
            drives = step == 0
            pulleys[name] = replace(pulley, belt=belt.name, back_side=back, drives=drives)
            on_path.append((name, back))
    return on_path
