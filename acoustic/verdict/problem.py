"""Everything the joint match runs over, in one value."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.claims import VoiceTable
from acoustic.verdict.song_priors import SongBeliefs
from acoustic.verdict.sources import Voice
from acoustic.verdict.speed_groups import speed_groups
from acoustic.verdict.unknowns import BeltOffset, ShaftGroup

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class MatchProblem:
    """Tables, priors and links of one drive on its recordings.

    Attributes
    ----------
    part_groups : sequence of int
        The shaft group most of each part's families turn with.
    tables : sequence of sequence of VoiceTable
        Per voice; their contested tones count through all recordings and realms.
    level_priors : sequence of ndarray
        Prior over `VOICE_LEVELS_DB`, per voice.
    envelope_levels : ndarray, shape (carriers x envelope levels,)
        Prior over the columns of the envelope tables.
    count_prior : tuple of float
        P(0), P(1), ... faulty parts.
    songs : SongBeliefs
        What is believed of the healthy parts' singing.
    fault_above_db : float
        How much louder than its song a faulty part's natural lines must be.
    offset_blur : tuple of float
        Relative sd by which each recording's offsets may differ from the first's.
    stranger : ndarray, shape (hot tones,)
        Weight of "a stranger makes it" per contested tone, 1 for a lone one. Noises
        come last.
    companions : ndarray, shape (hot tones,)
        Further weight of a stranger, per contested tone, beside a loud source of the same
        kind: one that knocks makes more lines of its envelope than any table lists.
    hidden_shafts : ndarray, shape (parts, hot tones)
        Further weight of a stranger against each part: tones of a shaft nobody listed.
    unlisted : int
        As how many parts more what the layout leaves out counts.
    evidence_share : float
        Power that a part's likelihood ratio counts with: below 1 where recordings at one
        place and speed repeat each other.
    astray : float
        Chance that what is heard means nothing for the parts: the layout is another
        drive's, or the noise is none the tables know.
    """

    belts: Sequence[BeltOffset]
    groups: Sequence[ShaftGroup]
    part_groups: Sequence[int]
    voices: Sequence[Voice]
    tables: Sequence[Sequence[VoiceTable]]
    level_priors: Sequence[Floats]
    envelope_levels: Floats
    count_prior: tuple[float, ...]
    songs: SongBeliefs
    fault_above_db: float
    offset_blur: tuple[float, ...]
    stranger: Floats
    companions: Floats
    hidden_shafts: Floats
    unlisted: int = 0
    evidence_share: float = 1.0
    astray: float = 0.0

    @property
    def part_count(self) -> int:
        """Number of parts."""
        return len(self.part_groups)

    @property
    def tone_count(self) -> int:
        """Number of contested tones over all recordings."""
        return int(self.stranger.size)


def evidence_share(
    speeds_hz: Sequence[float], places: Sequence[tuple[str, bool]], same_within: float
) -> float:
    """Share of the evidence that counts, given where and how fast recordings were taken.

    What the match has wrong of an engine at one place (its floor, its own noises) it has
    wrong in every recording there at that speed, so k of them count as the square root of k
    (judgement). Each other place or speed counts in full: on made cases for tuning six at
    three places told as much as they count for, twelve at the same three did not.

    Parameters
    ----------
    speeds_hz : sequence of float
        Mean speed of each recording. [rev/s]
    places : sequence of (str, bool)
        Part the phone was at, and whether it touched.
    same_within : float
        Relative difference of what still is one speed.

    Examples
    --------
    >>> front, pump = ("", False), ("pump", True)
    >>> evidence_share([13.0, 30.0, 13.0], [front, front, pump], 0.03)
    1.0
    >>> evidence_share([13.0] * 4, [front] * 4, 0.03)
    0.5
    """
    alike = Counter(zip(speed_groups(speeds_hz, same_within), places, strict=True))
    return float(sum(np.sqrt(count) for count in alike.values()) / max(len(speeds_hz), 1))
