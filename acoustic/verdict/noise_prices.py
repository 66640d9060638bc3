"""Noises without lines, each heard or missed, and what a sound drive accounts for of them.

A hiss or a rattle may come from what no layout lists. What made it in one recording makes it
in the next one at that speed as well: heard six times it is no six coincidences, and missed
where it was expected it is less likely to come again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.evidence.chirps import NOISE as CHIRPS
from acoustic.evidence.findings import NoiseFinding
from acoustic.tables.rows import Noise
from acoustic.verdict.lasting import carried_over

_MOST_NAT = 8.0
"""No single noise finding counts more than this either way."""


@dataclass(frozen=True, slots=True)
class HeardNoise:
    """A noise without lines in one recording, contested like a tone.

    `gain` is what it adds to a mechanism sure to make it: (likelihood ratio of the noise
    being there - price) / price, the price being what a sound drive accounts for. A mechanism
    whose cries come more often than `most_order` per turn of the crankshaft could not have
    shown so: that nothing was found is not held against it.
    """

    noise: str
    recording: int
    contest: int
    gain: float
    most_order: float = np.inf


def heard_noises(
    rows: Mapping[str, Noise],
    findings: Sequence[Sequence[NoiseFinding]],
    speeds: Sequence[int],
    most_orders: Sequence[float],
    known: Mapping[str, float],
    first: int,
) -> list[HeardNoise]:
    """Price every noise that some mechanism may make.

    Parameters
    ----------
    rows : mapping of str to Noise
        Noises of the tables.
    findings : sequence of sequence of NoiseFinding
        Of each recording, of one drive.
    speeds : sequence of int
        The speed of each recording, by number: at another one other things make noise.
    most_orders : sequence of float
        Of each recording, how often per turn of the crankshaft cries could have been told.
    known : mapping of str to float
        ln likelihood ratio of noises in a recording of the sound drive.
    first : int
        Number of the first contest.
    """
    heard: list[HeardNoise] = []
    usual = {name: _elsewhere(row, known.get(name)) for name, row in rows.items()}
    elsewhere = {speed: dict(usual) for speed in speeds}
    for recording, found in enumerate(findings):
        here = elsewhere[speeds[recording]]
        for one in found:
            if one.noise not in rows or one.ln_ratio == 0.0:
                continue
            name, chance = one.noise, here[one.noise]
            ratio = float(np.exp(np.clip(one.ln_ratio, -_MOST_NAT, _MOST_NAT)))
            price = 1.0 - chance + chance * ratio
            here[name] = carried_over(chance * ratio / price, usual[name])
            most = most_orders[recording] if name == CHIRPS else np.inf
            gain = (ratio - price) / price
            heard.append(HeardNoise(name, recording, first + len(heard), gain, most))
    return heard


def _elsewhere(row: Noise, ln_ratio: float | None) -> float:
    """Chance that something other than a fault makes the noise."""
    if ln_ratio is None:
        return row.elsewhere
    odds = row.elsewhere / (1.0 - row.elsewhere) * np.exp(ln_ratio)
    return float(np.clip(odds / (1.0 + odds), 0.5 * row.elsewhere, 0.95))
