"""Which parts a plan is about, and by which mechanisms each may make the sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.drive.drive import Drive, ExpectedFamily, Part
from acoustic.tables.rows import Mechanism
from acoustic.tables.sound_words import Complaint, word_weights, words_ratio
from acoustic.verdict.belief import Belief

_SHARE_OF_TOP = 0.2
"""Parts with less of the leader's probability held the truth in 1 of 100 made scenes."""
_FEWEST = 2


@dataclass(frozen=True, slots=True)
class Way:
    """One way a suspect may make the sound.

    `weight` is its share among the ways of its part that are in question; they sum to 1.
    """

    family: ExpectedFamily
    row: Mechanism
    weight: float


@dataclass(frozen=True, slots=True)
class InQuestion:
    """A part in question with its ways; `weight` ranks it among the parts, on any scale."""

    part: Part
    ways: tuple[Way, ...]
    weight: float


def parts_in_question(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    complaint: Complaint | None = None,
    belief: Belief | None = None,
) -> tuple[InQuestion, ...]:
    """List the parts a plan has to tell apart, likeliest first.

    With a belief those it has not nearly ruled out, by the mechanisms it holds likely; else
    with a complaint those that somebody could mean by its words; else all of them.
    """
    if belief is not None:
        return _by_belief(drive, families, belief)
    parts = [
        one
        for part in drive.parts.values()
        if (one := _by_words(drive, part, families, complaint)) is not None
    ]
    if len(parts) < _FEWEST and complaint is not None:
        return parts_in_question(drive, families)
    return tuple(sorted(parts, key=lambda one: -one.weight))


def _by_belief(
    drive: Drive, families: Sequence[ExpectedFamily], belief: Belief
) -> tuple[InQuestion, ...]:
    known = [k for k, name in enumerate(belief.parts) if name in drive.parts]
    ranked = sorted(known, key=lambda k: -belief.faulty[k])
    top = belief.faulty[ranked[0]] if ranked else 0.0
    kept = [
        k for n, k in enumerate(ranked) if n < _FEWEST or belief.faulty[k] >= _SHARE_OF_TOP * top
    ]
    parts = []
    for k in kept:
        part, shares = drive.parts[belief.parts[k]], belief.mechanisms[k]
        weighed = [
            (family, shares.get(family.mechanism, 0.0))
            for family in families
            if family.part == part.name
        ]
        ways = _shared_out(drive, part, weighed)
        if ways:
            parts.append(InQuestion(part, ways, float(belief.faulty[k])))
    return tuple(parts)


def _by_words(
    drive: Drive, part: Part, families: Sequence[ExpectedFamily], complaint: Complaint | None
) -> InQuestion | None:
    """The part with the ways that the words do not speak against; None if none is left."""
    weights = word_weights()
    least = weights.told_by_a_near_one * weights.comes_at_other_times
    weighed = []
    for family in families:
        if family.part != part.name:
            continue
        ratio = 1.0
        if complaint is not None:
            row = drive.knowledge.mechanism(part.kind, family.mechanism)
            ratio = words_ratio(row, complaint.sounds, complaint.when)
        if ratio >= least:
            weighed.append((family, ratio * family.prior_weight))
    ways = _shared_out(drive, part, weighed)
    return InQuestion(part, ways, sum(weight for _, weight in weighed)) if ways else None


def _shared_out(
    drive: Drive, part: Part, weighed: Sequence[tuple[ExpectedFamily, float]]
) -> tuple[Way, ...]:
    total = sum(weight for _, weight in weighed)
    return tuple(
        Way(family, drive.knowledge.mechanism(part.kind, family.mechanism), weight / total)
        for family, weight in weighed
        if weight > 0.0
    )
