"""Every part as a source: what it would look like healthy and singing, or faulty.

A part has *voices*: one for its healthy song (the lines a sound part makes too) and one
for each mechanism by which it may be faulty. A voice in one recording is a table over
offset d and level a of how well its lines agree with what was heard. Lines of the sound,
lines of its envelope and noises without lines are three realms of evidence: they share
the offset, but each has levels of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

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
    VOICE_LEVELS_DB,
    LineTable,
)
from acoustic.verdict.unknowns import OFFSET_STEP, GroupKey, ShaftGroup, group_key

Floats = NDArray[np.float64]

_LEAST_FACTOR = 0.02
"""A line that is not there where it should be counts at most this much against."""
_SWINGS_AT_ALL = 0.87
"""Chance that what may show in tones and in the envelope shows in the envelope at all.

Its lines there come together or not at all: where all are missing that is one miss, not one
for each line. (Judgement; what the tables give a spalled race for its first line.)
"""
_LASTING = 0.85
"""How far a line's being there carries over from one recording to the next (judgement)."""
_LEAST_SHIFT = 1e-3
CARRIERS_HELD = 3
"""Bands of the sound in which an envelope family is looked for by itself."""
_PLACES_PER_OFFSET = round(OFFSET_STEP / LATTICE_STEP)


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

    @property
    def healthy(self) -> bool:
        """Whether this is the part's healthy song."""
        return self.family is None

    def shows_in(self, realm: Realm) -> float:
        """Chance that it shows in a realm at all."""
        return self.swings_at_all if realm == Realm.ENVELOPE else 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Claim:
    """What a voice's lines claim of one contested tone.

    Attributes
    ----------
    tone : int
        Counted through all recordings and realms.
    rows : slice
        Offsets at which any of the lines meets the tone.
    values : ndarray, shape (rows, levels)
        Likelihood gained there.
    """

    tone: int
    rows: slice
    values: Floats


@dataclass(frozen=True, slots=True, eq=False)
class VoiceTable:
    """One voice against one realm of one recording.

    Attributes
    ----------
    realm : Realm
    recording : int
    steady : ndarray, shape (offsets, levels)
        Product over the lines that are not in contest with other parts. The columns of
        the envelope are levels in each of its bands.
    contested : tuple of Claim
        One for each hot tone that any line meets.
    """

    realm: Realm
    recording: int
    steady: Floats
    contested: tuple[Claim, ...]


def part_voices(
    families: Sequence[ExpectedFamily], part: int, groups: Mapping[GroupKey, int]
) -> list[Voice]:
    """Voices of one part: its healthy song first, if it has one, then its mechanisms."""
    total = sum(f.prior_weight for f in families) or 1.0
    song_group, song = _song(families, groups)
    voices = []
    if song:
        voices.append(Voice(part, None, song, 1.0, song_group, 0.0, False))
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
    """One realm of one recording as the voices are held against it.

    Attributes
    ----------
    realm : Realm
        Tones or envelope.
    recording : int
    table : LineTable
    price : ndarray, shape (places,)
        Clutter near each place of `table`.
    hot : sequence of HotTone
        Contested tones of this recording.
    first_hot : int
        Number of contested tones in the listenings before.
    comb : CombEvidence or None
        Evidence on the engine's own comb, for voices locked to the crankshaft.
    offset_blur : float
        Relative sd by which offsets may differ from the first recording's.
    """

    realm: Realm
    recording: int
    table: LineTable
    price: Floats
    hot: Sequence[HotTone]
    first_hot: int
    comb: CombEvidence | None
    offset_blur: float


@dataclass(frozen=True, slots=True)
class HeardNoise:
    """A noise without lines in one recording, contested like a tone.

    `gain` is what it adds to a mechanism sure to make it: (likelihood ratio of the noise
    being there - price) / price, the price being what a sound drive accounts for.
    """

    noise: str
    recording: int
    contest: int
    gain: float


