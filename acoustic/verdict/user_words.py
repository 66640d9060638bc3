"""What a person says of the sound, weighed: each mechanism by the words it is told by.

The words multiply the likelihood of a mechanism; a sound drive gets 1. They tell which part,
not whether there is a fault: somebody who complains is in the prior over the number of
faulty parts already. So where they would raise the parts together, or one of them to even
odds in a recording that holds nothing, all factors are taken back alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.tables.sound_words import Complaint, words_ratio
from acoustic.verdict.fault_sets import set_share
from acoustic.verdict.sources import Voice
from acoustic.verdict.suspects import CountedWords

Floats = NDArray[np.float64]

_MOST_ODDS = 0.8
"""Odds up to which words alone may bring a part where nothing at all was heard and every
other part is ruled out: a probability of 0.44, below what is called possible (judgement)."""


@dataclass(frozen=True, slots=True)
class WeighedVoices:
    """Voices with their weights changed by what was said, and the account of it."""

    voices: tuple[Voice, ...]
    words: CountedWords


def weigh_words(
    drive: Drive,
    parts: Sequence[str],
    voices: Sequence[Voice],
    complaint: Complaint,
    prior: tuple[tuple[float, ...], int],
) -> WeighedVoices:
    """Multiply the weight of every mechanism's voice by what the words say for it.

    Parameters
    ----------
    drive : Drive
    parts : sequence of str
    voices : sequence of Voice
        Of all parts; healthy songs keep their weight.
    complaint : Complaint
    prior : (tuple of float, int)
        Prior over the number of faulty parts, and as how many parts more what the layout
        leaves out counts.
    """
    ratios = np.array([_ratio(drive, parts[v.part], v, complaint) for v in voices])
    faulty = np.array([not v.healthy for v in voices], dtype=bool)
    by_part = np.zeros(len(parts))
    for voice, ratio in zip(voices, ratios, strict=True):
        by_part[voice.part] += 0.0 if voice.healthy else voice.weight * float(ratio)
    scale = min(1.0, _most(by_part, *prior))
    factors = np.where(faulty, scale * ratios, 1.0)
    weighed = tuple(
        replace(voice, weight=voice.weight * float(factor))
        for voice, factor in zip(voices, factors, strict=True)
    )
    ranked = np.argsort(-by_part, kind="stable")
    counted = CountedWords(
        sounds=tuple(complaint.sounds),
        when=tuple(complaint.when),
        counted=True,
        highest=float(factors.max(where=faulty, initial=0.0)),
        lowest=float(factors.min(where=faulty, initial=np.inf)) if faulty.any() else 0.0,
        parts=tuple((parts[k], float(scale * by_part[k])) for k in ranked),
    )
    return WeighedVoices(weighed, counted)


def _ratio(drive: Drive, part: str, voice: Voice, complaint: Complaint) -> float:
    if voice.family is None or part not in drive.parts:
        return 1.0
    try:
        row = drive.knowledge.mechanism(drive.parts[part].kind, voice.family.mechanism)
    except KeyError:
        return 1.0
    return words_ratio(row, complaint.sounds, complaint.when)


def _most(by_part: Floats, count_prior: tuple[float, ...], unlisted: int) -> float:
    """Largest common factor with which the words raise neither all parts nor one too far.

    One faulty part has even odds with none where its factor is the ratio of their priors.
    """
    listed = by_part.size
    if not by_part.any() or len(count_prior) < 2:
        return 1.0
    none, one = (set_share(count_prior, (listed, unlisted), size) for size in (0, 1))
    return float(min(_MOST_ODDS * none / one / by_part.max(), listed / by_part.sum()))
