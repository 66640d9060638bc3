"""Which lines of a mechanism can be heard at a speed, and which tell it from another.

A line is of use where it lies above the phone's limit and off the engine's comb at the
resolution of the analysis. It tells one mechanism from another where no shift within the
tolerance of both lays all such lines onto lines of the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.casework.clip_length import FEWEST_TURNS, family_sd, least_apart, turns_to_part
from acoustic.drive.drive import Drive, ExpectedFamily, ExpectedLine
from acoustic.drive.hiding import PHONE_LIMIT_HZ, line_spacing, nearest_engine_order

Floats = NDArray[np.float64]

_LIKELY = 0.5
_POSSIBLE = 0.2
_FAR_APART_ORDER = 1.0  # where the other has no line at all; any segment parts these


@dataclass(frozen=True, slots=True, eq=False)
class Audible:
    """A family's lines as a recording may show them.

    Attributes
    ----------
    clear : tuple of ExpectedLine
        Likely lines off the engine's comb.
    masked : tuple of ExpectedLine
        Likely lines on it: hidden at every speed.
    possible : (ndarray, ndarray)
        Orders of all lines that may well show, of the sound and of its envelope.
    noises, likely_noises : frozenset of str
        What it may, and what it likely makes beside lines.
    sd : float
        Relative standard deviation of the place of its lines. [-]
    """

    family: ExpectedFamily
    clear: tuple[ExpectedLine, ...]
    masked: tuple[ExpectedLine, ...]
    possible: tuple[Floats, Floats]
    noises: frozenset[str]
    likely_noises: frozenset[str]
    sd: float

    def heard_at(self, rpm: float) -> tuple[ExpectedLine, ...]:
        """Likely lines that a phone can take up at this crankshaft speed."""
        return tuple(line for line in self.clear if rpm >= lowest_rpm(line))

    @property
    def hidden(self) -> bool:
        """Whether all it could show lies on the engine's comb."""
        return bool(self.masked) and not self.clear and not self.noises


@dataclass(frozen=True, slots=True)
class Telling:
    """A line that tells a mechanism from another, or a noise where `line` is None.

    `segment_turns` are the turns of the crankshaft in one segment that part it from the
    nearest line of the other.
    """

    family: ExpectedFamily
    line: ExpectedLine | None
    segment_turns: int


def lowest_rpm(line: ExpectedLine) -> float:
    """Crankshaft speed from which a phone passes a line; 0 for one of the envelope.

    A line of the envelope is how often a high sound swells: every phone passes that.
    """
    return 0.0 if line.in_envelope else 60.0 * PHONE_LIMIT_HZ / line.order


def audible(drive: Drive, family: ExpectedFamily) -> Audible:
    """What of a family can be heard in this drive."""
    likely = [line for line in family.lines if line.probability >= _LIKELY]
    masked = [line for line in likely if _on_the_comb(drive, family, line)]
    possible = [line for line in family.lines if line.probability >= _POSSIBLE]
    orders = [
        np.array([line.order for line in possible if line.in_envelope == realm], dtype=np.float64)
        for realm in (False, True)
    ]
    return Audible(
        family=family,
        clear=tuple(line for line in likely if line not in masked),
        masked=tuple(masked),
        possible=(orders[0], orders[1]),
        noises=frozenset(made.noise for made in family.noises),
        likely_noises=frozenset(m.noise for m in family.noises if m.probability >= _LIKELY),
        sd=family_sd(drive, family),
    )


def find_telling(one: Audible, other: Audible, rpm: float) -> Telling | None:
    """What of one mechanism the other could not show at this speed, or None.

    Of several lines the one that stands farthest from any of the other's.
    """
    heard = one.heard_at(rpm)
    if heard and not _imitated(one, other, heard):
        gaps = [_gap(line, other) for line in heard]
        best = int(np.argmax(gaps))
        turns = max(FEWEST_TURNS, turns_to_part(gaps[best]))
        return Telling(one.family, heard[best], turns)
    if one.likely_noises - other.noises:
        return Telling(one.family, None, FEWEST_TURNS)
    return None


def _on_the_comb(drive: Drive, family: ExpectedFamily, line: ExpectedLine) -> bool:
    if family.lags:  # it lies below its nominal order, nobody knows how far
        return False
    return nearest_engine_order(drive, line.order, family.locked) is not None


def _imitated(one: Audible, other: Audible, heard: Sequence[ExpectedLine]) -> bool:
    """Whether one common shift lays every heard line onto a line of the other."""
    orders = np.array([line.order for line in heard])
    targets = [other.possible[line.in_envelope] for line in heard]
    spacing = np.array([line_spacing(order) for order in orders])
    farthest = least_apart(one.sd, other.sd)
    wanted = [np.log(t / order) for order, t in zip(orders, targets, strict=True) if t.size]
    shifts = np.concatenate([np.array([-farthest, 0.0, farthest]), *wanted])
    shifts = shifts[np.abs(shifts) <= farthest]
    onto = np.ones(shifts.size, dtype=bool)
    for order, target, least in zip(orders, targets, spacing, strict=True):
        if not target.size:
            return False
        apart = np.abs(order * np.exp(shifts)[:, None] - target[None, :]).min(axis=1)
        onto &= apart < least
    return bool(onto.any())


def _gap(line: ExpectedLine, other: Audible) -> float:
    """Distance to the nearest line of the other, in orders; lines fused count as one bin."""
    target = other.possible[line.in_envelope]
    if not target.size:
        return _FAR_APART_ORDER
    return min(
        _FAR_APART_ORDER,
        max(float(np.abs(target - line.order).min()), line_spacing(line.order)),
    )
