"""Where a shaft's lines may lie: the shared unknowns of the drive as lattices.

Every shaft has an offset ``d = ln(true order / nominal order)``. It is the sum of what
it shares with the other shafts of its belt (the belt's slip, the driving pulley's
diameter) and what is its own (its pulley's diameter, an overrunning pulley). The shared
part has a lattice per belt, the own part a density per shaft, so that all pulleys of a
belt slip together and two parts on one shaft move together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from acoustic.drive.drive import Drive, ExpectedFamily

Floats = NDArray[np.float64]

OFFSET_STEP = 5e-4
SHARED_STEP = 1e-3
_SPEED_ERROR_SD = 6e-4
"""Rest of the speed's error and of a line's wander, common to all shafts."""
_SLIP_WANDER_SD = 9e-4
_CREEP = 0.0015
"""Elastic creep of a ribbed belt under load, on top of slip (common practice, no source)."""

GroupKey = tuple[tuple[tuple[str, float], ...], str | None]


@dataclass(frozen=True, slots=True, eq=False)
class BeltOffset:
    """The part of the offset that all shafts of a belt share.

    `offset` has shape (points,); `prior` sums to 1. A drive without the belt (gears,
    coupling) has one point, 0.
    """

    name: str | None
    offset: Floats
    prior: Floats


@dataclass(frozen=True, slots=True, eq=False)
class ShaftGroup:
    """Families whose offset is one and the same unknown.

    Attributes
    ----------
    belt : int
        Index of its `BeltOffset`.
    offset : ndarray, shape (offsets,)
        Lattice of d, step `OFFSET_STEP`.
    given_shared : ndarray, shape (shared points, offsets)
        P(d | shared offset), rows sum to 1.
    """

    key: GroupKey
    belt: int
    offset: Floats
    given_shared: Floats


def group_key(family: ExpectedFamily) -> GroupKey:
    """Families with the same key share their offset."""
    return tuple(sorted(family.depends_on.items())), family.belt


def shared_unknowns(families: Iterable[ExpectedFamily], belt: str | None) -> dict[str, float]:
    """Unknowns common to several shafts of a belt, with their coefficient."""
    seen: dict[tuple[str, float], set[GroupKey]] = {}
    keys = set()
    for family in families:
        if family.belt != belt:
            continue
        key = group_key(family)
        keys.add(key)
        for item in family.depends_on.items():
            seen.setdefault(item, set()).add(key)
    if belt is None:
        return {}
    most = max(1, len(keys) // 2)
    # What a majority depends on in the same way moves them all; slips always do.
    return {name: c for (name, c), where in seen.items() if len(where) > most or len(keys) == 1}


def belt_offset(
    drive: Drive, belt: str | None, shared: dict[str, float], speed_sd: float = 0.0
) -> BeltOffset:
    """Lattice and prior of what the shafts of a belt share.

    `speed_sd` is the relative sd of the speed of the first recording: an error in it moves
    all lines alike.
    """
    if belt is None or not shared:
        return BeltOffset(belt, np.zeros(1), np.ones(1))
    uniforms, variance = [], 1e-8 + speed_sd**2
    for name, coefficient in shared.items():
        unknown = drive.unknowns[name]
        if unknown.kind in ("slip", "overrun"):
            uniforms.append(sorted((coefficient * unknown.low, coefficient * unknown.high)))
        else:
            variance += (coefficient * unknown.sd) ** 2
    sd = float(np.sqrt(variance))
    low = sum(u[0] for u in uniforms) - _CREEP - 3 * sd
    high = sum(u[1] for u in uniforms) - _CREEP + 3 * sd
    offset = SHARED_STEP * np.arange(np.floor(low / SHARED_STEP), np.ceil(high / SHARED_STEP) + 1)
    prior = _density(offset, -_CREEP, sd, [(u[0], u[1]) for u in uniforms])
    return BeltOffset(belt, offset, prior / prior.sum())


def shaft_group(
    drive: Drive,
    key: GroupKey,
    belt_at: tuple[int, BeltOffset],
    shared: dict[str, float],
    speed_sd: float = 0.0,
) -> ShaftGroup:
    """Lattice of a group's offset and its density given the shared part."""
    belt_index, belt = belt_at
    variance = _SPEED_ERROR_SD**2 + (_SLIP_WANDER_SD**2 if belt.name else 0.0)
    if belt.offset.size == 1:
        variance += speed_sd**2  # no belt carries it for all its shafts
    uniforms: list[tuple[float, float]] = []
    for name, coefficient in key[0]:
        if name in shared:
            continue
        unknown = drive.unknowns[name]
        if unknown.kind in ("slip", "overrun"):
            low, high = sorted((coefficient * unknown.low, coefficient * unknown.high))
            uniforms.append((low, high))
        else:
            variance += (coefficient * unknown.sd) ** 2
    sd = float(np.sqrt(variance))
    low = belt.offset[0] - 3 * sd + sum(u[0] for u in uniforms)
    high = belt.offset[-1] + 3 * sd + sum(u[1] for u in uniforms)
    offset = OFFSET_STEP * np.arange(np.floor(low / OFFSET_STEP), np.ceil(high / OFFSET_STEP) + 1)
    own = offset[None, :] - belt.offset[:, None]
    density = _density(own, 0.0, sd, uniforms)
    return ShaftGroup(key, belt_index, offset, density / density.sum(axis=1, keepdims=True))


def _density(x: Floats, mean: float, sd: float, uniforms: list[tuple[float, float]]) -> Floats:
    """Density of a normal plus independent uniforms, at `x` (not normalised).

    One uniform is exact; several are taken as one over the sum of their ranges, smeared
    by what that overstates (two belts in series: the sum is a trapezoid).
    """
    if not uniforms:
        return np.exp(-0.5 * ((x - mean) / sd) ** 2) + 1e-300
    low, high = sum(u[0] for u in uniforms), sum(u[1] for u in uniforms)
    if len(uniforms) > 1:
        middle, half = (low + high) / 2, (high - low) / 2
        narrow = np.sqrt(sum((u[1] - u[0]) ** 2 for u in uniforms)) / 2
        low, high = middle - narrow, middle + narrow
        sd = float(np.hypot(sd, (half - narrow) / 2))
    return np.asarray(ndtr((x - mean - low) / sd) - ndtr((x - mean - high) / sd)) + 1e-300
