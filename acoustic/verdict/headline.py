"""The first sentence of an answer: who, how likely, or what is there though nobody is named."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.evidence.findings import SwellingLine
from acoustic.tables.words import swelling_words
from acoustic.verdict.heard_swelling import swelling_clause
from acoustic.verdict.suspects import PlainNoise, Suspect, UnexplainedTone, VerdictName
from acoustic.verdict.wording import LIKELY, POSSIBLE, hertz, probability_number

MOST_NAMED = 4
"""Parts in question for a noise that are named and whose checks are told."""


def headline_of(
    verdict: VerdictName,
    suspects: Sequence[Suspect],
    unexplained: Sequence[UnexplainedTone],
    detectable: str,
    noises: Sequence[PlainNoise],
    swells: SwellingLine | None = None,
) -> str:
    """Say the verdict in a sentence or two."""
    if verdict == "suspects":
        return _suspect_headline(suspects)
    if verdict == "nothing_found":
        return f"Nothing found: no tone stands out of this engine's noise. {detectable}"
    if noises:
        return f"Cannot tell who makes it, but it is there: {noise_clause(noises[0], suspects)}"
    if unexplained:
        tone = max((u.tone for u in unexplained), key=lambda t: t.excess_db)
        return (
            f"Cannot tell: a tone at {hertz(tone.frequency_hz)} (order {tone.order:.2f}) is "
            "there, but no part of this layout accounts for it with any certainty."
        )
    if swells is not None:
        return f"Cannot tell: {swelling_words('nobody').format(what=swelling_clause(swells))}."
    return "Cannot tell: there are tones, but they do not settle on any one part."


def _suspect_headline(suspects: Sequence[Suspect]) -> str:
    top = suspects[0]
    faulty = probability_number(top.probability)
    if top.probability > LIKELY:
        return (
            f"Likely source: {top.part}, {top.mechanism} (faulty: {faulty}, likely; "
            f"it makes the sound: {probability_number(top.source_probability)})."
        )
    members = [top, *(s for s in suspects[1:] if s.part in top.not_separable_from)]
    together = sum(s.probability for s in members)
    if top.probability >= POSSIBLE or (len(members) > 1 and together >= LIKELY):
        names = " or ".join(s.part for s in members)
        each = ", ".join(f"{s.part} {probability_number(s.probability)}" for s in members)
        return f"Possible source: {names} (faulty: {each}). A hand check must decide."
    loud = max(suspects, key=lambda s: s.source_probability)
    return (
        f"Likely source of the sound: {loud.part} (it makes the sound: "
        f"{probability_number(loud.source_probability)}, likely). A healthy one sings there "
        "too, so whether it is faulty this recording cannot tell "
        f"(faulty: {probability_number(loud.probability)})."
    )


def noise_clause(noise: PlainNoise, suspects: Sequence[Suspect]) -> str:
    """What was heard and who comes into question, with how likely each is at fault."""
    by_name = {suspect.part: suspect.probability for suspect in suspects}
    named = [f"{part} {probability_number(by_name[part])}" for part in noise.parts[:MOST_NAMED]]
    who = f" In question (faulty): {', '.join(named)}." if named else ""
    return f"{noise.sentence}.{who}"


def first_clause(first: Sequence[Suspect]) -> str:
    """Where to look first though nobody can be named; empty if nothing points anywhere."""
    return "".join(
        f" First to check: {s.part}, {s.mechanism} (faulty: {probability_number(s.probability)})."
        for s in first
    )
