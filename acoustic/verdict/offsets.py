"""What the parts tell each other about slip and diameters: shaft to belt to shaft.

References
----------
.. [1] F. R. Kschischang, B. J. Frey, H.-A. Loeliger, Factor graphs and the sum-product
   algorithm, IEEE Trans. Information Theory 47 (2001) 498-519 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.problem import MatchProblem

Floats = NDArray[np.float64]


def offset_priors(problem: MatchProblem, likelihoods: Sequence[Floats]) -> list[Floats]:
    """P(d) for each part from everything but the part itself.

    Parameters
    ----------
    likelihoods : sequence of ndarray
        Each part's likelihood over its group's offset lattice, in whatever state it is
        taken to be.

    Returns
    -------
    list of ndarray
        Per part, sums to 1.
    """
    members: list[list[int]] = [[] for _ in problem.groups]
    for part, group in enumerate(problem.part_groups):
        members[group].append(part)
    to_belt = [
        shaft.given_shared @ _product([likelihoods[k] for k in members[g]], shaft.offset.size)
        for g, shaft in enumerate(problem.groups)
    ]
    priors: list[Floats] = [np.empty(0)] * problem.part_count
    for g, shaft in enumerate(problem.groups):
        if not members[g]:
            continue
        belt = problem.belts[shaft.belt]
        beside = [
            to_belt[other]
            for other, another in enumerate(problem.groups)
            if other != g and another.belt == shaft.belt and belt.name is not None
        ]
        from_belt = belt.prior * _product(beside, belt.prior.size)
        shared = (from_belt / from_belt.sum()) @ shaft.given_shared
        for k in members[g]:
            rest = [likelihoods[m] for m in members[g] if m != k]
            weight = shared * _product(rest, shared.size)
            priors[k] = weight / weight.sum()
    return priors


def _product(factors: Sequence[Floats], size: int) -> Floats:
    """Product of likelihoods, rescaled so that it cannot vanish."""
    product = np.ones(size)
    for factor in factors:
        product = product * factor
        product = product / max(float(product.max()), 1e-300)
    return product
