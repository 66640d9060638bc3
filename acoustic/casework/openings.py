"""Opening parts one after the other until the fault is found: in what order, for how many hours.

Where one part at most is faulty, the least expected cost has the parts opened by falling
probability per hour (the ratio rule of sequential testing: a common result, from memory),
and stops where the next opening costs more than it is likely to save. Where several may be
faulty the same rule is used step by step, on what is believed after the parts opened so far
were found sound; finding the first faulty part ends the search.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from acoustic.drive.drive import Drive
from acoustic.verdict.belief import Belief


@dataclass(frozen=True, slots=True)
class OpeningSettings:
    """What an opening is reckoned with where nothing better is known.

    Attributes
    ----------
    unknown_access_hours : float
        For a part whose layout gives no access time; common practice, no source. [h]
    unfound_hours : float
        What leaving the fault unfound counts as, work and worry: one working day, common
        practice, no source. A part is opened as long as its chance of that saves more than
        getting at it takes. [h]
    least_access_hours : float
        No opening is quicker than this. [h]
    """

    unknown_access_hours: float = 1.0
    unfound_hours: float = 8.0
    least_access_hours: float = 0.1


DEFAULT_OPENING_SETTINGS = OpeningSettings()


@dataclass(frozen=True, slots=True)
class Opening:
    """One part to be opened: P(faulty | those before it sound), hours, hours from the layout."""

    part: str
    probability: float
    hours: float
    hours_known: bool


@dataclass(frozen=True, slots=True)
class Search:
    """Parts in the order they are opened, and the hours to be expected.

    Attributes
    ----------
    working_hours : float
        Of opening, until the fault is found or all are open. [h]
    expected_hours : float
        With the probability that none of them finds the fault, those of leaving it unfound
        added: what ways are compared by. [h]
    """

    openings: tuple[Opening, ...]
    working_hours: float
    expected_hours: float


def access_hours(
    drive: Drive, part: str, settings: OpeningSettings = DEFAULT_OPENING_SETTINGS
) -> tuple[float, bool]:
    """Hours to get at a part, and whether the layout gives them. [h]"""
    given = drive.parts[part].access_hours
    hours = settings.unknown_access_hours if given is None else given
    return max(hours, settings.least_access_hours), given is not None


def best_search(
    drive: Drive, belief: Belief, settings: OpeningSettings = DEFAULT_OPENING_SETTINGS
) -> Search:
    """The order of opening with the least expected hours, and those hours."""
    hours = {part: access_hours(drive, part, settings) for part in belief.parts}
    costs = {part: given for part, (given, _) in hours.items()}
    order = ratio_order(belief, costs)
    reached, spent = 1.0, 0.0
    best, kept, worked = settings.unfound_hours, 0, 0.0
    for count, (part, probability) in enumerate(order, start=1):
        spent += reached * costs[part]
        reached *= 1.0 - probability
        if spent + reached * settings.unfound_hours < best:
            best, kept, worked = spent + reached * settings.unfound_hours, count, spent
    openings = tuple(Opening(part, chance, *hours[part]) for part, chance in order[:kept])
    return Search(openings, worked, best)


def ratio_order(belief: Belief, costs: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Parts by falling probability per cost, each with P(faulty | those before it sound).

    Parts that could not be faulty are left out.
    """
    left = list(belief.sets)
    order: list[tuple[str, float]] = []
    while True:
        faulty = [0.0] * len(belief.parts)
        for chosen, weight in left:
            for k in chosen:
                faulty[k] += weight
        likely = [k for k, weight in enumerate(faulty) if weight > 0.0]
        if not likely:
            return tuple(order)
        k = max(likely, key=lambda k: (faulty[k] / costs[belief.parts[k]], -k))
        whole = sum(weight for _, weight in left)
        order.append((belief.parts[k], faulty[k] / whole))
        left = [(chosen, weight) for chosen, weight in left if k not in chosen]
