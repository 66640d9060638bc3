"""Trains of events in a family's envelope lines: how often they come, and what swells them.

A table lists lines; a bearing does not make lines, it makes knocks. Lines of one formula
are harmonics of one train; two lines evenly about a harmonic say that the train swells
once per half their distance, as a ring turns through the load.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from acoustic.drive.drive import ExpectedLine

HARMONIC = re.compile(r"^(.*), (\d+)(?:st|nd|rd|th) harmonic$")
SAME_ORDER = 1e-6


@dataclass(frozen=True, slots=True)
class Train:
    """Events that come in step with a shaft.

    Attributes
    ----------
    label : str
    order : float
        Events per crankshaft turn, without slip: the lowest harmonic of the formula.
    lines : tuple of ExpectedLine
        Its harmonics, lowest first.
    turn_order : float or None
        How often per crankshaft turn it swells; None if it does not.
    turn_probability : float
        Chance that it does.
    """

    label: str
    order: float
    lines: tuple[ExpectedLine, ...]
    turn_order: float | None = None
    turn_probability: float = 0.0

    @property
    def probability(self) -> float:
        """Chance of its likeliest line."""
        return max(line.probability for line in self.lines)


def find_trains(lines: Iterable[ExpectedLine]) -> tuple[Train, ...]:
    """Sort envelope lines into trains; side lines and the turn they stand for are no trains.

    Examples
    --------
    >>> lines = [ExpectedLine(order, label, 0.5, 0.0, False, "impacts") for order, label in
    ...     [(5.0, "race"), (10.0, "race, 2nd harmonic"), (4.0, "less"), (6.0, "plus")]]
    >>> [(train.order, train.turn_order) for train in find_trains(lines)]
    [(5.0, 1.0)]
    """
    by_label: dict[str, list[ExpectedLine]] = {}
    for line in sorted(lines, key=lambda line: line.order):
        named = HARMONIC.match(line.label)
        by_label.setdefault(named.group(1) if named else line.label, []).append(line)
    plain = [Train(label, found[0].order, tuple(found)) for label, found in by_label.items()]
    sides = {train.label: _swelling(train, plain) for train in plain}
    used = {label for found in sides.values() for pair in found for label in pair[2]}
    turns = [spacing for found in sides.values() for spacing, _, _ in found]
    trains = [
        Train(train.label, train.order, train.lines, *_strongest(sides[train.label]))
        for train in plain
        if train.label not in used and not any(_same(train.order, turn) for turn in turns)
    ]
    return tuple(trains)


Swelling = tuple[float, float, tuple[str, str]]


def _swelling(train: Train, others: list[Train]) -> list[Swelling]:
    """Pairs of other trains evenly about a harmonic of this one: spacing, chance, labels."""
    single = [other for other in others if other is not train and len(other.lines) == 1]
    found: list[Swelling] = []
    for low, high in combinations(single, 2):
        centre, spacing = (low.order + high.order) / 2, abs(high.order - low.order) / 2
        about = any(_same(centre, line.order) for line in train.lines)
        if about and spacing < train.order:
            chance = max(low.probability, high.probability)
            found.append((spacing, chance, (low.label, high.label)))
    return found


def _strongest(found: list[Swelling]) -> tuple[float | None, float]:
    if not found:
        return None, 0.0
    spacing, chance, _ = max(found, key=lambda pair: pair[1])
    return spacing, chance


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=SAME_ORDER)


def choose_train(trains: tuple[Train, ...], rng: np.random.Generator) -> Train:
    """Draw one of the trains by their chances."""
    weights = np.array([train.probability for train in trains])
    return trains[int(rng.choice(len(trains), p=weights / weights.sum()))]
