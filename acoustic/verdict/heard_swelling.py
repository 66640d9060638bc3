"""Swelling of the loudness: whose it may be, and what is said where nobody can be named.

A growl is found long before it can be laid at one part's door: parts that turn about as fast
swell alike. That something turns rough, and at whose speed, is said all the same.

References
----------
.. [1] T. Sellke, M. J. Bayarri, J. O. Berger, Calibration of p values for testing precise
   null hypotheses, The American Statistician 55 (2001) 62-71 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.order_table import offset_range
from acoustic.evidence.findings import SwellingLine
from acoustic.tables.words import swelling_words
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.suspects import Heard, PlainNoise, Suspect, UnexplainedSwelling
from acoustic.verdict.wording import POSSIBLE, families_near, swelling_word, times

ROUGH = "roughness"
"""What the tables call a line of a growl, and the id under which a growl is told."""
SEVERAL_BANDS = 3
"""Of bands that overlap by half: more than one resonance of the noise swells."""
_MOST_NAT = 8.0
"""As no single noise of the match counts more."""
_IN_QUESTION = 0.2
"""Of the likeliest part's probability: as for noises without lines."""
_LONG_CYCLES, _LONG_CYCLE_TOP = (3, 4), 4.0
"""An idle that hunts swells at thirds and quarters of an order: as the match has it."""


def unexplained_swelling(
    families: Sequence[ExpectedFamily],
    heard: Mapping[int, Heard],
    answer: JointAnswer,
    suspects: Sequence[Suspect],
) -> tuple[UnexplainedSwelling, ...]:
    """Swelling that no part has the better claim on, strongest first in each recording."""
    numbers = list(heard)
    rows = []
    for match in answer.envelope:
        number = numbers[match.recording]
        for line in heard[number].swelling:
            place = int(match.table.place_of(math.log(line.order)))
            strays = [
                float(stray)
                for tone, stray in zip(match.hot, match.stray_probability, strict=True)
                if tone.first - 2 <= place <= tone.last + 2
            ]
            if min(strays, default=1.0) < POSSIBLE or _line_of(suspects, number, line):
                continue
            rows.append(UnexplainedSwelling(number, line, _remark(line, families)))
    return tuple(rows)


def rough_turning(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Mapping[int, Heard],
    suspects: Sequence[Suspect],
) -> tuple[PlainNoise, ...]:
    """The growl of a recording as a noise to be told; none where a part can be named."""
    faulty = {suspect.part: suspect.probability for suspect in suspects}
    if max(faulty.values(), default=1.0) >= POSSIBLE:
        return ()
    for line, number in _by_strength(heard):
        if line.bands < SEVERAL_BANDS or _is_long_cycle(line):
            continue
        labels = _rough_parts(drive, families, line.order)
        ranked = sorted(labels, key=lambda part: -faulty.get(part, 0.0))
        if ranked:
            least = _IN_QUESTION * faulty.get(ranked[0], 0.0)
            parts = tuple(part for part in ranked if faulty.get(part, 0.0) >= least)
            sentence = _rough_sentence(line, parts, labels, heard, number)
            return (PlainNoise(ROUGH, sentence, _ln_ratio(line.p_value), parts, number),)
    return ()


def strongest_swelling(heard: Mapping[int, Heard]) -> SwellingLine | None:
    """The swelling that stands out most in all recordings."""
    return next((line for line, _ in _by_strength(heard)), None)


def swelling_clause(line: SwellingLine) -> str:
    """What swells, how often and how plainly, as a part of a sentence."""
    return swelling_words("what").format(
        low_hz=line.low_hz,
        high_hz=line.high_hz,
        times=times(line.frequency_hz),
        order=line.order,
        strength=swelling_word(line.excess_db),
        excess_db=line.excess_db,
    )


def _by_strength(heard: Mapping[int, Heard]) -> Iterator[tuple[SwellingLine, int]]:
    every = [(line, number) for number, one in heard.items() for line in one.swelling]
    return iter(sorted(every, key=lambda pair: -pair[0].excess_db))


def _rough_parts(drive: Drive, families: Sequence[ExpectedFamily], order: float) -> dict[str, str]:
    """Parts whose roughness may swell at an order, with what their table row calls it."""
    labels: dict[str, str] = {}
    for family in families:
        low, high = offset_range(drive, family.depends_on, family.own_tolerance)
        for line in family.lines:
            if line.shows_as == ROUGH and low <= math.log(order / line.order) <= high:
                labels.setdefault(family.part, line.label)
    return labels


def _rough_sentence(
    line: SwellingLine,
    parts: Sequence[str],
    labels: Mapping[str, str],
    heard: Mapping[int, Heard],
    number: int,
) -> str:
    envelope = heard[number].envelope
    return swelling_words("rough").format(
        what=swelling_clause(line),
        where=f" in recording {number + 1}" if len(heard) > 1 else "",
        bands=line.bands,
        listened=len(envelope.carriers) - 1 if envelope else line.bands,
        label=labels[parts[0]],
        part=parts[0],
    )


def _ln_ratio(p_value: float) -> float:
    """Most that a chance `p_value` speaks for a find, -ln(-e p ln p) [1]_. [nat]"""
    p = min(max(p_value, 1e-300), math.exp(-1))
    return min(_MOST_NAT, -math.log(-math.e * p * math.log(p)))


def _is_long_cycle(line: SwellingLine) -> bool:
    near = [abs(line.order - round(line.order * n) / n) for n in _LONG_CYCLES]
    return line.order < _LONG_CYCLE_TOP and min(near) < 3 * line.order_sd


def _line_of(suspects: Sequence[Suspect], number: int, line: SwellingLine) -> bool:
    """Whether a likely source has one of its lines of the envelope here."""
    return any(
        own.recording == number
        and own.state == "heard"
        and own.swings_hz is not None
        and abs(own.order - line.order) < 3 * line.order_sd
        for suspect in suspects
        if suspect.source_probability >= POSSIBLE
        for own in suspect.lines
    )


def _remark(line: SwellingLine, families: Sequence[ExpectedFamily]) -> str:
    if _is_long_cycle(line):
        return swelling_words("long_cycle")
    near = families_near(families, line.order, 0.02)
    return swelling_words("near").format(parts=", ".join(near[:3])) if near else ""
