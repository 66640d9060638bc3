"""One realm of evidence in all recordings, and what strangers account for in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.taken import Taken
from acoustic.verdict.claims import Listening
from acoustic.verdict.clutter import (
    StrayTone,
    clutter,
    most_companion_odds,
    stranger_weights,
    stray_rate,
)
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.hot_tones import HotTone, hot_tones
from acoustic.verdict.line_likelihood import LineTable
from acoustic.verdict.sources import Realm

Floats = NDArray[np.float64]

_SAME_ORDER_SHARE = 0.02
"""Of 163 clear tones of 33 ordinary engines recorded with a phone 2 had a line there."""


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopeMatch:
    """The envelope of one recording, settled."""

    recording: int
    table: LineTable
    price: Floats
    hot: tuple[HotTone, ...]
    stray_probability: Floats


class HeardRealm:
    """One realm of all recordings, with what strangers account for in it."""

    def __init__(self, realm: Realm, recordings: list[int], tables: list[LineTable]) -> None:
        self.realm, self.recordings, self.tables = realm, recordings, tables
        self.hot = [hot_tones(table) for table in tables]
        self.hot_count = sum(map(len, self.hot))
        self.stray: list[Floats] | None = None
        self.rates: list[Floats] = []
        self.prices: list[Floats] = []
        self.strangers: Floats = np.empty(0)
        self.companions: Floats = np.zeros(self.hot_count)

    def price(self, known: Sequence[StrayTone]) -> None:
        """Work out the clutter at the rates of strangers known so far."""
        self.rates = _rates(self.tables, self.hot, self.stray, known)
        self.prices = [clutter(t, rate) for t, rate in zip(self.tables, self.rates, strict=True)]
        self.strangers = stranger_weights(self.tables, self.hot, self.rates)
        if self.realm == Realm.ENVELOPE:
            odds = [most_companion_odds(*one) for one in zip(self.hot, self.rates, strict=True)]
            self.companions = np.concatenate([np.empty(0), *odds])

    def beside(self, tones: HeardRealm) -> None:
        """Let lines of the envelope be companions of the tones at their order."""
        links = []
        for r, hot, rate in zip(self.recordings, self.hot, self.rates, strict=True):
            at = tones.recordings.index(r)
            links.append(_same_order_links(hot, rate, tones.hot[at]))
        self.strangers = self.strangers + np.concatenate([np.empty(0), *links])

    def listenings(
        self,
        first_hot: int,
        blurs: Sequence[float],
        taken: Sequence[Taken],
        combs: Sequence[CombEvidence] | None,
    ) -> list[Listening]:
        """What the voices are held against; contested tones count from `first_hot`."""
        starts = first_hot + np.cumsum([0, *map(len, self.hot)])
        return [
            Listening(
                realm=self.realm,
                recording=r,
                table=table,
                price=price,
                hot=hot,
                first_hot=int(start),
                comb=combs[r] if combs else None,
                offset_blur=blurs[r],
                taken=taken[r],
            )
            for r, table, price, hot, start in zip(
                self.recordings, self.tables, self.prices, self.hot, starts, strict=False
            )
        ]

    def settle(self, free: Floats) -> None:
        """Keep how much of each contested tone no part accounts for."""
        self.stray = np.split(free, np.cumsum([len(tones) for tones in self.hot])[:-1])

    def settled(self) -> tuple[EnvelopeMatch, ...]:
        """One value per recording."""
        rows = zip(
            self.recordings, self.tables, self.prices, self.hot, self.stray or (), strict=False
        )
        return tuple(EnvelopeMatch(*row) for row in rows)


def _rates(
    tables: Sequence[LineTable],
    hot: Sequence[tuple[HotTone, ...]],
    stray: Sequence[Floats] | None,
    known: Sequence[StrayTone],
) -> list[Floats]:
    """Rates of unexplained lines as far as they are known.

    A stranger pays once: only the recordings after the one that showed it expect it.
    """
    return [
        stray_rate(
            table,
            tones,
            None if stray is None else stray[r],
            known,
            list(zip(tables[:r], hot[:r], strict=True)),
        )
        for r, (table, tones) in enumerate(zip(tables, hot, strict=True))
    ]


def _same_order_links(lines: Sequence[HotTone], rates: Floats, tones: Sequence[HotTone]) -> Floats:
    """How much likelier a line of the envelope is a companion of a tone at its order.

    What makes a tone makes the loudness swing with it: a part that matches both by chance
    has matched one thing. So it is for whoever makes the tone, if not that part: what is
    believed of the tone so far does not enter, or one coincidence would clear the next.

    Returns
    -------
    ndarray, shape (lines,)
        Odds by which each line gains.
    """
    clear = [tone for tone in tones if tone.clear]
    if not lines or not clear:
        return np.zeros(len(lines))
    own = np.array([t.place_sd for t in lines])
    other = np.array([t.place_sd for t in clear])
    sd = np.hypot(own[:, None], other[None, :])
    apart = np.array([t.ln_order for t in lines])[:, None] - np.array([t.ln_order for t in clear])
    density = np.exp(-0.5 * (apart / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return np.asarray(_SAME_ORDER_SHARE * density.max(axis=1) / rates[[t.place for t in lines]])
