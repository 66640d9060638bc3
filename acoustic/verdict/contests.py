"""A voice's claims on contested tones, weighed against whoever else claims them.

All claims of a table are weighed in one go, one below the other: there are thousands of
small ones, and arithmetic on each by itself would take longer than all else in the match.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.claims import Claim

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Against:
    """What stands against a part's claims on the contested tones.

    Attributes
    ----------
    rivals : ndarray, shape (tones,)
        Strangers' and all other parts' claims.
    taken : ndarray, shape (tones,)
        What of these are the claims of parts taken as faulty. A tone they account for is
        no evidence for one part more: only what a part accounts for better counts for it.
    """

    rivals: Floats
    taken: Floats


class Contests:
    """All claims of one voice's table."""

    def __init__(self, claims: Sequence[Claim]) -> None:
        sizes = [claim.values.shape[0] for claim in claims]
        self._tones = np.array([claim.tone for claim in claims], dtype=np.intp)
        self._tone_list = [claim.tone for claim in claims]
        self._values = np.concatenate([claim.values for claim in claims])
        self._against = np.minimum(self._values, 0.0)
        self._tone_of_row = np.repeat(self._tones, sizes)
        # Where in the table each row belongs, and where each claim starts and ends.
        self._rows = np.concatenate([np.arange(one.rows.start, one.rows.stop) for one in claims])
        self._first = np.array([claim.rows.start for claim in claims], dtype=np.intp)
        self._last = np.array([claim.rows.stop for claim in claims], dtype=np.intp)
        ends = np.cumsum(sizes)
        self._starts = ends - sizes
        self._slices = [
            (claim.rows, slice(int(start), int(end)))
            for claim, start, end in zip(claims, self._starts, ends, strict=True)
        ]

    def gains(self, against: Against) -> Floats:
        """What the claims add to the likelihood of their tones, relative."""
        values, taken = self._values, against.taken[self._tones]
        if taken.any():
            more = values - against.taken[self._tone_of_row][:, None]
            values = np.maximum(more, 0.0, out=more)
            values += self._against
        return np.asarray(values / against.rivals[self._tone_of_row][:, None])

    def entered(self, steady: Floats, against: Against) -> Floats:
        """Give the table with all claims in it, shape (offsets, levels)."""
        table, factors = steady.copy(), self.gains(against)
        factors += 1.0
        for rows, own in self._slices:
            table[rows] *= factors[own]
        return table

    def masses(
        self, outer: Floats, hidden: float, against: Against
    ) -> Mapping[int, tuple[float, float]]:
        """By tone, what its claim gains, and the whole likelihood without that claim.

        Parameters
        ----------
        outer : ndarray, shape (offsets, levels)
            The table with all claims in it, times all else.
        hidden : float
            Likelihood of not showing in this table at all.
        against : Against
        """
        gains = self.gains(against)
        bare = outer[self._rows] / (1.0 + gains)
        left = np.add.reduceat(bare.sum(axis=1), self._starts)
        gained = np.add.reduceat(np.einsum("rl,rl->r", bare, gains), self._starts)
        gained *= against.rivals[self._tones]
        # The rest of the table is added up from both its ends, never taken as a difference.
        by_row = outer.sum(axis=1)
        before, after = np.zeros(by_row.size + 1), np.zeros(by_row.size + 1)
        np.cumsum(by_row, out=before[1:])
        np.cumsum(by_row[::-1], out=after[-2::-1])
        without = hidden + before[self._first] + after[self._last] + left
        both = zip(gained.tolist(), without.tolist(), strict=True)
        return dict(zip(self._tone_list, both, strict=True))
