"""Every part as a source: what it would look like healthy and singing, or faulty.

A part has *voices*: one for its healthy song (the lines a sound part makes too) and one
for each mechanism by which it may be faulty. A voice in one recording is a table over
offset d and level a of how well its lines agree with what was heard. Lines of the sound,
lines of its envelope and noises without lines are three realms of evidence: they share
the offset, but each has levels of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from acoustic.drive.drive import ExpectedFamily, ExpectedLine
from acoustic.verdict.line_likelihood import (
    VOICE_LEVELS_DB,
)
from acoustic.verdict.unknowns import GroupKey, group_key

Floats = NDArray[np.float64]

_SWINGS_AT_ALL = 0.87
"""Chance that what may show in tones and in the envelope shows in the envelope at all.

Its lines there come together or not at all: where all are missing that is one miss, not one
for each line. (Judgement; what the tables give a spalled race for its first line.)
"""


class Realm(IntEnum):
    """What kind of evidence a table holds; levels are shared within one."""

    TONES = 0
    ENVELOPE = 1
    NOISES = 2


@dataclass(frozen=True, slots=True)
class Voice:
    """One way a part can sound.

    Attributes
    ----------
    part : int
        Index of the part.
    family : ExpectedFamily or None
        The faulty mechanism; None for the healthy song.
    lines : tuple of ExpectedLine
        Lines of the sound itself.
    weight : float
        Share among the part's faulty mechanisms (1 for the song).
    group : int
        Index of the shaft group its orders scale with.
    own_tolerance : float
        Relative sd of its orders beyond the group's offset (bearing geometry).
    sings_when_faulty : bool
        False if the healthy song is contained in this voice's own lines.
    envelope_lines : tuple of ExpectedLine
        Lines of its envelope, their chances given that it shows there.
    swings_at_all : float
        Chance that it shows in the envelope.
    place : str
        Name of the part.
    load_db : mapping of str to float
        By how much loads switched on make it louder. [dB]
    """

    part: int
    family: ExpectedFamily | None
    lines: tuple[ExpectedLine, ...]
    weight: float
    group: int
    own_tolerance: float
    sings_when_faulty: bool
    envelope_lines: tuple[ExpectedLine, ...] = ()
    swings_at_all: float = 1.0
    place: str = ""
    load_db: Mapping[str, float] = field(default_factory=dict)

    @property
    def healthy(self) -> bool:
        """Whether this is the part's healthy song."""
        return self.family is None

    def shows_in(self, realm: Realm) -> float:
        """Chance that it shows in a realm at all."""
        return self.swings_at_all if realm == Realm.ENVELOPE else 1.0


def part_voices(
    families: Sequence[ExpectedFamily], part: int, groups: Mapping[GroupKey, int]
) -> list[Voice]:
    """Voices of one part: its healthy song first, if it has one, then its mechanisms."""
    total = sum(f.prior_weight for f in families) or 1.0
    song_group, song = _song(families, groups)
    voices = []
    if song:
        place, loads = families[0].part, _sung_loads(families)
        voices.append(
            Voice(part, None, song, 1.0, song_group, 0.0, False, place=place, load_db=loads)
        )
    for family in families:
        lines = _distinct(family.tonal_lines)
        swings = _distinct(family.envelope_lines)
        both = bool(lines and swings)
        if both:
            swings = tuple(map(_given_any, swings))
        voices.append(
            Voice(
                part=part,
                family=family,
                lines=lines,
                weight=family.prior_weight / total,
                group=groups[group_key(family)],
                own_tolerance=family.own_tolerance,
                sings_when_faulty=not any(line.natural for line in lines),
                envelope_lines=swings,
                swings_at_all=_SWINGS_AT_ALL if both else 1.0,
                place=family.part,
                load_db=family.load_db,
            )
        )
    return voices


def _given_any(line: ExpectedLine) -> ExpectedLine:
    """An envelope line with its chance given that any are there."""
    return replace(line, probability=min(0.95, line.probability / _SWINGS_AT_ALL))


def _song(
    families: Sequence[ExpectedFamily], groups: Mapping[GroupKey, int]
) -> tuple[int, tuple[ExpectedLine, ...]]:
    """Natural lines of all mechanisms that turn with the part's first singing one."""
    lines: list[ExpectedLine] = []
    group = -1
    for family in families:
        natural = [line for line in family.tonal_lines if line.natural]
        if natural and group in (-1, groups[group_key(family)]):
            group = groups[group_key(family)]
            lines += natural
    return group, _distinct(tuple(lines))


def _sung_loads(families: Sequence[ExpectedFamily]) -> dict[str, float]:
    """What loads do to the song: the most they do to any mechanism it is made of."""
    loads: dict[str, float] = {}
    for family in families:
        if any(line.natural for line in family.tonal_lines):
            for load, change_db in family.load_db.items():
                loads[load] = max(loads.get(load, change_db), change_db, key=abs)
    return loads


def _distinct(lines: tuple[ExpectedLine, ...]) -> tuple[ExpectedLine, ...]:
    """One line per order: a shaft's 1st order predicted twice must not count twice."""
    kept: dict[int, ExpectedLine] = {}
    for line in lines:
        key = round(np.log(line.order) / 1e-3)
        if key not in kept or line.probability > kept[key].probability:
            kept[key] = line
    return tuple(kept.values())


def level_prior(mean_db: float, sd_db: float, levels_db: Floats = VOICE_LEVELS_DB) -> Floats:
    """Prior over evenly spaced levels for a normal level; sums to 1."""
    half = 0.5 * float(levels_db[1] - levels_db[0])
    edges = np.concatenate([[-np.inf], levels_db[1:] - half, [np.inf]])
    return np.diff(ndtr((edges - mean_db) / sd_db))
