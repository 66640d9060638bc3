"""Every part as a source: what it would look like healthy and singing, or faulty.

A part has *voices*: one for its healthy song (the lines a sound part makes too) and one
for each mechanism by which it may be faulty. A voice in one recording is a table over
offset d and level a of how well its lines agree with what was heard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from acoustic.drive.drive import ExpectedFamily, ExpectedLine
from acoustic.verdict.clutter import HotTone
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.line_likelihood import (
    FAMILY_LEVELS_DB,
    LATTICE_STEP,
    LEVEL_STEP_DB,
    LineTable,
)
from acoustic.verdict.unknowns import OFFSET_STEP, GroupKey, ShaftGroup, group_key

Floats = NDArray[np.float64]

VOICE_LEVELS_DB = np.arange(-36.0, 13.0, LEVEL_STEP_DB)
"""Level of a family's strongest line. [dB tone-to-noise]"""
_LEAST_FACTOR = 0.02
"""A line that is not there where it should be counts at most this much against."""
_LASTING = 0.85
"""How far a line's being there carries over from one recording to the next (judgement)."""
_LEAST_SHIFT = 1e-3
_PLACES_PER_OFFSET = round(OFFSET_STEP / LATTICE_STEP)


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
    weight : float
        Share among the part's faulty mechanisms (1 for the song).
    group : int
        Index of the shaft group its orders scale with.
    own_tolerance : float
        Relative sd of its orders beyond the group's offset (bearing geometry).
    sings_when_faulty : bool
        False if the healthy song is contained in this voice's own lines.
    """

    part: int
    family: ExpectedFamily | None
    lines: tuple[ExpectedLine, ...]
    weight: float
    group: int
    own_tolerance: float
    sings_when_faulty: bool

    @property
    def healthy(self) -> bool:
        """Whether this is the part's healthy song."""
        return self.family is None


@dataclass(frozen=True, slots=True, eq=False)
class VoiceTable:
    """One voice against one recording.

    Attributes
    ----------
    steady : ndarray, shape (offsets, levels)
        Product over the lines that are not in contest with other parts.
    contested : tuple of (int, ndarray)
        Hot tone, counted through all recordings, and the lines' claim on it, shape
        (offsets, levels).
    """

    steady: Floats
    contested: tuple[tuple[int, Floats], ...]


def part_voices(
    families: Sequence[ExpectedFamily], part: int, groups: Mapping[GroupKey, int]
) -> list[Voice]:
    """Voices of one part: its healthy song first, if it has one, then its mechanisms."""
    tonal = [f for f in families if f.tonal_lines]
    total = sum(f.prior_weight for f in tonal) or 1.0
    song_group, song = _song(tonal, groups)
    voices = []
    if song:
        voices.append(Voice(part, None, song, 1.0, song_group, 0.0, False))
    for family in tonal:
        lines = _distinct(family.lines)
        own_song = any(line.natural for line in lines)
        group = groups[group_key(family)]
        share = family.prior_weight / total
        voices.append(Voice(part, family, lines, share, group, family.own_tolerance, not own_song))
    return voices


def _song(
    families: Sequence[ExpectedFamily], groups: Mapping[GroupKey, int]
) -> tuple[int, tuple[ExpectedLine, ...]]:
    """Natural lines of all mechanisms that turn with the part's first singing one."""
    lines: list[ExpectedLine] = []
    group = -1
    for family in families:
        natural = [line for line in family.lines if line.natural]
        if natural and group in (-1, groups[group_key(family)]):
            group = groups[group_key(family)]
            lines += natural
    return group, _distinct(tuple(lines))


def _distinct(lines: tuple[ExpectedLine, ...]) -> tuple[ExpectedLine, ...]:
    """One line per order: a shaft's 1st order predicted twice must not count twice."""
    kept: dict[int, ExpectedLine] = {}
    for line in lines:
        key = round(np.log(line.order) / 1e-3)
        if key not in kept or line.probability > kept[key].probability:
            kept[key] = line
    return tuple(kept.values())


@dataclass(frozen=True, slots=True, eq=False)
class Listening:
    """One recording as the voices are held against it.

    Attributes
    ----------
    table : LineTable
    price : ndarray, shape (places,)
        Clutter near each place of `table`.
    hot : sequence of HotTone
        Contested tones of this recording.
    first_hot : int
        Number of contested tones in the recordings before.
    comb : CombEvidence
        Evidence on the engine's own comb, for voices locked to the crankshaft.
    offset_blur : float
        Relative sd by which offsets may differ from the first recording's.
    """

    table: LineTable
    price: Floats
    hot: Sequence[HotTone]
    first_hot: int
    comb: CombEvidence
    offset_blur: float


