"""What a voice claims of what was heard: its lines held against every recording.

A voice in one recording is a table over offset d and level a of how well its lines agree
with what was heard, with its claims on contested tones kept apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedLine
from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.hot_tones import HotTone
from acoustic.verdict.lasting import carried_over
from acoustic.verdict.level_shifts import level_shift_db
from acoustic.verdict.line_likelihood import (
    LATTICE_STEP,
    VOICE_LEVELS_DB,
    LineTable,
)
from acoustic.verdict.noise_prices import HeardNoise
from acoustic.verdict.row_blur import blurred_rows
from acoustic.verdict.sources import Realm, Voice
from acoustic.verdict.unknowns import OFFSET_STEP, ShaftGroup

Floats = NDArray[np.float64]

_LEAST_FACTOR = 0.02
"""A line that is not there where it should be counts at most this much against."""
_LEAST_SHIFT = 1e-3
_PRESENCE_WIDTHS = 2.5
CRIES = "bursts"
"""How lines of the envelope show that short cries make."""
CARRIERS_HELD = 3
"""Bands of the sound in which an envelope family is looked for by itself."""
_PLACES_PER_OFFSET = round(OFFSET_STEP / LATTICE_STEP)


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
    taken : Taken
        Where and with which loads on it was recorded.
    """

    realm: Realm
    recording: int
    table: LineTable
    price: Floats
    hot: Sequence[HotTone]
    first_hot: int
    comb: CombEvidence | None
    offset_blur: float
    taken: Taken = IN_FRONT


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


def cry_order(voice: Voice) -> float:
    """How often per turn of the crankshaft a voice cries; 0 if it does so in no step."""
    orders = [line.order for line in voice.envelope_lines if line.shows_as == CRIES]
    return min(orders, default=0.0)


def _noise_tables(voice: Voice, noises: Sequence[HeardNoise]) -> list[VoiceTable]:
    """What a voice claims of each noise: one that it made once it is likely to make again."""
    usual = {one.noise: one.probability for one in voice.family.noises} if voice.family else {}
    chance, tables = dict(usual), []
    for heard in noises:
        name = heard.noise
        if name in usual and (heard.gain > 0.0 or cry_order(voice) <= heard.most_order):
            value = chance[name] * heard.gain
            claim = Claim(heard.contest, slice(0, 1), np.full((1, 1), value))
            tables.append(VoiceTable(Realm.NOISES, heard.recording, np.ones((1, 1)), (claim,)))
            made = chance[name] * (1.0 + heard.gain) / (1.0 + value)
            chance[name] = carried_over(made, usual[name])
    return tables


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
    shifts = [level_shift_db(voice.place, voice.load_db, one.taken) for one in recordings]
    places = [_places(lines, group, one.table) for one in recordings]
    carriers = _carriers(lines, places, recordings, shifts)
    tones = [_hot_tone_at(row, one.hot) for row, one in zip(places, recordings, strict=True)]
    columns = [
        _columns(lines, one.table, shift_db, carriers)
        for one, shift_db in zip(recordings, shifts, strict=True)
    ]
    shape = (group.offset.size, columns[0].shape[1])
    steady = [np.ones(shape) for _ in recordings]
    contested: list[dict[int, list[Claim]]] = [{} for _ in recordings]
    for number, line in enumerate(lines):
        presence: Floats | float = line.probability
        for r, listening in enumerate(recordings):
            own = places[r][number]
            if not listening.table.visible[own].any():
                if voice.family is not None and voice.family.locked:
                    steady[r] *= _on_the_comb(line, listening, shifts[r], len(recordings))
                continue
            gain = listening.table.gains(own[:, None], columns[r][number])
            gain /= listening.price[own][:, None]
            _enter(presence * gain, tones[r][number], steady[r], contested[r])
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


def _on_the_comb(
    line: ExpectedLine, listening: Listening, shift_db: float, recordings: int
) -> Floats | float:
    """Factor of a line hidden under one of the engine's own, over the levels.

    A comb line of the engine that stands out does so in every recording of that engine, so
    all of them together count as one.
    """
    if listening.comb is None:
        return 1.0
    factor = listening.comb.factor(line, VOICE_LEVELS_DB + shift_db)
    return np.asarray(factor[None, :] ** (1.0 / recordings))


