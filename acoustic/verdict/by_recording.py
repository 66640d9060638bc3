"""What each recording says for and against each suspect, and at which point it is loudest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.recording.taken import Taken
from acoustic.verdict.suspects import Heard, LineEvidence, Screening, Suspect

_LOUDER_DB = 3.0
"""A point is called the loudest if it leads the next by this much (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RecordingSays:
    """One suspect in one recording.

    Attributes
    ----------
    recording : int
        Its place among the recordings of the screening, from 0.
    support_nat : float
        ln of the likelihood ratio its lines add: above 0 for, below 0 against. [nat]
    heard, missing, hidden : int
        How many of the lines expected.
    level_db : float or None
        Loudest of its lines above the floor there; None where none could be seen. [dB]
    """

    recording: int
    support_nat: float
    heard: int
    missing: int
    hidden: int
    level_db: float | None


@dataclass(frozen=True, slots=True)
class SuspectByRecording:
    """One suspect over all recordings.

    `loudest_at` is the point where its lines stand highest above the floor, if one leads
    clearly; empty if none does or all were taken at one place.
    """

    part: str
    mechanism: str
    each: tuple[RecordingSays, ...]
    loudest_at: str
    leads_db: float


def by_recording(screening: Screening, most: int = 6) -> tuple[SuspectByRecording, ...]:
    """Lay out the leading suspects over the recordings that could be screened.

    Parameters
    ----------
    screening : Screening
    most : int
        How many suspects, best first.
    """
    heard = {n: one for n, one in enumerate(screening.heard) if one.spectrum is not None}
    return tuple(_row(suspect, heard) for suspect in screening.suspects[:most] if suspect.lines)


def _row(suspect: Suspect, heard: Mapping[int, Heard]) -> SuspectByRecording:
    each = tuple(
        _says(number, [line for line in suspect.lines if line.recording == number])
        for number in heard
    )
    loudest, leads_db = _loudest(suspect.lines, {n: one.taken for n, one in heard.items()})
    return SuspectByRecording(suspect.part, suspect.mechanism, each, loudest, leads_db)


def _says(number: int, lines: Sequence[LineEvidence]) -> RecordingSays:
    levels = [line.excess_db for line in lines if line.excess_db is not None]
    states = [line.state for line in lines]
    return RecordingSays(
        recording=number,
        support_nat=float(sum(line.support for line in lines)),
        heard=states.count("heard"),
        missing=states.count("missing"),
        hidden=states.count("hidden"),
        level_db=max(levels) if levels else None,
    )


def _loudest(lines: Sequence[LineEvidence], taken: Mapping[int, Taken]) -> tuple[str, float]:
    """Point at which the lines heard anywhere stand highest, and by how much it leads. [dB]

    Each line is compared with itself at the same speed's other points, so that a loud line
    seen at one point only does not decide.
    """
    heard = {(line.label, line.swings_hz is None) for line in lines if line.state == "heard"}
    at: dict[str, list[float]] = {}
    for label in heard:
        levels = _by_point(lines, label, taken)
        if len(levels) > 1:
            mean = float(np.mean(list(levels.values())))
            for point, level in levels.items():
                at.setdefault(point, []).append(level - mean)
    ranked = sorted(((float(np.mean(v)), point) for point, v in at.items()), reverse=True)
    if len(ranked) < 2 or ranked[0][0] - ranked[1][0] < _LOUDER_DB:
        return "", 0.0
    return ranked[0][1], ranked[0][0] - ranked[1][0]


def _by_point(
    lines: Sequence[LineEvidence], label: tuple[str, bool], taken: Mapping[int, Taken]
) -> dict[str, float]:
    """Mean level of one line at each point where it could be seen. [dB]"""
    levels: dict[str, list[float]] = {}
    for line in lines:
        if (line.label, line.swings_hz is None) == label and line.excess_db is not None:
            levels.setdefault(taken[line.recording].point, []).append(line.excess_db)
    return {point: float(np.mean(each)) for point, each in levels.items()}