def voice_tables(
    voice: Voice, group: ShaftGroup, recordings: Sequence[Listening]
) -> list[VoiceTable]:
    """Hold a voice against every recording.

    Whether a line is there at all is largely the same in all recordings of one drive: a
    line heard in the first is expected in the next, and one missing there is not held
    against the part twice.
    """
    shape = (group.offset.size, VOICE_LEVELS_DB.size)
    steady = [np.ones(shape) for _ in recordings]
    contested: list[dict[int, Floats]] = [{} for _ in recordings]
    for line in voice.lines:
        presence = np.full(shape, line.probability)
        for r, listening in enumerate(recordings):
            places = _places(line, group, listening.table)
            if not listening.table.visible[places].any():
                if voice.family is not None and voice.family.locked:
                    steady[r] *= listening.comb.factor(line, VOICE_LEVELS_DB)[None, :]
                continue
            gain = _gain(line, places, listening)
            _enter(presence * gain, places, listening, steady[r], contested[r])
            if r + 1 < len(recordings):
                presence = _updated_presence(line, presence, gain, listening.offset_blur)
    return [
        VoiceTable(
            table,
            tuple(
                (one.first_hot + tone, np.maximum(claim, _LEAST_FACTOR - 1.0))
                for tone, claim in claims.items()
            ),
        )
        for table, claims, one in zip(steady, contested, recordings, strict=True)
    ]


def _places(line: ExpectedLine, group: ShaftGroup, table: LineTable) -> NDArray[np.intp]:
    """Lattice place of a line for each offset of its group."""
    base = int(np.rint((np.log(line.order) - table.ln_order[0]) / LATTICE_STEP))
    step = np.rint(group.offset / OFFSET_STEP).astype(np.intp) * _PLACES_PER_OFFSET
    return np.asarray(np.clip(base + step, 0, table.ln_order.size - 1), dtype=np.intp)


def _gain(line: ExpectedLine, places: NDArray[np.intp], listening: Listening) -> Floats:
    """(likelihood ratio - 1) / price of a line, shape (offsets, levels)."""
    rows = _level_rows(line.relative_level_db)
    ratio = listening.table.ratio[rows[None, :], places[:, None]]
    return np.asarray((ratio - 1.0) / listening.price[places][:, None])


def _enter(
    claim: Floats,
    places: NDArray[np.intp],
    listening: Listening,
    steady: Floats,
    contested: dict[int, Floats],
) -> None:
    """Enter a line's claim: straight where it is alone, by tone where others may claim."""
    tone = _hot_tone_at(places, listening.hot)
    plain = tone < 0
    steady[plain] *= np.maximum(_LEAST_FACTOR, 1.0 + claim[plain])
    for index in np.unique(tone[~plain]):
        here = tone == index
        slot = contested.setdefault(int(index), np.zeros_like(steady))
        slot[here] += claim[here]


def _updated_presence(
    line: ExpectedLine, presence: Floats, gain: Floats, offset_blur: float
) -> Floats:
    """P(the line is there) after this recording, by Bayes' rule."""
    seen = np.maximum(presence * (1.0 + gain), 0.0)
    posterior = seen / (seen + (1.0 - presence) + 1e-12)
    sd = max(offset_blur, _LEAST_SHIFT) / OFFSET_STEP
    posterior = gaussian_filter1d(posterior, sd, axis=0, mode="nearest", truncate=2.5)
    return np.asarray(_LASTING * posterior + (1.0 - _LASTING) * line.probability)


def _level_rows(relative_db: float) -> NDArray[np.intp]:
    """Rows of the likelihood table for a line this far below its family's level."""
    levels = VOICE_LEVELS_DB + relative_db - FAMILY_LEVELS_DB[0]
    rows = np.rint(levels / LEVEL_STEP_DB).astype(np.intp)
    return np.asarray(np.clip(rows, 0, FAMILY_LEVELS_DB.size - 1), dtype=np.intp)


def _hot_tone_at(places: NDArray[np.intp], hot: Sequence[HotTone]) -> NDArray[np.intp]:
    """Index of the hot tone whose window holds each place, -1 where there is none."""
    if not hot:
        return np.full(places.shape, -1, dtype=np.intp)
    starts = np.array([tone.first for tone in hot], dtype=np.intp)
    index = np.searchsorted(starts, places, side="right") - 1
    lasts = np.array([tone.last for tone in hot], dtype=np.intp)
    inside = (index >= 0) & (places <= lasts[np.maximum(index, 0)])
    return np.where(inside, index, -1)


def level_prior(mean_db: float, sd_db: float) -> Floats:
    """Prior over `VOICE_LEVELS_DB` for a normal level; sums to 1."""
    edges = np.concatenate([[-np.inf], VOICE_LEVELS_DB[1:] - LEVEL_STEP_DB / 2, [np.inf]])
    return np.diff(ndtr((edges - mean_db) / sd_db))
