"""From order spectra and expected families to a probability for every part.

The match runs twice: the first run shows how many tones nobody in the layout explains,
and the second pays for chance at that rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.evidence.chirps import NOISE as CHIRPS
from acoustic.evidence.chirps import ChirpTrain
from acoustic.evidence.comb import CombLevels
from acoustic.evidence.findings import EnvelopeSpectrum, NoiseFinding, OrderSpectrum
from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.tables.sound_words import Complaint
from acoustic.verdict.belief import Belief
from acoustic.verdict.beside import in_turn_or_beside
from acoustic.verdict.claims import (
    Listening,
    VoiceTable,
    carrier_prior,
    voice_tables,
)
from acoustic.verdict.clutter import StrayTone
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.cry_steps import CriesInStep, CryStepSettings, cries_in_step
from acoustic.verdict.drive_sources import Sources, sources_of
from acoustic.verdict.fault_sets import COMPLAINT, MatchResult, weigh_faults
from acoustic.verdict.heard_realm import EnvelopeMatch, HeardRealm
from acoustic.verdict.hidden_shafts import HiddenShaft
from acoustic.verdict.hot_tones import HotTone
from acoustic.verdict.line_likelihood import (
    ENVELOPE_LEVELS_DB,
    LikelihoodSettings,
    LineTable,
    envelope_table,
    line_table,
)
from acoustic.verdict.noise_prices import HeardNoise, heard_noises
from acoustic.verdict.problem import MatchProblem, evidence_share
from acoustic.verdict.reach import reach_of
from acoustic.verdict.song_priors import SongBeliefs, SongPrior, SongSettings
from acoustic.verdict.sources import Realm, Voice, level_prior
from acoustic.verdict.speed_groups import speed_groups
from acoustic.verdict.suspects import CountedWords
from acoustic.verdict.unknowns import (
    ShaftGroup,
)
from acoustic.verdict.user_words import weigh_words

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MatchSettings:
    """Priors of the joint match; levels are tone-to-noise ratios in dB.

    The figures were chosen on made scenes kept apart from those reported
    (``tests/trial``), except the prior over the number of faults and that what a layout
    leaves out counts as one part more, which are judgement. `astray` is the chance that the
    evidence means nothing (see `MatchProblem`): of 153 parts called above 0.95 on the
    scenes for tuning 11 were sound. From 0.01 to 0.05 the logarithmic score is about
    best; the careful end is taken. `workers` is how many tables are worked out at a
    time; it changes no answer.
    """

    likelihood: LikelihoodSettings = field(default_factory=LikelihoodSettings)
    count_prior: tuple[float, ...] = COMPLAINT
    unlisted: int = 1
    fault_level_db: tuple[float, float] = (-6.0, 8.0)
    envelope_level_db: tuple[float, float] = (-6.0, 8.0)
    songs: SongSettings = field(default_factory=SongSettings)
    cry_steps: CryStepSettings = field(default_factory=CryStepSettings)
    other_speed_blur: float = 3e-3
    same_speed_blur: float = 1.5e-3
    same_speed_within: float = 0.03
    astray: float = 0.05
    workers: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class HeardOrders:
    """What the match reads of one recording."""

    spectrum: OrderSpectrum
    comb: CombLevels
    speed_uncertainty: float = 0.0
    envelope: EnvelopeSpectrum | None = None
    noises: tuple[NoiseFinding, ...] = ()
    taken: Taken = IN_FRONT
    cries: ChirpTrain | None = None


@dataclass(frozen=True, slots=True, eq=False)
class HealthySong:
    """What a healthy recording of the same drive says of each part.

    Attributes
    ----------
    songs : tuple of SongPrior or None
        Per part how likely and how loudly it sings; None for a part that cannot.
    strays, envelope_strays : tuple of StrayTone
        Tones in it, and lines of its envelope, that no part explains: they will be there
        again.
    noises : mapping of str to float
        ln likelihood ratio of each noise in it: what a sound drive shows is no fault.
    """

    songs: tuple[SongPrior | None, ...]
    strays: tuple[StrayTone, ...]
    envelope_strays: tuple[StrayTone, ...] = ()
    noises: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class JointAnswer:
    """The settled match with what it was made of, for the verdict to read.

    `hot` and `stray_probability` hold, per recording, the contested tones and the
    probability that each belongs to nobody in the layout; `envelope` the same for the
    lines of the envelope; `noise_shares` per part the share it has in each noise of
    `noises`; `offset_blur` the relative sd by which each recording's offsets may differ
    from the first's; `words` what was said of the sound, None if nothing was.
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
    envelope: tuple[EnvelopeMatch, ...] = ()
    noises: tuple[HeardNoise, ...] = ()
    words: CountedWords | None = None

    @property
    def noise_shares(self) -> Floats:
        """P(the part makes the noise), shape (parts, noises)."""
        first = self.result.tone_shares.shape[1] - len(self.noises)
        return self.result.tone_shares[:, first:]


