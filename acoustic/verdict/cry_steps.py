"""Which mechanism's turn the short cries of the recordings keep step with.

In the envelope a cry once a turn and a knock once a turn make the same lines. But a knock
is no cry: where cries were found and come once a turn of a pulley or of the belt, what cries
there once a turn accounts for that, and what knocks does not. Cries in step with nothing say
nothing here: what chirps may do so in no step too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Engine, ExpectedLine
from acoustic.evidence.chirps import ChirpTrain
from acoustic.evidence.impact_locking import ShaftRange, shaft_locking
from acoustic.verdict.claims import CRIES, Claim, VoiceTable, cry_order
from acoustic.verdict.sources import Realm, Voice
from acoustic.verdict.unknowns import BeltOffset, ShaftGroup

Floats = NDArray[np.float64]

_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class CryStepSettings:
    """When cries are in step with a mechanism, and what that is worth.

    Counted on 373 made recordings of the layouts for tuning, those of
    tests/trial/count_cry_steps.py. Of cries once a turn at or above 0 dB in band that came
    slower than 24 a second, 27 of 30 kept step with their own mechanism; of faster ones 4 of
    59, and in 49 of those nothing spoke for cries at all. Of 74 recordings with cries that no
    turn makes, 46 of them chirps in no step and 11 of knocks, none kept step with anything:
    (27 / 30) / (0.5 / 75) is 135, of which 100 are taken.

    Attributes
    ----------
    most_chance : float
        Cries out of step crowd like this at most so often.
    alike : float
        The logarithm of that chance is at least so much of the best mechanism's: cries in
        step with a shaft seem to be so with one of twice its speed as well, but less.
    tail : float
        Share of the offsets left out at each end of what is thought possible.
    own_sd : float
        Own tolerances of a mechanism's order that are looked at to both sides.
    ratio : float
        P(cries are in step with a mechanism | cries were found and it makes them) over the
        same where it does not.
    most_per_s : float
        Cries that come faster run into each other and are not found. [1/s]
    """

    most_chance: float = 1e-4
    alike: float = 0.9
    tail: float = 0.002
    own_sd: float = 2.0
    ratio: float = 100.0
    most_per_s: float = 24.0


@dataclass(frozen=True, slots=True)
class CriesInStep:
    """What cries in step say, contested like a tone.

    Attributes
    ----------
    contest : int
        Number of the contested tone it stands for.
    gains : mapping of int to float
        For each voice they keep step with, the likelihood gained.
    """

    contest: int
    gains: Mapping[int, float]

    @property
    def count(self) -> int:
        """Contests it takes: none where cries keep step with nobody."""
        return min(1, len(self.gains))

    def tables(self, voice: int, offsets: int) -> list[VoiceTable]:
        """What a voice claims of it, alike at each of so many offsets."""
        if voice not in self.gains:
            return []
        alike = np.ones((offsets, 1))
        claim = Claim(self.contest, slice(0, offsets), self.gains[voice] * alike)
        return [VoiceTable(Realm.NOISES, 0, alike, (claim,))]


def cries_in_step(
    engine: Engine,
    voices: Sequence[Voice],
    turning: tuple[Sequence[ShaftGroup], Sequence[BeltOffset]],
    trains: Sequence[ChirpTrain],
    settings: CryStepSettings,
) -> dict[int, float]:
    """Find the voices that cry once a turn and that cries keep step with.

    Parameters
    ----------
    voices : sequence of Voice
    turning : (sequence of ShaftGroup, sequence of BeltOffset)
        What the voices' groups may turn at.
    trains : sequence of ChirpTrain
        Cries of each recording in which some were found.

    Returns
    -------
    dict of int to float
        By number of the voice what its being there adds to the likelihood, relative.
    """
    crying = {v: own for v, voice in enumerate(voices) if (own := _cry_lines(voice))}
    if not crying or not trains:
        return {}
    ranges = [_range(voices[v], turning, settings) for v in crying]
    ln_chance = np.log(len(trains)) + np.min(
        [
            [np.log(max(found.p_value, _TINY)) for found in shaft_locking(train, engine, ranges)]
            for train in trains
        ],
        axis=0,
    )
    least = max(-np.log(settings.most_chance), settings.alike * float(-ln_chance.min()))
    return {
        v: max(line.probability for line in own) * (settings.ratio - 1.0)
        for (v, own), one in zip(crying.items(), ln_chance, strict=True)
        if -one >= least
    }


def _cry_lines(voice: Voice) -> tuple[ExpectedLine, ...]:
    return tuple(line for line in voice.envelope_lines if line.shows_as == CRIES)


def _range(
    voice: Voice,
    turning: tuple[Sequence[ShaftGroup], Sequence[BeltOffset]],
    settings: CryStepSettings,
) -> ShaftRange:
    """Orders at which a mechanism may cry."""
    groups, belts = turning
    group = groups[voice.group]
    below = np.cumsum(belts[group.belt].prior @ group.given_shared)
    ends = np.searchsorted(below, (settings.tail, 1.0 - settings.tail))
    low, high = group.offset[np.minimum(ends, group.offset.size - 1)]
    beside = settings.own_sd * voice.own_tolerance
    order = cry_order(voice)
    title = voice.family.mechanism if voice.family else ""
    return ShaftRange(title, order * np.exp(low - beside), order * np.exp(high + beside))
