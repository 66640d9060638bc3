"""From order spectra and expected families to a probability for every part.

The match runs twice: the first run shows how many tones nobody in the layout explains,
and the second pays for chance at that rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.evidence.comb import CombLevels
from acoustic.evidence.findings import OrderSpectrum
from acoustic.verdict.clutter import (
    HotTone,
    StrayTone,
    clutter,
    hot_tones,
    stranger_weights,
    stray_rate,
)
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.fault_sets import COMPLAINT, HEALTHY, MatchResult, weigh_faults
from acoustic.verdict.line_likelihood import LikelihoodSettings, LineTable, line_table
from acoustic.verdict.problem import MatchProblem
from acoustic.verdict.song_priors import SongBeliefs, SongPrior, SongSettings
from acoustic.verdict.sources import (
    VOICE_LEVELS_DB,
    Listening,
    Voice,
    level_prior,
    part_voices,
    voice_tables,
)
from acoustic.verdict.unknowns import (
    BeltOffset,
    GroupKey,
    ShaftGroup,
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MatchSettings:
    """Priors of the joint match; levels are tone-to-noise ratios in dB.

    The figures were chosen on made scenes kept apart from those reported
    (``tests/trial``), except the prior over the number of faults, which is judgement.
    """

    likelihood: LikelihoodSettings = field(default_factory=LikelihoodSettings)
    count_prior: tuple[float, ...] = COMPLAINT
    fault_level_db: tuple[float, float] = (-6.0, 8.0)
    songs: SongSettings = field(default_factory=SongSettings)
    other_speed_blur: float = 3e-3
    same_speed_blur: float = 1.5e-3
    same_speed_within: float = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class HeardOrders:
    """What the match reads of one recording."""

    spectrum: OrderSpectrum
    comb: CombLevels
    speed_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class HealthySong:
    """What a healthy recording of the same drive says of each part.

    Attributes
    ----------
    songs : tuple of SongPrior or None
        Per part how likely and how loudly it sings; None for a part that cannot.
    strays : tuple of StrayTone
        Tones in it that no part explains: they will be there again.
    """

    songs: tuple[SongPrior | None, ...]
    strays: tuple[StrayTone, ...]


@dataclass(frozen=True, slots=True, eq=False)
class JointAnswer:
    """The settled match with what it was made of, for the verdict to read.

    `hot` and `stray_probability` hold, per recording, the contested tones and the
    probability that each belongs to nobody in the layout; `offset_blur` the relative sd
    by which each recording's offsets may differ from the first's.
    """

    parts: tuple[str, ...]
    voices: tuple[Voice, ...]
    groups: tuple[ShaftGroup, ...]
    part_groups: tuple[int, ...]
    tables: tuple[LineTable, ...]
    prices: tuple[Floats, ...]
    hot: tuple[tuple[HotTone, ...], ...]
    stray_probability: tuple[Floats, ...]
    offset_blur: tuple[float, ...]
    result: MatchResult


@dataclass(frozen=True, slots=True, eq=False)
class _Sources:
    parts: tuple[str, ...]
    belts: list[BeltOffset]
    groups: list[ShaftGroup]
    part_groups: list[int]
    voices: list[Voice]


def match_drive(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Sequence[HeardOrders],
    settings: MatchSettings,
    healthy: HealthySong | None = None,
) -> JointAnswer:
    """Judge all parts of a drive on all recordings together.

    Parameters
    ----------
    heard : sequence of HeardOrders
        Recordings of one drive at any speeds; the first is the anchor.
    healthy : HealthySong or None
        From `learn_healthy` on a recording of the same drive without complaint.
    """
    sources = _sources(drive, families)
    tables = [line_table(h.spectrum, settings.likelihood) for h in heard]
    hot = [hot_tones(table) for table in tables]
    stray: list[Floats] | None = None
    for _ in range(2):
        rates = _rates(tables, hot, stray, healthy)
        prices = [clutter(t, rate) for t, rate in zip(tables, rates, strict=True)]
        stranger = stranger_weights(tables, hot, rates)
        listenings = _listenings(heard, tables, prices, hot, settings)
        problem = _problem(sources, listenings, stranger, settings, healthy)
        result = weigh_faults(problem)
        stray = _per_recording(1.0 - result.tone_shares.sum(axis=0), hot)
    return JointAnswer(
        parts=sources.parts,
        voices=tuple(sources.voices),
        groups=tuple(sources.groups),
        part_groups=tuple(sources.part_groups),
        tables=tuple(tables),
        prices=tuple(prices),
        hot=tuple(hot),
        stray_probability=tuple(stray or ()),
        offset_blur=_offset_blur(heard, settings),
        result=result,
    )


def learn_healthy(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Sequence[HeardOrders],
    settings: MatchSettings,
) -> HealthySong:
    """What recordings of a drive without complaint say of its parts' healthy song."""
    answer = match_drive(drive, families, heard, replace(settings, count_prior=HEALTHY))
    songs: list[SongPrior | None] = [None] * len(answer.parts)
    for v, voice in enumerate(answer.voices):
        if voice.healthy:
            share = float(np.clip(answer.result.voice_shares[v], 0.05, 0.95))
            # Another day, another phone position: the level is known to about 3 dB.
            songs[voice.part] = SongPrior(share, _widened(answer.result.level_posteriors[v]))
    strays = tuple(_strays(answer.tables[0], answer.hot[0], answer.stray_probability[0]))
    return HealthySong(tuple(songs), strays)


