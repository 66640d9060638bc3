"""Noises without lines that were heard, and who may make them.

A noise is found long before it can be laid at one part's door: a rattle with the firing may
be the engine's own. What was heard is said all the same, with who comes into question.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from acoustic.evidence.findings import NoiseFinding
from acoustic.tables.knowledge import Knowledge
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.suspects import Heard, PlainNoise
from acoustic.verdict.wording import noise_sentences

_HEARD_NAT = 1.0
"""From here a noise stands among a part's evidence. [nat]"""
_PLAIN_NAT = 2.0
"""A noise this much likelier there than not is told whatever else is said. [nat]"""
_SHARE = 0.2
"""From this share in a noise a part's evidence names it."""
_IN_QUESTION = 0.2
"""Of the likeliest maker's probability: as groups that cannot be separated are drawn."""


def plain_noises(
    heard: Mapping[int, Heard], answer: JointAnswer, knowledge: Knowledge
) -> tuple[PlainNoise, ...]:
    """Noises that are plainly there, plainest first, each told once."""
    found: dict[str, PlainNoise] = {}
    for number, finding in _findings(heard, answer):
        known = found.get(finding.noise)
        if finding.ln_ratio < _PLAIN_NAT or (known and known.ln_ratio >= finding.ln_ratio):
            continue
        (sentence,) = noise_sentences([(number, finding)], _titles(knowledge), len(heard))
        parts = _makers(finding.noise, answer)
        found[finding.noise] = PlainNoise(finding.noise, sentence, finding.ln_ratio, parts, number)
    return tuple(sorted(found.values(), key=lambda noise: -noise.ln_ratio))


def _makers(noise: str, answer: JointAnswer) -> tuple[str, ...]:
    """Parts that make the noise when faulty, likeliest first."""
    chance = dict.fromkeys(range(len(answer.parts)), 0.0)
    for v, voice in enumerate(answer.voices):
        if voice.family and any(made.noise == noise for made in voice.family.noises):
            faulty = float(answer.result.faulty[voice.part])
            chance[voice.part] += faulty * float(answer.result.voice_shares[v])
    ranked = sorted(chance, key=lambda k: -chance[k])
    least = _IN_QUESTION * chance[ranked[0]]
    return tuple(answer.parts[k] for k in ranked if chance[k] > 0.0 and chance[k] >= least)


def noises_of(
    part: int, heard: Mapping[int, Heard], answer: JointAnswer, knowledge: Knowledge
) -> tuple[str, ...]:
    """Sentences on the noises that a part has a share in, or is the first in question for."""
    name = answer.parts[part]
    found = [
        one
        for n, one in enumerate(_findings(heard, answer))
        if one[1].ln_ratio > _HEARD_NAT
        and (answer.noise_shares[part, n] > _SHARE or name in _makers(one[1].noise, answer)[:1])
    ]
    return noise_sentences(found, _titles(knowledge), len(heard))


def _findings(
    heard: Mapping[int, Heard], answer: JointAnswer
) -> Sequence[tuple[int, NoiseFinding]]:
    """Number of the recording and finding of each of the answer's noises."""
    each = list(heard.items())
    rows = []
    for noise in answer.noises:
        number, one = each[noise.recording]
        rows.append((number, next(f for f in one.noises if f.noise == noise.noise)))
    return rows


def _titles(knowledge: Knowledge) -> dict[str, str]:
    return {row.id: row.title for row in knowledge.noises.values()}
