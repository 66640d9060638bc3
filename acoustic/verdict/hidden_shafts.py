"""Tones of a shaft nobody listed: many multiples of one order that no part accounts for.

A pump left out of the layout, or one of another kind than stated, makes tones at many whole
multiples of its turn. A part that meets one of them by chance meets the next as well: what
looks like two or three lines of a worn race is one coincidence. Whether there is such a
shaft is told by the tones the part cannot make, and only by those.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.hot_tones import HotTone
from acoustic.verdict.line_likelihood import LATTICE_STEP, LineTable

Floats = NDArray[np.float64]

_HOW_OFTEN = 0.15
"""Of 26 ordinary engines recorded with a phone four showed one beyond doubt."""
_SLOWEST, _FASTEST = 0.4, 6.0
_MULTIPLES = 32
_NOT_ITS_OWN = 0.9
_LIKELIER_THAN_NOT = 0.5
_SHOWN = (0.1, 0.3, 0.6)
"""Share of its multiples that make a tone: unknown, each as likely."""
_FAR = 40.0
"""So many sd away a tone is no multiple at all: its density is less than a number can hold."""


class HiddenShaft:
    """What the tones of one recording say of a shaft nobody listed.

    Parameters
    ----------
    table : LineTable
    tones : sequence of HotTone
    rates : ndarray, shape (places,)
        Lone strangers' tones per e-fold of order.
    """

    def __init__(self, table: LineTable, tones: Sequence[HotTone], rates: Floats) -> None:
        self._turns = np.arange(np.log(_SLOWEST), np.log(_FASTEST), LATTICE_STEP)
        self._x = np.array([tone.ln_order for tone in tones])
        self._sd = np.array([tone.place_sd for tone in tones])
        self._rates = rates[[tone.place for tone in tones]]
        self._clear = np.array([tone.clear for tone in tones])
        # A tenth of the tones is clear, and only those can tell of a shaft.
        clear = self._odds_of(self._clear)
        self._told = np.stack([np.log1p(q * clear) for q in _SHOWN])
        self._missed = np.array(_SHOWN)[:, None] * self._seen_multiples(table)[None, :]

    def _odds_of(self, chosen: NDArray[np.bool_]) -> Floats:
        """Odds hidden shaft : stranger of each chosen tone for each turn, shape (chosen, turns)."""
        odds = np.zeros((np.count_nonzero(chosen), self._turns.size))
        every = zip(odds, self._x[chosen], self._sd[chosen], self._rates[chosen], strict=True)
        # Tone by tone: what one needs stays in the processor's cache, all together would not.
        for row, x, sd, rate in every:
            order = np.exp(x - self._turns)
            off = order / np.clip(np.rint(order), 1, _MULTIPLES)
            near = np.flatnonzero(np.abs(off - 1.0) < _FAR * sd)
            row[near] = np.exp(-0.5 * (np.log(off[near]) / sd) ** 2)
            row *= 1.0 / (sd * np.sqrt(2 * np.pi) * rate)
        return odds

    def _seen_multiples(self, table: LineTable) -> Floats:
        """How many multiples of each turn could have been seen."""
        places = table.place_of(self._turns[:, None] + np.log(np.arange(1, _MULTIPLES + 1)))
        return np.asarray(table.visible[places].sum(axis=1), dtype=np.float64)

    def odds(self, free: Floats, turns: Sequence[tuple[float, float]]) -> Floats:
        """How much likelier each tone is the hidden shaft's than a lone stranger's.

        Parameters
        ----------
        free : ndarray, shape (tones,)
            P(the tone is nobody's) if the part in question is faulty: what it makes itself
            says nothing of a hidden shaft.
        turns : sequence of (float, float)
            From where to where, in ln(order), that part's own lines may lie: multiples of
            those may well be its own.

        Returns
        -------
        ndarray, shape (tones,)
            0 where a hidden shaft is not likelier than none.
        """
        telling = self._clear & (free > _NOT_ITS_OWN)
        ln_ratio = telling[self._clear].astype(np.float64) @ self._told - self._missed
        for low, high in turns:
            ln_ratio[:, (self._turns >= low) & (self._turns <= high)] = -np.inf
        share = np.exp(np.minimum(ln_ratio, 600.0)) / ln_ratio.size
        posterior = _HOW_OFTEN * share / (1.0 - _HOW_OFTEN + _HOW_OFTEN * share.sum())
        if posterior.sum() < _LIKELIER_THAN_NOT:
            return np.zeros(telling.size)
        odds = self._all_odds @ (np.array(_SHOWN) @ posterior)
        return np.asarray(np.where(telling, 0.0, odds))

    @cached_property
    def _all_odds(self) -> Floats:
        """Odds of every tone, wanted only where there is such a shaft."""
        return self._odds_of(np.ones(self._clear.size, dtype=bool))
