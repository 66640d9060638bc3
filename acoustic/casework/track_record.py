"""How often the answers were right, over all cases whose parts were opened.

Nothing here changes an answer by itself: what a refit would change is shown with the number
of cases it rests on, and used only where somebody asks for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.belief import Belief, PartLikelihood

Floats = NDArray[np.float64]

LEAST_FOR_TEMPERATURE = 30
"""Closed cases below which no temperature is fitted: its interval would span a factor of two
(made cases; judgement)."""
LEAST_FOR_PRIORS = 30
_SHRINK = 5.0
"""Finds of a kind that what is expected counts as much as: few cases change little (judgement)."""
_BANDS = (0.0, 0.2, 0.5, 0.8, 0.95, 1.0)
_TEMPERATURES = np.exp(np.linspace(np.log(0.5), np.log(4.0), 85))


@dataclass(frozen=True, slots=True)
class ClosedCase:
    """One case that was opened: what was believed before, and what was found.

    `found` names the faulty parts; empty if what made the noise was none of the layout's.
    `kinds` gives the kind of each part, in the belief's order.
    """

    title: str
    belief: Belief
    found: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reliability:
    """Probabilities stated between two limits, and how often they came true.

    `low` and `high` bound the true share at nine tenths (Wilson 1927).
    """

    stated_from: float
    stated_to: float
    count: int
    mean_stated: float
    share_found: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TrackRecord:
    """What the closed cases say of the answers.

    Attributes
    ----------
    cases : int
    first_right : int
        Cases whose first suspect was found faulty.
    found_nothing : int
        Cases in which no part of the layout was to blame.
    brier : float
        Mean squared error of all stated probabilities (Brier 1950).
    bands : tuple of Reliability
        Bands of stated probability that hold any part.
    temperature : (float, float, float) or None
        Best temperature with its nine-tenths interval: above 1 the answers are too sure.
        None with too few cases.
    priors : mapping of str to (float, int)
        Per kind of part by how much it is found more often than stated, with the number of
        finds; empty with too few cases.
    """

    cases: int
    first_right: int
    found_nothing: int
    brier: float
    bands: tuple[Reliability, ...]
    temperature: tuple[float, float, float] | None
    priors: Mapping[str, tuple[float, int]]


def track_record(closed: Sequence[ClosedCase]) -> TrackRecord:
    """Count how often the closed cases bore the answers out."""
    rows = [_stated_and_true(one) for one in closed]
    both = np.concatenate(rows) if rows else np.empty((0, 2))
    first = sum(bool(row.size and row[np.argmax(row[:, 0]), 1]) for row in rows)
    return TrackRecord(
        cases=len(closed),
        first_right=first,
        found_nothing=sum(not one.found for one in closed),
        brier=float(np.mean((both[:, 0] - both[:, 1]) ** 2)) if both.size else float("nan"),
        bands=_bands(both),
        temperature=fit_temperature(closed),
        priors=fit_priors(closed),
    )


def fit_temperature(closed: Sequence[ClosedCase]) -> tuple[float, float, float] | None:
    """Temperature that makes what was found likeliest, with its nine-tenths interval.

    The set weights w become w^(1/T), normalised. The interval holds all T whose log
    likelihood lies within 1.35 nat of the best (chi-square of one degree of freedom).
    """
    if len(closed) < LEAST_FOR_TEMPERATURE:
        return None
    score = np.array([sum(_log_of_found(one, t) for one in closed) for t in _TEMPERATURES])
    inside = _TEMPERATURES[score >= score.max() - 1.35]
    return float(_TEMPERATURES[np.argmax(score)]), float(inside[0]), float(inside[-1])


def fit_priors(closed: Sequence[ClosedCase]) -> dict[str, tuple[float, int]]:
    """How much oftener each kind is found than was stated, drawn towards 1.

    (found + s) / (stated + s), the mean of a gamma prior of weight s about 1.
    """
    if len(closed) < LEAST_FOR_PRIORS:
        return {}
    found: dict[str, int] = {}
    stated: dict[str, float] = {}
    for one in closed:
        for kind, part, probability in zip(
            one.kinds, one.belief.parts, one.belief.faulty, strict=True
        ):
            stated[kind] = stated.get(kind, 0.0) + float(probability)
            found[kind] = found.get(kind, 0) + (part in one.found)
    return {
        kind: ((found[kind] + _SHRINK) / (stated[kind] + _SHRINK), found[kind]) for kind in found
    }


def tempered(belief: Belief, temperature: float) -> Belief:
    """The belief made less sure (above 1) or surer (below)."""
    weights = np.array([weight for _, weight in belief.sets]) ** (1.0 / temperature)
    weights /= weights.sum()
    sets = tuple((s, float(w)) for (s, _), w in zip(belief.sets, weights, strict=True))
    return Belief(belief.parts, sets, belief.mechanisms)


def with_own_record(belief: Belief, kinds: Sequence[str], record: TrackRecord) -> Belief:
    """The belief as the workshop's own closed cases would have it; unchanged by too few."""
    if record.temperature is not None:
        belief = tempered(belief, record.temperature[0])
    factors = {
        part: PartLikelihood(healthy=1.0, faulty=record.priors[kind][0])
        for part, kind in zip(belief.parts, kinds, strict=True)
        if kind in record.priors
    }
    return belief.updated(factors) if factors else belief


def _stated_and_true(one: ClosedCase) -> Floats:
    true = [part in one.found for part in one.belief.parts]
    return np.column_stack([one.belief.faulty, np.array(true, dtype=float)])


def _log_of_found(one: ClosedCase, temperature: float) -> float:
    """Log of what was stated for exactly the parts found, at a temperature. [nat]"""
    wanted = tuple(sorted(one.belief.parts.index(p) for p in one.found if p in one.belief.parts))
    weights = np.array([weight for _, weight in one.belief.sets]) ** (1.0 / temperature)
    hit = [w for (chosen, _), w in zip(one.belief.sets, weights, strict=True) if chosen == wanted]
    return float(np.log(max(sum(hit) / weights.sum(), 1e-6)))


def _bands(both: Floats) -> tuple[Reliability, ...]:
    bands = []
    for low, high in pairwise(_BANDS):
        inside = both[(both[:, 0] > low) & (both[:, 0] <= high)] if both.size else both
        if len(inside):
            share = float(inside[:, 1].mean())
            limits = wilson(share, len(inside))
            bands.append(
                Reliability(low, high, len(inside), float(inside[:, 0].mean()), share, *limits)
            )
    return tuple(bands)


def wilson(share: float, count: int, z: float = 1.645) -> tuple[float, float]:
    """Score interval of a share (Wilson, J. Am. Stat. Assoc. 22 (1927) 209), 90 % by default.

    Examples
    --------
    >>> tuple(round(x, 3) for x in wilson(0.5, 10, 1.96))
    (0.237, 0.763)
    """
    centre = (share + z**2 / (2 * count)) / (1 + z**2 / count)
    half = z * np.sqrt(share * (1 - share) / count + z**2 / (4 * count**2)) / (1 + z**2 / count)
    return max(0.0, float(centre - half)), min(1.0, float(centre + half))
