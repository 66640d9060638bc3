"""Prior over how many parts are faulty, and what it makes of each part's odds."""

from __future__ import annotations

from math import comb

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

COMPLAINT = (0.25, 0.60, 0.13, 0.02)
"""P(0, 1, 2, 3 faulty parts) when somebody complains of a sound (judgement)."""
HEALTHY = (1.0,)
"""A recording of a drive known to be sound."""


def part_odds(evidence: Floats, count_prior: tuple[float, ...]) -> Floats:
    """Prior odds faulty : not faulty of each part, given the evidence on all others.

    Parts are alike beforehand; with e_t the elementary symmetric polynomials of the
    other parts' evidence ratios and f the prior over the count of n parts,
    ``odds = sum e_t f(t+1)/C(n,t+1) / sum e_t f(t)/C(n,t)``.

    Parameters
    ----------
    evidence : ndarray, shape (parts,)
        Likelihood ratio faulty : not faulty of each part.
    count_prior : tuple of float
        P(0), P(1), ... faulty parts.

    Returns
    -------
    ndarray, shape (parts,)
    """
    n = evidence.size
    most = min(len(count_prior) - 1, n)
    share = [count_prior[t] / comb(n, t) for t in range(most + 1)]
    odds = np.empty(n)
    for k in range(n):
        e = _elementary(np.delete(evidence, k), most)
        above = sum(e[t] * share[t + 1] for t in range(most))
        below = sum(e[t] * share[t] for t in range(most + 1))
        odds[k] = above / below
    return odds


def _elementary(values: Floats, degree: int) -> Floats:
    """Elementary symmetric polynomials of degree 0 to `degree`."""
    e = np.zeros(degree + 1)
    e[0] = 1.0
    for value in values:
        e[1:] += value * e[:-1]
    return e