def _widened(level: Floats) -> Floats:
    away = VOICE_LEVELS_DB[:, None] - VOICE_LEVELS_DB[None, :]
    wide = np.exp(-0.5 * (away / 3.0) ** 2) @ level
    return np.asarray(wide / wide.sum())


def _sources(drive: Drive, families: Sequence[ExpectedFamily]) -> _Sources:
    tonal = [f for f in families if f.tonal_lines]
    parts = tuple(dict.fromkeys(f.part for f in tonal))
    belt_names = list(dict.fromkeys(f.belt for f in tonal))
    shared = [shared_unknowns(tonal, name) for name in belt_names]
    belts = [belt_offset(drive, n, s) for n, s in zip(belt_names, shared, strict=True)]
    keys: dict[GroupKey, int] = {}
    groups: list[ShaftGroup] = []
    for family in tonal:
        key = group_key(family)
        if key not in keys:
            b = belt_names.index(family.belt)
            keys[key] = len(groups)
            groups.append(shaft_group(drive, key, b, belts[b], shared[b]))
    voices: list[Voice] = []
    part_groups = []
    for k, part in enumerate(parts):
        own = [f for f in tonal if f.part == part]
        voices += part_voices(own, k, keys)
        used = [keys[group_key(f)] for f in own]
        part_groups.append(max(set(used), key=used.count))
    return _Sources(parts, belts, groups, part_groups, voices)


def _listenings(
    heard: Sequence[HeardOrders],
    tables: Sequence[LineTable],
    prices: Sequence[Floats],
    hot: Sequence[tuple[HotTone, ...]],
    settings: MatchSettings,
) -> list[Listening]:
    starts = np.cumsum([0, *(len(tones) for tones in hot)])[:-1].tolist()
    blurs = _offset_blur(heard, settings)
    combs = [CombEvidence(h.comb) for h in heard]
    return [Listening(*one) for one in zip(tables, prices, hot, starts, combs, blurs, strict=True)]


def _problem(
    sources: _Sources,
    listenings: Sequence[Listening],
    stranger: Floats,
    settings: MatchSettings,
    healthy: HealthySong | None,
) -> MatchProblem:
    tables = [voice_tables(v, sources.groups[v.group], listenings) for v in sources.voices]
    fault_level = level_prior(*settings.fault_level_db)
    own = healthy.songs if healthy else (None,) * len(sources.parts)
    return MatchProblem(
        belts=sources.belts,
        groups=sources.groups,
        part_groups=sources.part_groups,
        voices=sources.voices,
        tables=tables,
        level_priors=[fault_level] * len(sources.voices),
        count_prior=settings.count_prior,
        songs=SongBeliefs(settings.songs, own),
        fault_above_db=settings.songs.fault_above_db,
        offset_blur=tuple(one.offset_blur for one in listenings),
        stranger=stranger,
    )


def _offset_blur(heard: Sequence[HeardOrders], settings: MatchSettings) -> tuple[float, ...]:
    """Slip changes with speed and load: later recordings' offsets may differ a little."""
    anchor_hz = heard[0].spectrum.mean_speed_hz
    blurs = [heard[0].speed_uncertainty]
    for other in heard[1:]:
        apart = abs(np.log(other.spectrum.mean_speed_hz / anchor_hz))
        same = apart < settings.same_speed_within
        slip = settings.same_speed_blur if same else settings.other_speed_blur
        blurs.append(float(np.hypot(slip, other.speed_uncertainty)))
    return tuple(blurs)


def _strays(table: LineTable, hot: Sequence[HotTone], probability: Floats) -> list[StrayTone]:
    return [
        StrayTone(tone.ln_order, float(p), table.mean_speed_hz)
        for tone, p in zip(hot, probability, strict=True)
        if p > 0.1 and tone.clear
    ]


def _per_recording(values: Floats, hot: Sequence[tuple[HotTone, ...]]) -> list[Floats]:
    return np.split(values, np.cumsum([len(tones) for tones in hot])[:-1])


def _rates(
    tables: Sequence[LineTable],
    hot: Sequence[tuple[HotTone, ...]],
    stray: Sequence[Floats] | None,
    healthy: HealthySong | None,
) -> list[Floats]:
    """Rates of unexplained tones as far as they are known.

    A stranger pays once: only the recordings after the one that showed it expect it.
    """
    known = healthy.strays if healthy else ()
    return [
        stray_rate(
            table,
            tones,
            None if stray is None else stray[r],
            known,
            list(zip(tables[:r], hot[:r], strict=True)),
        )
        for r, (table, tones) in enumerate(zip(tables, hot, strict=True))
    ]