def voice_tables(
    voice: Voice,
    group: ShaftGroup,
    listenings: Sequence[Listening],
    noises: Sequence[HeardNoise] = (),
) -> list[VoiceTable]:
    """Hold a voice against everything it could show in."""
    tables: list[VoiceTable] = []
    for realm, lines in ((Realm.TONES, voice.lines), (Realm.ENVELOPE, voice.envelope_lines)):
        chosen = [one for one in listenings if one.realm == realm]
        if lines and chosen:
            tables += _line_tables(voice, lines, group, chosen)
    return tables + _noise_tables(voice, noises)


def _noise_tables(voice: Voice, noises: Sequence[HeardNoise]) -> list[VoiceTable]:
    made = {one.noise: one.probability for one in voice.family.noises} if voice.family else {}
    return [
        VoiceTable(
            Realm.NOISES,
            heard.recording,
            np.ones((1, 1)),
            (Claim(heard.contest, slice(0, 1), np.full((1, 1), made[heard.noise] * heard.gain)),),
        )
        for heard in noises
        if heard.noise in made
    ]


def _line_tables(
    voice: Voice,
    lines: Sequence[ExpectedLine],
    group: ShaftGroup,
    recordings: Sequence[Listening],
) -> list[VoiceTable]:
    """Hold a voice's lines of one realm against every recording.

    Whether a line is there at all is largely the same in all recordings of one drive: a
    line heard in the first is expected in the next, and one missing there is not held
    against the part twice.
    """
    carriers = _carriers(lines, group, recordings)
    shape = (group.offset.size, len(carriers) * recordings[0].table.levels_db.size)
    steady = [np.ones(shape) for _ in recordings]
    contested: list[dict[int, list[Claim]]] = [{} for _ in recordings]
    for line in lines:
        presence = np.full(shape, line.probability)
        for r, listening in enumerate(recordings):
            places = _places(line, group, listening.table)
            if not listening.table.visible[places].any():
                locked = voice.family is not None and voice.family.locked
                if locked and listening.comb is not None:
                    steady[r] *= listening.comb.factor(line, VOICE_LEVELS_DB)[None, :]
                continue
            gain = _gain(line, places, listening, carriers)
            _enter(presence * gain, places, listening, steady[r], contested[r])
            if r + 1 < len(recordings):
                presence = _updated_presence(line, presence, gain, listening.offset_blur)
    return [
        VoiceTable(
            one.realm,
            one.recording,
            table,
            tuple(_joined(one.first_hot + tone, claims) for tone, claims in by_tone.items()),
        )
        for table, by_tone, one in zip(steady, contested, recordings, strict=True)
    ]


def _places(line: ExpectedLine, group: ShaftGroup, table: LineTable) -> NDArray[np.intp]:
    """Lattice place of a line for each offset of its group."""
    base = int(np.rint((np.log(line.order) - table.ln_order[0]) / LATTICE_STEP))
    step = np.rint(group.offset / OFFSET_STEP).astype(np.intp) * _PLACES_PER_OFFSET
    return np.asarray(np.clip(base + step, 0, table.ln_order.size - 1), dtype=np.intp)


def _gain(
    line: ExpectedLine, places: NDArray[np.intp], listening: Listening, carriers: Sequence[int]
) -> Floats:
    """(likelihood ratio - 1) / price of a line, shape (offsets, carriers x levels)."""
    rows = listening.table.rows(line.relative_level_db, carriers)
    ratio = listening.table.ratio[rows[None, :], places[:, None]]
    return np.asarray((ratio - 1.0) / listening.price[places][:, None])


