"""What chance and strangers account for: the price every match has to pay.

A recording holds tones nobody in the layout explains (an injector, a neighbour's
machine). A part is only as suspect as its lines beat that: each place carries the
likelihood of "some stranger's tone near here", and a tone that was unexplained in one
recording is expected again, at its order or at its frequency, in the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.line_likelihood import LATTICE_STEP, LineTable

Floats = NDArray[np.float64]

WEAK_RATE = 0.2
"""Weak strays per e-fold of order; the match hardly depends on it from 0 to 1."""
FIRST_RATE = 0.3
"""Unexplained tones per e-fold before a recording has shown its own rate."""
_PERSISTENCE = 0.4
_PERSISTENCE_SD = 0.004
_HOT_RATIO = 20.0
_HOT_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class HotTone:
    """A place where some tone clearly is, whoever makes it.

    `first` to `last` are lattice places that cannot be told from its peak `place`.
    `strength` is the likelihood of a stranger's tone there at the first rate.
    """

    place: int
    first: int
    last: int
    ln_order: float
    strength: float


@dataclass(frozen=True, slots=True)
class StrayTone:
    """A tone that stayed unexplained, for the recordings that follow."""

    ln_order: float
    probability: float
    mean_speed_hz: float


def stray_rate(table: LineTable, rate: float, earlier: tuple[StrayTone, ...]) -> Floats:
    """Expected unexplained tones per e-fold of order at each place, shape (places,)."""
    rates = np.full(table.ln_order.size, rate)
    for stray in earlier:
        shift = np.log(stray.mean_speed_hz / table.mean_speed_hz)
        # A stranger either follows the engine (same order) or does not (same frequency).
        for centre in (stray.ln_order, stray.ln_order + shift):
            away = (table.ln_order - centre) / _PERSISTENCE_SD
            near = np.abs(away) < 5
            rates[near] += (
                _PERSISTENCE
                * stray.probability
                * np.exp(-0.5 * away[near] ** 2)
                / (_PERSISTENCE_SD * np.sqrt(2 * np.pi))
            )
    return rates


def clutter(table: LineTable, rates: Floats) -> Floats:
    """Likelihood ratio of chance and strangers near each place, shape (places,).

    ``1 + integral of rate (stray - 1) + weak rate (weak stray - 1)`` over the window in
    which two lines cannot be told apart.
    """
    density = LATTICE_STEP * (rates * (table.stray - 1.0) + WEAK_RATE * (table.weak_stray - 1.0))
    return np.maximum(0.05, 1.0 + _windowed_sum(density, table.half_window))


def _windowed_sum(values: Floats, half_window: NDArray[np.intp]) -> Floats:
    """Sum over ± half_window places.

    Added up place by place: the values reach 1e40, where differences of a running sum
    would leave nothing of their small neighbours.
    """
    total = np.empty_like(values)
    start = 0
    while start < values.size:
        half = int(half_window[start])
        # Windows shrink slowly with order: one width serves while it is within a tenth.
        alike = np.abs(half_window[start:] - half) <= max(0.1 * half, 0.5)
        end = start + (alike.size if alike.all() else int(np.argmin(alike)))
        first, last = max(0, start - half), min(values.size, end + half)
        padded = np.pad(values[first:last], (first - (start - half), (end + half) - last))
        windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
        total[start:end] = windows.sum(axis=1)
        start = end
    return total


def hot_tones(table: LineTable) -> tuple[HotTone, ...]:
    """Places where some tone clearly is, one per window, in rising order."""
    stray = table.stray
    candidates = np.flatnonzero(
        (stray > _HOT_RATIO)
        & (stray >= np.roll(stray, 1))
        & (stray > np.roll(stray, -1))
        & table.visible
    )
    tones: list[HotTone] = []
    taken = np.zeros(stray.size, dtype=bool)
    for place in candidates[np.argsort(-stray[candidates])]:
        if taken[place]:
            continue
        half = int(table.half_window[place])
        first, last = max(0, place - half), min(stray.size - 1, place + half)
        strength = FIRST_RATE * LATTICE_STEP * float(np.sum(stray[first : last + 1] - 1.0))
        if strength > _HOT_SHARE:
            taken[first : last + 1] = True
            tones.append(HotTone(int(place), first, last, float(table.ln_order[place]), strength))
    return tuple(sorted(tones, key=lambda tone: tone.place))


def visible_e_folds(table: LineTable) -> float:
    """Width of the visible part of the table in e-folds of order."""
    return float(table.visible.sum() * LATTICE_STEP)
