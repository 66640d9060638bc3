"""What tells two suspects apart: their lines, a speed, a load switch, a point, or only hands.

Two parts are compared way by way: a pair of ways is told apart where one of them has a line
or noise that the other could not show. What that leaves open a load switch may tell, where
it changes the two by different amounts; then the place where it is loudest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from acoustic.casework.clip_length import clip_seconds
from acoustic.casework.plan_speeds import PlanSpeeds
from acoustic.casework.plan_suspects import InQuestion, Way
from acoustic.casework.telling_lines import Audible, Telling, find_telling

ToldBy = Literal["lines", "speed", "load switch", "point", "hand check"]

Key = tuple[str, str]

NEARLY_ALL = 0.9
"""Share of two parts' ways that must be told apart for the parts to be; 5 % error each way."""
_HELPS = 0.3
"""Share of what is left open between two parts that a load switch must tell (judgement)."""
_LEAST_CHANGE_DB = 3.0
"""Least difference of two changes of level that a comparison can show. [dB]"""


@dataclass(frozen=True, slots=True)
class SharedWays:
    """A way of each part that no line or noise tells apart, with its share of the pair."""

    first: Way
    second: Way
    share: float

    @property
    def switches(self) -> Mapping[str, float]:
        """How differently each load switch changes the two, where it shows. [dB]"""
        one, other = (
            {effect.switch: effect.change_db for effect in way.row.load}
            for way in (self.first, self.second)
        )
        apart = {s: one.get(s, 0.0) - other.get(s, 0.0) for s in sorted({*one, *other})}
        return {s: change for s, change in apart.items() if abs(change) >= _LEAST_CHANGE_DB}


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Two parts compared: how much of them their lines tell apart, and what is left.

    Attributes
    ----------
    told_idle, told_any : float
        Share told apart by lines and noises at idle, and at any speed of the plan.
    telling : tuple of Telling
        What tells them apart at the slowest speed that tells nearly all; the clearest of
        each pair of ways, the hardest to part first.
    shared : tuple of SharedWays
        What is not told apart at any speed, the heaviest first.
    """

    first: InQuestion
    second: InQuestion
    told_idle: float
    told_any: float
    telling: tuple[Telling, ...]
    shared: tuple[SharedWays, ...]

    @property
    def told_at_idle(self) -> bool:
        """Whether idle alone tells nearly all."""
        return self.told_idle >= NEARLY_ALL

    @property
    def told_by_lines(self) -> bool:
        """Whether lines and noises at the speeds of the plan tell nearly all."""
        return self.told_any >= NEARLY_ALL

    @property
    def segment_turns(self) -> int:
        """Turns in one segment that part all that is told apart."""
        return max((one.segment_turns for one in self.telling), default=0)

    def helpful_switches(self) -> tuple[str, ...]:
        """Load switches that change something shared, the one that tells most first."""
        covered: dict[str, float] = {}
        for shared in self.shared:
            for switch in shared.switches:
                covered[switch] = covered.get(switch, 0.0) + shared.share
        ranked = sorted(covered, key=lambda switch: -covered[switch])
        least = _HELPS * sum(shared.share for shared in self.shared)
        return tuple(switch for switch in ranked if covered[switch] >= least)

    def told_with_switches(self) -> float:
        """Share told apart by lines at any speed and load switches together."""
        helpful = set(self.helpful_switches())
        return self.told_any + sum(one.share for one in self.shared if helpful & set(one.switches))


@dataclass(frozen=True, slots=True)
class PairAdvice:
    """What tells two suspects apart.

    Attributes
    ----------
    first, second : str
        Names of the parts.
    by : str
        ``"lines"``: at idle already; ``"speed"``: only at the held speed;
        ``"load switch"``, ``"point"``; ``"hand check"``: nothing in sound will.
    words : str
        For people.
    clip_s : float or None
        Least length of a clip that parts their lines; None where lines do not. [s]
    at_rpm : float or None
        Crankshaft speed of that clip. [1/min]
    switch : str or None
        Id of the load switch, where that tells them apart.
    """

    first: str
    second: str
    by: ToldBy
    words: str
    clip_s: float | None = None
    at_rpm: float | None = None
    switch: str | None = None


def key_of(way: Way) -> Key:
    """Part and mechanism of a way."""
    return way.family.part, way.family.mechanism


def compare_parts(
    first: InQuestion,
    second: InQuestion,
    heard: Mapping[Key, Audible],
    speeds: PlanSpeeds,
) -> Comparison:
    """Compare two parts way by way.

    Parameters
    ----------
    heard : mapping of (str, str) to Audible
        By part and mechanism, of each way of both.
    """
    idle = any_speed = 0.0
    at_idle: list[Telling] = []
    held: list[Telling] = []
    shared: list[SharedWays] = []
    for one in first.ways:
        for other in second.ways:
            share = one.weight * other.weight
            pair = heard[key_of(one)], heard[key_of(other)]
            telling = _either(*pair, speeds.idle_rpm)
            if telling is not None:
                idle, any_speed = idle + share, any_speed + share
                at_idle.append(telling)
                continue
            telling = None if speeds.held_rpm is None else _either(*pair, speeds.held_rpm)
            if telling is not None:
                any_speed += share
                held.append(telling)
            else:
                shared.append(SharedWays(one, other, share))
    told = at_idle if idle >= NEARLY_ALL else [*at_idle, *held]
    return Comparison(
        first=first,
        second=second,
        told_idle=idle,
        told_any=any_speed,
        telling=tuple(sorted(told, key=lambda one: -one.segment_turns)),
        shared=tuple(sorted(shared, key=lambda one: -one.share)),
    )


@dataclass(frozen=True, slots=True)
class PlanReach:
    """Where a probe may rest, by part, and what the steps of a plan make use of.

    `chosen` are the parts a plan records at, `switches` the loads it switches, `hidden` the
    parts of which all lines lie on the engine's comb.
    """

    probed: Mapping[str, str]
    chosen: tuple[str, ...] = ()
    switches: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()


def told_by(compared: Comparison, probed: Mapping[str, str]) -> ToldBy:
    """What tells two parts apart, the cheapest that does.

    Parameters
    ----------
    compared : Comparison
    probed : mapping of str to str
        Where a probe may rest, by part; parts without a safe place are not in it.
    """
    if compared.told_at_idle:
        return "lines"
    if compared.told_by_lines:
        return "speed"
    if compared.told_with_switches() >= NEARLY_ALL:
        return "load switch"
    return "point" if _at_two_places(compared, probed) else "hand check"


def advise(
    compared: Comparison, speeds: PlanSpeeds, reach: PlanReach, sentences: Mapping[str, str]
) -> PairAdvice:
    """Say what tells two parts apart, in the sentences of the tables."""
    first, second = compared.first.part.name, compared.second.part.name
    by = told_by(compared, reach.probed)
    clip_s = at_rpm = switch = None
    if by in ("lines", "speed"):
        at_rpm = speeds.idle_rpm if by == "lines" else speeds.highest_rpm
        clip_s = clip_seconds(compared.segment_turns, at_rpm)
    if by == "load switch":
        switch = compared.helpful_switches()[0]
    able = [part for part in (first, second) if part in reach.probed]
    at = next((part for part in able if part in reach.chosen), able[0] if able else "")
    figures = {
        "shared": _shared_words(compared.shared),
        "switch": " or ".join(compared.helpful_switches()),
        "part": at,
        "place": reach.probed.get(at, ""),
        "seconds": f"{math.ceil(clip_s or 0.0)}",
        "rpm": f"{at_rpm or 0.0:.0f}",
        "telling": _telling_words(compared.telling),
        "check": hand_check_of(compared.first, compared.shared),
    }
    words = [sentences[by].format(**figures)]
    if (by == "point" and at not in reach.chosen) or (switch and switch not in reach.switches):
        words.append(sentences["no room"])
    if by in ("lines", "speed") and compared.shared:
        words.append(sentences["left over"].format(**figures))
    words += [
        sentences["hidden"].format(part=part) for part in reach.hidden if part in (first, second)
    ]
    return PairAdvice(first, second, by, " ".join(words), clip_s, at_rpm, switch)


def _either(one: Audible, other: Audible, rpm: float) -> Telling | None:
    """Whichever of two ways has something of its own; the easier to part if both have."""
    found = [t for t in (find_telling(one, other, rpm), find_telling(other, one, rpm)) if t]
    return min(found, key=lambda telling: telling.segment_turns) if found else None


def _at_two_places(compared: Comparison, probed: Mapping[str, str]) -> bool:
    """Whether a probe can be nearer to one of the two than to the other."""
    first, second = compared.first.part, compared.second.part
    places = probed.get(first.name), probed.get(second.name)
    return any(places) and not (places[0] == places[1] and first.shaft == second.shaft)


def _shared_words(shared: Sequence[SharedWays], most: int = 2) -> str:
    """Name what lines leave open, the heaviest first, each way with its part."""
    named = []
    for one in shared:
        first, second = one.first.family, one.second.family
        if one.first.row.title == one.second.row.title:
            named.append(f"{one.first.row.title} (in either)")
        else:
            ways = ((one.first.row.title, first.part), (one.second.row.title, second.part))
            named.append(" from ".join(f"{title} ({part})" for title, part in ways))
    kept = list(dict.fromkeys(named))
    return "; ".join(kept[:most]) + ("; and others" if len(kept) > most else "")


def _telling_words(telling: Sequence[Telling]) -> str:
    """Name the line that is hardest to part, or the noise."""
    if not telling:
        return ""
    one = next((t for t in telling if t.line is not None), telling[0])
    if one.line is None:
        return f"{one.family.part}: {one.family.title}"
    return f"{one.family.part}: {one.line.label}, order {one.line.order:.2f}"


def hand_check_of(one: InQuestion, shared: Sequence[SharedWays]) -> str:
    """Check of the heaviest way the part shares with another, with its caution.

    Empty where it shares none.
    """
    for way in (way for pair in shared for way in (pair.first, pair.second)):
        if way.family.part == one.part.name:
            return f"{one.part.name}: {way.row.hand_check} Caution: {way.row.caution}"
    return ""
