"""What is believed of all parts together, and how further evidence changes it.

Parts are not independent: two that fit the same tones are seldom both faulty. So the belief
is kept as sets of faulty parts with their weight, and within each part as shares of its
mechanisms. Levels at several points, loads switched on and off and hand checks each come as
a likelihood per part and mechanism, and change it by Bayes' rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NEGLIGIBLE = 1e-9
"""Sets of less weight are left out: they could not come back by any hand check."""

_KEPT = 1e-6
"""Sets and mechanisms of less weight are not kept in a record."""


@dataclass(frozen=True, slots=True)
class PartLikelihood:
    """How likely a finding is, given the state of one part.

    Attributes
    ----------
    healthy : float
        Likelihood if the part is sound; any scale, the same for all states of the part.
    faulty : float
        Likelihood if it is faulty by a mechanism that `by_mechanism` does not name.
    by_mechanism : mapping of str to float
        Likelihood by mechanism id.
    """

    healthy: float = 1.0
    faulty: float = 1.0
    by_mechanism: Mapping[str, float] = field(default_factory=dict)

    def of(self, mechanism: str) -> float:
        """Likelihood if the part is faulty by this mechanism."""
        return self.by_mechanism.get(mechanism, self.faulty)


@dataclass(frozen=True, slots=True)
class Belief:
    """Sets of faulty parts with their probability, and each part's mechanisms.

    Attributes
    ----------
    parts : tuple of str
    sets : tuple of (tuple of int, float)
        Indices of the faulty parts and P(exactly these are faulty); the probabilities sum
        to 1. The empty set stands for "no listed part".
    mechanisms : tuple of mapping of str to float
        Per part P(mechanism | the part is faulty), by mechanism id.
    """

    parts: tuple[str, ...]
    sets: tuple[tuple[tuple[int, ...], float], ...]
    mechanisms: tuple[Mapping[str, float], ...]

    @property
    def faulty(self) -> Floats:
        """P(faulty) per part, shape (parts,)."""
        total = np.zeros(len(self.parts))
        for chosen, weight in self.sets:
            total[list(chosen)] += weight
        return np.minimum(total, 1.0)

    @property
    def uncertainty_nat(self) -> float:
        """Entropy of which parts are faulty. [nat]

        Shannon (1948); 0 is certainty.
        """
        weights = np.array([weight for _, weight in self.sets if weight > 0.0])
        return float(-np.sum(weights * np.log(weights)))

    def probability(self, likelihoods: Mapping[str, PartLikelihood]) -> float:
        """P(finding) under this belief, on the scale of `likelihoods`."""
        return float(sum(self._reweighed(likelihoods)))

    def updated(self, likelihoods: Mapping[str, PartLikelihood]) -> Belief:
        """The belief after a finding, by Bayes' rule.

        Parts that `likelihoods` does not name are untouched by it. A finding that is
        impossible under every set leaves the belief as it was.
        """
        weights = self._reweighed(likelihoods)
        total = sum(weights)
        if not total > 0.0:
            return self
        sets = tuple(
            (chosen, weight / total)
            for (chosen, _), weight in zip(self.sets, weights, strict=True)
            if weight > _NEGLIGIBLE * total
        )
        mechanisms = tuple(
            _shared_out(shares, likelihoods[part]) if part in likelihoods else shares
            for part, shares in zip(self.parts, self.mechanisms, strict=True)
        )
        return Belief(self.parts, sets, mechanisms)

    def as_values(self) -> dict[str, Any]:
        """Plain values for a record: parts by name, sets without those of next to no weight."""
        return {
            "parts": list(self.parts),
            "sets": [
                {"faulty": [self.parts[k] for k in chosen], "probability": weight}
                for chosen, weight in sorted(self.sets, key=lambda one: -one[1])
                if weight > _KEPT
            ],
            "mechanisms": {
                part: {name: share for name, share in shares.items() if share > _KEPT}
                for part, shares in zip(self.parts, self.mechanisms, strict=True)
            },
        }

    @classmethod
    def from_values(cls, values: Mapping[str, Any]) -> Belief:
        """The belief of a record; its weights are made to sum to 1 again.

        Raises
        ------
        KeyError, TypeError, ValueError
            If the values are not those of a belief.
        """
        parts = tuple(str(part) for part in values["parts"])
        sets = [
            (tuple(parts.index(name) for name in one["faulty"]), float(one["probability"]))
            for one in values["sets"]
        ]
        total = sum(weight for _, weight in sets)
        if not total > 0.0:
            raise ValueError("the sets of a belief have no weight")
        mechanisms = tuple(
            {str(name): float(share) for name, share in values["mechanisms"][part].items()}
            for part in parts
        )
        return cls(parts, tuple((chosen, weight / total) for chosen, weight in sets), mechanisms)

    def _reweighed(self, likelihoods: Mapping[str, PartLikelihood]) -> list[float]:
        named = {self.parts.index(part): one for part, one in likelihoods.items()}
        on = {k: _if_faulty(self.mechanisms[k], one) for k, one in named.items()}
        weights = []
        for chosen, weight in self.sets:
            for k, one in named.items():
                weight *= on[k] if k in chosen else one.healthy
            weights.append(weight)
        return weights


def _if_faulty(shares: Mapping[str, float], likelihood: PartLikelihood) -> float:
    total = sum(shares.values())
    if not total > 0.0:
        return likelihood.faulty
    return sum(share * likelihood.of(name) for name, share in shares.items()) / total


def _shared_out(shares: Mapping[str, float], likelihood: PartLikelihood) -> Mapping[str, float]:
    weighed = {name: share * likelihood.of(name) for name, share in shares.items()}
    total = sum(weighed.values())
    return {name: one / total for name, one in weighed.items()} if total > 0.0 else shares
