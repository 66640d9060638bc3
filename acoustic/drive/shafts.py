"""Speed of every shaft: links from the crankshaft over gears, chains, couplings and belts.

Each link carries a ratio and what its uncertainty hangs on. Unknowns are named, so that two
shafts that hang on the same one (the slip of their belt, the diameter of the pulley that
drives both) share it and never get it twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from acoustic.drive.drive import ShaftSpeed, SharedUnknown, UnknownKind
from acoustic.drive.faults import Faults, KeyPath
from acoustic.drive.places import CRANKSHAFT

# Slip and creep of a belt together: 0.5 to 1 % healthy, to 2 % under load, noisy beyond 3 %.
# Common practice, no source.
SLIP_RANGE = (0.0, 0.03)
# How much faster the free side of a one-way clutch turns on average at steady speed; a
# decoupler's spring holds it closer. Common practice, no source.
OVERRUN_RANGE = {"one-way": (0.0, 0.01), "decoupler": (0.0, 0.003)}

# How far a shaft lags whose coupling or coupling bolt has come loose. A tight one does not
# lag at all, so the range starts where the lag can be told. Common practice, no source.
LOOSE_COUPLING_RANGE = (0.004, 0.10)


@dataclass(frozen=True, slots=True)
class Link:
    """One step of the way: how `driven` turns with `driver`.

    Attributes
    ----------
    ratio : float
        Driven over driving speed; over crankshaft speed if `absolute`.
    sense : int
        +1 if both turn the same way.
    phrase : str
        The step for people.
    depends_on : mapping of str to float
        d(ln ratio) per unknown, of this step alone.
    belt : str or None
        The belt whose slip it shares.
    locked : bool
        True if the step cannot slip.
    absolute : bool
        True where the speed was measured against the crankshaft: what lies between does
        not matter, but for the sense of rotation.
    path : tuple
        Where in the layout it stands.
    """

    driver: str
    driven: str
    ratio: float
    sense: int
    phrase: str
    path: KeyPath
    depends_on: Mapping[str, float] = field(default_factory=dict)
    belt: str | None = None
    locked: bool = False
    absolute: bool = False


def uniform_unknown(
    name: str, kind: UnknownKind, span: tuple[float, float], reason: str
) -> SharedUnknown:
    """Make an unknown that lies anywhere between two limits."""
    low, high = span
    return SharedUnknown(name, kind, (high - low) / math.sqrt(12), low, high, reason)


def normal_unknown(name: str, kind: UnknownKind, sd: float, reason: str) -> SharedUnknown:
    """Make an unknown of a relative standard deviation."""
    return SharedUnknown(name, kind, sd, -3 * sd, 3 * sd, reason)


def solve_shafts(links: Iterable[Link], faults: Faults) -> dict[str, ShaftSpeed]:
    """Follow the links from the crankshaft to every shaft they reach.

    A shaft driven in two ways, and shafts that no way reaches, are faults.
    """
    told = len(faults.found)
    by_driven = _one_link_each(links, faults)
    speeds = {CRANKSHAFT: crankshaft_speed()}
    waiting = dict(by_driven)
    while ready := [link for link in waiting.values() if link.driver in speeds]:
        for link in ready:
            speeds[link.driven] = _drive(speeds[link.driver], link)
            del waiting[link.driven]
    if len(faults.found) == told:
        _note_unreached(waiting, by_driven, faults)
    return speeds


def crankshaft_speed() -> ShaftSpeed:
    """Return the crankshaft's own speed: order 1, exact."""
    return ShaftSpeed(CRANKSHAFT, 1.0, 1, (), {}, None, True)


def _one_link_each(links: Iterable[Link], faults: Faults) -> dict[str, Link]:
    by_driven: dict[str, Link] = {}
    for link in links:
        other = by_driven.get(link.driven)
        if link.driven == CRANKSHAFT:
            faults.add(
                link.path,
                "drives the crankshaft; the crankshaft drives everything else, so let the "
                "path begin with its pulley.",
            )
        elif other is not None:
            faults.add(
                link.path,
                f"{link.driven!r} is driven twice, {other.phrase} and {link.phrase}; keep one "
                "of the two.",
            )
        else:
            by_driven[link.driven] = link
    return by_driven


def _drive(driver: ShaftSpeed, link: Link) -> ShaftSpeed:
    depends = {} if link.absolute else dict(driver.depends_on)
    for name, slope in link.depends_on.items():
        depends[name] = depends.get(name, 0.0) + slope
    return ShaftSpeed(
        name=link.driven,
        ratio=link.ratio if link.absolute else driver.ratio * link.ratio,
        sense=driver.sense * link.sense,
        way=(link.phrase,) if link.absolute else (*driver.way, link.phrase),
        depends_on={k: v for k, v in depends.items() if abs(v) > 1e-12},
        belt=link.belt if link.belt or link.absolute else driver.belt,
        locked=link.locked and driver.locked,
    )


def _note_unreached(
    waiting: Mapping[str, Link], by_driven: Mapping[str, Link], faults: Faults
) -> None:
    """Note what no way leads to, once for each beginning that nothing turns."""
    told: set[str] = set()
    for link in waiting.values():
        chain = list(_upstream(link, by_driven))
        start = chain[-1]
        if start in told:
            continue
        if start in chain[:-1]:
            ring = chain[chain.index(start) :]
            told.update(ring)
            faults.add(
                link.path,
                f"the drive runs in a ring ({' <- '.join(ring)}); one of these must lead to the "
                "crankshaft.",
            )
            continue
        told.add(start)
        faults.add(
            link.path,
            f"{link.driven!r} is not reached from the crankshaft: nothing turns {start!r}. Put "
            'it on the crankshaft (on = "crankshaft"), give its shaft a driven_by, or begin the '
            "belt's path with the pulley that drives it.",
        )


def _upstream(link: Link, by_driven: Mapping[str, Link]) -> Iterator[str]:
    seen = {link.driven}
    yield link.driven
    driver = link.driver
    while True:
        yield driver
        if driver in seen or driver not in by_driven:
            return
        seen.add(driver)
        driver = by_driven[driver].driver