def match_drive(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Sequence[HeardOrders],
    settings: MatchSettings,
    healthy: HealthySong | None = None,
    complaint: Complaint | None = None,
) -> JointAnswer:
    """Judge all parts of a drive on all recordings together.

    Parameters
    ----------
    heard : sequence of HeardOrders
        Recordings of one drive at any speeds; the first is the anchor.
    healthy : HealthySong or None
        From `learn_healthy` on a recording of the same drive without complaint.
    complaint : Complaint or None
        What a person said of the sound: evidence on the mechanisms told by these words.
    """
    sources = sources_of(drive, families, heard[0].speed_uncertainty)
    if complaint is not None:
        prior = (settings.count_prior, settings.unlisted)
        told = weigh_words(drive, sources.parts, sources.voices, complaint, prior)
        sources = replace(sources, voices=list(told.voices), words=told.words)
    combs, blurs = [CombEvidence(h.comb) for h in heard], _offset_blur(heard, settings)
    tones, envelopes = _realms(heard, sources, max(blurs), settings)
    taken = [one.taken for one in heard]
    in_step = _in_step(drive, heard, sources, settings, healthy)
    free_if: Floats | None = None
    for roughly in (True, False):
        tones.price(healthy.strays if healthy else ())
        envelopes.price(healthy.envelope_strays if healthy else ())
        envelopes.beside(tones)
        listenings = [*tones.listenings(0, blurs, taken, combs)]
        listenings += envelopes.listenings(tones.hot_count, blurs, taken, None)
        steps = CriesInStep(tones.hot_count + envelopes.hot_count, in_step)
        noises = _noises(drive, heard, steps.contest + steps.count, settings, healthy)
        unlisted = _unlisted(tones, envelopes, steps.count + len(noises))
        problem = _problem(sources, listenings, (noises, steps), unlisted, (settings, healthy))
        problem = replace(problem, hidden_shafts=_hidden_shafts(problem, tones, free_if))
        result = weigh_faults(problem, roughly=roughly)
        del problem  # large: gone before the next round makes its own
        free_if = result.free_if_faulty
        free = 1.0 - result.tone_shares.sum(axis=0)
        tones.settle(free[: tones.hot_count])
        envelopes.settle(free[tones.hot_count : tones.hot_count + envelopes.hot_count])
    return JointAnswer(
        parts=sources.parts,
        voices=tuple(sources.voices),
        groups=tuple(sources.groups),
        part_groups=tuple(sources.part_groups),
        tables=tuple(tones.tables),
        prices=tuple(tones.prices),
        hot=tuple(tones.hot),
        stray_probability=tuple(tones.stray or ()),
        offset_blur=blurs,
        result=result,
        envelope=envelopes.settled(),
        noises=tuple(noises),
        words=sources.words,
    )


def _unlisted(tones: HeardRealm, envelopes: HeardRealm, lone: int) -> tuple[Floats, Floats]:
    """Weights of what no table lists: strangers, and lines beside loud ones."""
    stranger = np.concatenate([tones.strangers, envelopes.strangers, np.ones(lone)])
    companions = np.concatenate([tones.companions, envelopes.companions, np.zeros(lone)])
    return stranger, companions


def belief_of(answer: JointAnswer) -> Belief:
    """What the match believes of all parts together, for further evidence to change."""
    shares: list[dict[str, float]] = [{} for _ in answer.parts]
    for voice, share in zip(answer.voices, answer.result.voice_shares, strict=True):
        if voice.family is not None:
            own = shares[voice.part]
            own[voice.family.mechanism] = own.get(voice.family.mechanism, 0.0) + float(share)
    return Belief(answer.parts, tuple(answer.result.sets.items()), tuple(shares))


def _realms(
    heard: Sequence[HeardOrders], sources: Sources, widest_blur: float, settings: MatchSettings
) -> tuple[HeardRealm, HeardRealm]:
    """Tones and envelopes of all recordings, with a table of each wherever a line may lie."""
    sung, swung = (
        reach_of(sources.voices, sources.groups, realm, widest_blur)
        for realm in (Realm.TONES, Realm.ENVELOPE)
    )
    tables = in_turn_or_beside(
        lambda one: line_table(one.spectrum, settings.likelihood, sung), heard, settings.workers
    )
    pairs = [(r, one.envelope) for r, one in enumerate(heard) if one.envelope is not None]
    envelope_tables = in_turn_or_beside(
        lambda pair: envelope_table(pair[1], settings.likelihood, swung), pairs, settings.workers
    )
    tones = HeardRealm(Realm.TONES, list(range(len(heard))), tables)
    return tones, HeardRealm(Realm.ENVELOPE, [r for r, _ in pairs], envelope_tables)


