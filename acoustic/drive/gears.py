"""Gear trains, chains and toothed belts: ratio, mesh, hunting tooth, chain turn.

Mesh frequency is teeth times speed, the same for every wheel of a train. The same pair of
teeth meets again after lcm(z1, z2) meshes: f_HT = f_mesh / lcm(z1, z2), and the assembly
phase frequency is f_mesh / gcd(z1, z2) (Winterton's and Foiles's articles, abstracts read).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GearTrain:
    """A train from a driving wheel over idler wheels to a driven one.

    All orders are per turn of the driving wheel.

    Attributes
    ----------
    ratio : float
        Driven speed over driving speed.
    sense : int
        +1 if the driven wheel turns as the driving one, -1 against it.
    mesh : float
        Tooth mesh order.
    turns : tuple of float
        Speed of every wheel, idlers included.
    hunting : tuple of float
        Hunting-tooth order of every mesh along the train.
    assembly_phases : tuple of int
        gcd of the teeth of every mesh; 1 for a hunting set.
    """

    ratio: float
    sense: int
    mesh: float
    turns: tuple[float, ...]
    hunting: tuple[float, ...]
    assembly_phases: tuple[int, ...]


def gear_train(teeth: Sequence[int]) -> GearTrain:
    """Work out a train of gears from its tooth counts, driving wheel first.

    Examples
    --------
    >>> gear_train([48, 37, 32]).ratio
    1.5
    """
    first = float(teeth[0])
    pairs = list(itertools.pairwise(teeth))
    return GearTrain(
        ratio=first / teeth[-1],
        sense=-1 if len(pairs) % 2 else 1,
        mesh=first,
        turns=tuple(first / count for count in teeth),
        hunting=tuple(first / math.lcm(a, b) for a, b in pairs),
        assembly_phases=tuple(math.gcd(a, b) for a, b in pairs),
    )


def chain_turn(driver_teeth: int, links: int) -> float:
    """Turns of a chain or toothed belt per turn of the driving sprocket."""
    return driver_teeth / links