def _carriers(
    lines: Sequence[ExpectedLine], group: ShaftGroup, recordings: Sequence[Listening]
) -> tuple[int, ...]:
    """Bands that a voice's lines are held against: those that speak most for it, and all as one.

    Its lines swing together in one band, so every band is a hypothesis of its own. But
    where they hardly show one band is like another, and the mean of all serves for those.
    """
    count = min(one.table.carriers for one in recordings)
    if count <= CARRIERS_HELD:
        return tuple(range(count))
    score = np.zeros(count)
    for listening in recordings:
        table = listening.table
        for line in lines:
            places = np.unique(_places(line, group, table))
            level = int(table.rows(line.relative_level_db)[table.levels_db.size // 2])
            rows = level + FAMILY_LEVELS_DB.size * np.arange(count)
            ratio = table.ratio[rows[:, None], places[None, :]] / listening.price[places]
            score += np.log1p(line.probability * ratio.max(axis=1))
    best = np.sort(np.argsort(-score)[:CARRIERS_HELD])
    return (*(int(c) for c in best), count)


def _enter(
    claim: Floats,
    places: NDArray[np.intp],
    listening: Listening,
    steady: Floats,
    contested: dict[int, list[Claim]],
) -> None:
    """Enter a line's claim: straight where it is alone, by tone where others may claim."""
    tone = _hot_tone_at(places, listening.hot)
    # Places rise with the offset, so each tone is met in one run of rows.
    starts = np.flatnonzero(np.diff(tone, prepend=-2))
    for first, last in zip(starts, [*starts[1:], tone.size], strict=True):
        rows, index = slice(int(first), int(last)), int(tone[first])
        if index < 0:
            steady[rows] *= np.maximum(_LEAST_FACTOR, 1.0 + claim[rows])
        else:
            contested.setdefault(index, []).append(Claim(index, rows, claim[rows]))


def _joined(tone: int, claims: Sequence[Claim]) -> Claim:
    """One claim of all lines that meet a tone, never so low that the voice is ruled out."""
    first = min(one.rows.start for one in claims)
    last = max(one.rows.stop for one in claims)
    values = np.zeros((last - first, claims[0].values.shape[1]))
    for one in claims:
        values[one.rows.start - first : one.rows.stop - first] += one.values
    return Claim(tone, slice(first, last), np.maximum(values, _LEAST_FACTOR - 1.0))


def _updated_presence(
    line: ExpectedLine, presence: Floats, gain: Floats, offset_blur: float
) -> Floats:
    """P(the line is there) after this recording, by Bayes' rule."""
    seen = np.maximum(presence * (1.0 + gain), 0.0)
    posterior = seen / (seen + (1.0 - presence) + 1e-12)
    sd = max(offset_blur, _LEAST_SHIFT) / OFFSET_STEP
    posterior = gaussian_filter1d(posterior, sd, axis=0, mode="nearest", truncate=2.5)
    return np.asarray(_LASTING * posterior + (1.0 - _LASTING) * line.probability)


def _hot_tone_at(places: NDArray[np.intp], hot: Sequence[HotTone]) -> NDArray[np.intp]:
    """Index of the hot tone whose window holds each place, -1 where there is none."""
    if not hot:
        return np.full(places.shape, -1, dtype=np.intp)
    starts = np.array([tone.first for tone in hot], dtype=np.intp)
    index = np.searchsorted(starts, places, side="right") - 1
    lasts = np.array([tone.last for tone in hot], dtype=np.intp)
    inside = (index >= 0) & (places <= lasts[np.maximum(index, 0)])
    return np.where(inside, index, -1)


def carrier_prior(levels: Floats, carriers: int) -> Floats:
    """Prior over the columns of a voice's envelope tables: bands held alone, then all as one."""
    if carriers <= CARRIERS_HELD:
        return np.tile(levels / carriers, carriers)
    alone = np.tile(levels / carriers, CARRIERS_HELD)
    return np.concatenate([alone, levels * (1.0 - CARRIERS_HELD / carriers)])


def level_prior(mean_db: float, sd_db: float, levels_db: Floats = VOICE_LEVELS_DB) -> Floats:
    """Prior over evenly spaced levels for a normal level; sums to 1."""
    half = 0.5 * float(levels_db[1] - levels_db[0])
    edges = np.concatenate([[-np.inf], levels_db[1:] - half, [np.inf]])
    return np.diff(ndtr((edges - mean_db) / sd_db))