def _noises(
    drive: Drive,
    heard: Sequence[HeardOrders],
    first: int,
    settings: MatchSettings,
    healthy: HealthySong | None,
) -> list[HeardNoise]:
    """Noises that some mechanism may make, with what a sound drive accounts for."""
    speeds_hz = [one.spectrum.mean_speed_hz for one in heard]
    most_orders = [settings.cry_steps.most_per_s / speed_hz for speed_hz in speeds_hz]
    return heard_noises(
        drive.knowledge.noises,
        [one.noises for one in heard],
        speed_groups(speeds_hz, settings.same_speed_within),
        most_orders,
        healthy.noises if healthy else {},
        first,
    )


def _in_step(
    drive: Drive,
    heard: Sequence[HeardOrders],
    sources: Sources,
    settings: MatchSettings,
    healthy: HealthySong | None,
) -> dict[int, float]:
    """What cries in step add to each voice; nothing where the sound drive cries as well."""
    if healthy is not None and healthy.noises.get(CHIRPS, 0.0) > 0.0:
        return {}
    trains = [one.cries for one in heard if one.cries is not None]
    turning = (sources.groups, sources.belts)
    return cries_in_step(drive.engine, sources.voices, turning, trains, settings.cry_steps)


def _problem(
    sources: Sources,
    listenings: Sequence[Listening],
    noises: tuple[Sequence[HeardNoise], CriesInStep],
    unlisted: tuple[Floats, Floats],
    given: tuple[MatchSettings, HealthySong | None],
) -> MatchProblem:
    """`unlisted` are weights of what no table lists: strangers, and lines beside loud ones."""
    settings, healthy = given
    without_lines, steps = noises

    def held_against(number: int) -> list[VoiceTable]:
        voice = sources.voices[number]
        group = sources.groups[voice.group]
        tables = voice_tables(voice, group, listenings, without_lines)
        return tables + steps.tables(number, group.offset.size)

    # Too many small steps for threads: with two of them it takes twice as long as with one.
    tables = [held_against(number) for number in range(len(sources.voices))]
    fault_level = level_prior(*settings.fault_level_db)
    own = healthy.songs if healthy else (None,) * len(sources.parts)
    sung = [one for one in listenings if one.realm == Realm.TONES]
    swinging = [one for one in listenings if one.realm == Realm.ENVELOPE]
    swing_level = level_prior(*settings.envelope_level_db, ENVELOPE_LEVELS_DB)
    carriers = swinging[0].table.carriers if swinging else 1
    blurs = {one.recording: one.offset_blur for one in listenings}
    return MatchProblem(
        belts=sources.belts,
        groups=sources.groups,
        part_groups=sources.part_groups,
        voices=sources.voices,
        tables=tables,
        level_priors=[fault_level] * len(sources.voices),
        envelope_levels=carrier_prior(swing_level, carriers),
        count_prior=settings.count_prior,
        songs=SongBeliefs(settings.songs, own),
        fault_above_db=settings.songs.fault_above_db,
        offset_blur=tuple(blurs[r] for r in sorted(blurs)),
        stranger=unlisted[0],
        companions=unlisted[1],
        hidden_shafts=np.zeros((len(sources.parts), unlisted[0].size)),
        unlisted=settings.unlisted,
        evidence_share=evidence_share(
            [one.table.mean_speed_hz for one in sung],
            [(one.taken.point, one.taken.contact) for one in sung],
            settings.same_speed_within,
        ),
        astray=settings.astray,
    )


def _hidden_shafts(problem: MatchProblem, tones: HeardRealm, free: Floats | None) -> Floats:
    """Weight against each part of shafts nobody listed; nothing before strangers are known."""
    weights = np.zeros_like(problem.hidden_shafts)
    if free is None:
        return weights
    first = 0
    for table, hot, rates in zip(tones.tables, tones.hot, tones.rates, strict=True):
        if hot:
            own, hidden = slice(first, first + len(hot)), HiddenShaft(table, hot, rates)
            for part in range(problem.part_count):
                weights[part, own] = hidden.odds(free[part, own], _turns_of(problem, part))
        first += len(hot)
    return weights


def _turns_of(problem: MatchProblem, part: int) -> list[tuple[float, float]]:
    """From where to where, in ln(order), each of a part's lines may lie."""
    turns = []
    for voice in problem.voices:
        if voice.part == part:
            offset = problem.groups[voice.group].offset
            for line in voice.lines:
                ln_order = float(np.log(line.order))
                turns.append((ln_order + float(offset[0]), ln_order + float(offset[-1])))
    return turns


def _offset_blur(heard: Sequence[HeardOrders], settings: MatchSettings) -> tuple[float, ...]:
    """Slip changes with speed and load: later recordings' offsets may differ a little."""
    anchor_hz = heard[0].spectrum.mean_speed_hz
    blurs = [0.0]
    for other in heard[1:]:
        apart = abs(np.log(other.spectrum.mean_speed_hz / anchor_hz))
        same = apart < settings.same_speed_within
        slip = settings.same_speed_blur if same else settings.other_speed_blur
        blurs.append(float(np.hypot(slip, other.speed_uncertainty)))
    return tuple(blurs)