def _places(lines: Sequence[ExpectedLine], group: ShaftGroup, table: LineTable) -> NDArray[np.intp]:
    """Lattice place of each line for each offset of their group, shape (lines, offsets)."""
    orders = np.log([line.order for line in lines])
    base = np.rint((orders - table.ln_order[0]) / LATTICE_STEP).astype(np.intp)
    step = np.rint(group.offset / OFFSET_STEP).astype(np.intp) * _PLACES_PER_OFFSET
    places = base[:, None] + step[None, :]
    return np.asarray(np.clip(places, 0, table.ln_order.size - 1), dtype=np.intp)


def _columns(
    lines: Sequence[ExpectedLine], table: LineTable, shift_db: float, carriers: Sequence[int]
) -> NDArray[np.intp]:
    """Where to find each line in each carrier at each level, shape (lines, carriers x levels)."""
    below_db = np.array([line.relative_level_db for line in lines]) + shift_db
    columns = table.columns(table.levels_db + below_db[:, None], carriers)
    return columns.reshape(len(lines), -1)


def _carriers(
    lines: Sequence[ExpectedLine],
    places: Sequence[NDArray[np.intp]],
    recordings: Sequence[Listening],
    shifts_db: Sequence[float],
) -> tuple[int, ...]:
    """Bands that a voice's lines are held against: those that speak most for it, and all as one.

    Its lines swing together in one band, so every band is a hypothesis of its own. But
    where they hardly show one band is like another, and the mean of all serves for those.
    """
    count = min(one.table.carriers for one in recordings)
    if count <= CARRIERS_HELD:
        return tuple(range(count))
    score = np.zeros(count)
    below_db = np.array([line.relative_level_db for line in lines])
    chances = np.array([line.probability for line in lines])
    for here, listening, shift_db in zip(places, recordings, shifts_db, strict=True):
        table = listening.table
        levels_db = table.levels_db[table.levels_db.size // 2] + below_db + shift_db
        columns = table.columns(levels_db, range(count)).T
        ratios = 1.0 + table.gains(here[:, None, :], columns[:, :, None])
        ratios /= listening.price[here][:, None, :]
        score += np.log1p(chances[:, None] * ratios.max(axis=2)).sum(axis=0)
    held = np.sort(np.argsort(-score)[:CARRIERS_HELD])
    return (*(int(c) for c in held), count)


def _enter(
    claim: Floats,
    tone: NDArray[np.intp],
    steady: Floats,
    contested: dict[int, list[Claim]],
) -> None:
    """Enter a line's claim: straight where it is alone, by tone where others may claim."""
    alone = np.maximum(_LEAST_FACTOR, 1.0 + claim)
    alone[tone >= 0] = 1.0
    steady *= alone
    # Places rise with the offset, so each tone is met in one run of rows.
    edges = [0, *(np.flatnonzero(tone[1:] != tone[:-1]) + 1).tolist(), tone.size]
    for first, last in pairwise(edges):
        index = int(tone[first])
        if index >= 0:
            rows = slice(first, last)
            contested.setdefault(index, []).append(Claim(index, rows, claim[rows]))


def _joined(tone: int, claims: Sequence[Claim]) -> Claim:
    """One claim of all lines that meet a tone, never so low that the voice is ruled out."""
    if len(claims) == 1:
        (one,) = claims
        return Claim(tone, one.rows, np.maximum(one.values, _LEAST_FACTOR - 1.0))
    first = min(one.rows.start for one in claims)
    last = max(one.rows.stop for one in claims)
    values = np.zeros((last - first, claims[0].values.shape[1]))
    for one in claims:
        values[one.rows.start - first : one.rows.stop - first] += one.values
    return Claim(tone, slice(first, last), np.maximum(values, _LEAST_FACTOR - 1.0))


def _updated_presence(
    line: ExpectedLine, presence: Floats | float, gain: Floats, offset_blur: float
) -> Floats:
    """P(the line is there) after this recording, by Bayes' rule."""
    seen = np.maximum(presence * (1.0 + gain), 0.0)
    posterior = seen / (seen + (1.0 - presence) + 1e-12)
    sd = max(offset_blur, _LEAST_SHIFT) / OFFSET_STEP
    posterior = blurred_rows(posterior, sd, _PRESENCE_WIDTHS)
    return carried_over(posterior, line.probability)


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
