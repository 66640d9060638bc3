"""Which parts are faulty: sets of parts weighed against each other, one set at a time.

Two parts that fit the same three tones must not be played off tone by tone: either one
makes them all or the other does. So the sets {}, {a}, {b}, {a, b} ... are weighed whole.
Within a set the second part only gets what the first leaves unexplained.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.healthy_songs import rivals_of, settle_songs
from acoustic.verdict.offsets import offset_priors
from acoustic.verdict.part_states import PartBook, PartState
from acoustic.verdict.problem import MatchProblem

Floats = NDArray[np.float64]

COMPLAINT = (0.25, 0.60, 0.13, 0.02)
"""P(0, 1, 2, 3 faulty parts) when somebody complains of a sound (judgement)."""
HEALTHY = (1.0,)
"""A recording of a drive known to be sound."""
_CANDIDATES = 8
_ROUGH_CANDIDATES = 3
"""Parts told to the others, in full and where only strangers' tones are wanted (for time)."""
_WORTH_TRYING = 0.01
_SPOKEN_AGAINST = 0.9
"""A part whose ratio faulty : healthy is lower has nothing to tell the others."""
_LOUD = 30.0
"""Claims this many times a stranger's make a part a loud source (judgement)."""
_LOUD_LINES = 2
_FELT = 0.03
"""A claim below this share of a stranger's changes nothing for the others."""
_TRIPLE_SEEDS = 3


@dataclass(frozen=True, slots=True, eq=False)
class MatchResult:
    """The weighed sets, summed up per part.

    Attributes
    ----------
    faulty, singing : ndarray, shape (parts,)
        P(faulty) and P(healthy but singing).
    fault_evidence : ndarray, shape (parts,)
        Likelihood ratio of the part alone being faulty to no fault.
    voice_shares : ndarray, shape (voices,)
        For a mechanism: its share of the part's P(faulty). For a song: P(sings | healthy).
    tone_shares : ndarray, shape (parts, hot tones)
        P(the part makes the tone); what is missing to 1 is a stranger's.
    free_if_faulty : ndarray, shape (parts, hot tones)
        P(nobody in the layout makes the tone) if the part is faulty.
    offset_posteriors : tuple of ndarray
        P(d) per part, over its group's lattice.
    level_posteriors : tuple of ndarray
        P(level) per voice given that it sounds.
    sets : mapping of tuple of int to float
        P(exactly these parts are faulty), by their indices; sums to 1.
    """

    faulty: Floats
    singing: Floats
    fault_evidence: Floats
    voice_shares: Floats
    tone_shares: Floats
    free_if_faulty: Floats
    offset_posteriors: tuple[Floats, ...]
    level_posteriors: tuple[Floats, ...]
    sets: Mapping[tuple[int, ...], float]


@dataclass(frozen=True, slots=True, eq=False)
class _Given:
    """The drive with some parts taken as faulty: what the others see then.

    `taken` is the largest claim of a faulty part on each tone; `beside` what a loud faulty
    part's further lines, which no table lists, weigh there.
    """

    claims: Floats
    priors: tuple[Floats, ...]
    states: Mapping[int, PartState]
    taken: Floats
    beside: Floats


def weigh_faults(problem: MatchProblem, *, roughly: bool = False) -> MatchResult:
    """Weigh all likely sets of faulty parts; `roughly` no three at once and fewer pairs."""
    book = PartBook(problem)
    sound = settle_songs(book)
    none = np.zeros(problem.tone_count)
    nothing = _Given(sound.claims, sound.priors, dict(enumerate(sound.states)), none, none)
    alone = _evidence(book, nothing, range(problem.part_count))
    given: dict[int, _Given] = {}
    told = _told_parts(alone, _ROUGH_CANDIDATES if roughly else _CANDIDATES)
    given |= {j: _with_fault(book, nothing, j) for j in told}
    weights = _set_weights(book, given, alone, 2 if roughly else problem.part_count)
    return _summed_up(book, nothing, alone, weights, given)


def _evidence(book: PartBook, given: _Given, parts: Iterable[int]) -> Floats:
    """Likelihood ratio faulty : healthy of each part, given what is taken as faulty."""
    ratios = np.zeros(book.problem.part_count)
    for k in parts:
        state, prior = given.states[k], given.priors[k]
        ratios[k] = float(prior @ state.on) / float(prior @ state.off)
    return np.asarray(ratios**book.problem.evidence_share)


def _with_fault(book: PartBook, given: _Given, part: int) -> _Given:
    """Take one more part as faulty and let the others see its claims and its offset."""
    claims = given.claims.copy()
    claims[part] = book.claims(part, given.states[part], given.priors[part], faulty=True)
    taken = np.maximum(given.taken, claims[part])
    beside = np.maximum(given.beside, _companions(book.problem, claims[part]))
    states = dict(given.states)
    gained = np.abs(claims[part] - given.claims[part]) > _FELT * book.problem.stranger
    felt = frozenset(np.flatnonzero(gained | (beside > 0.0)).tolist())
    for k, state in given.states.items():
        if k != part and book.tones_of(k) & felt:
            rivals = rivals_of(book, claims, k) + beside
            states[k] = book.state(k, rivals, state.song, given.priors[k], state, taken)
    likelihoods = [state.on if k == part else state.off for k, state in sorted(states.items())]
    priors = offset_priors(book.problem, likelihoods)
    for k in states:
        if k != part and book.tones_of(k) & felt:
            claims[k] = book.claims(k, states[k], priors[k], faulty=False)
    return _Given(claims, tuple(priors), states, taken, beside)


def _companions(problem: MatchProblem, claims: Floats) -> Floats:
    """What a loud source's lines that no table lists weigh where it lists none itself."""
    made = (problem.companions > 0.0) & (claims > _LOUD * problem.stranger)
    loud = np.count_nonzero(made) >= _LOUD_LINES
    return np.where(made | (not loud), 0.0, problem.companions)


def _told_parts(alone: Floats, most: int) -> list[int]:
    """Parts worth taking as faulty to see what the others say then.

    One that the evidence speaks against explains nothing: the others need not be told of it.
    """
    ranked = [int(k) for k in np.argsort(-alone)[:most]]
    return [k for k in ranked if alone[k] > max(_SPOKEN_AGAINST, _WORTH_TRYING * alone[ranked[0]])]


def _set_weights(
    book: PartBook, given: Mapping[int, _Given], alone: Floats, largest: int
) -> dict[tuple[int, ...], float]:
    """Posterior weight of each set of at most `largest` faulty parts, summing to 1."""
    problem = book.problem
    n, prior = problem.part_count, problem.count_prior
    most = min(len(prior) - 1, n, largest)
    share = [set_share(prior, (n, problem.unlisted), size) for size in range(most + 1)]
    weights: dict[tuple[int, ...], float] = {(): share[0]}
    if most >= 1:
        weights |= {(k,): share[1] * float(alone[k]) for k in range(n)}
    if most >= 2:
        weights |= _larger_sets(book, given, alone, share)
    return _unless_astray(weights, share, problem.astray)


def _unless_astray(
    weights: Mapping[tuple[int, ...], float], share: Sequence[float], astray: float
) -> dict[tuple[int, ...], float]:
    """Weights brought to a sum of 1, less the chance that all of the evidence means nothing."""
    total = sum(weights.values())
    known = sum(share[len(chosen)] for chosen in weights)
    return {
        chosen: (1.0 - astray) * weight / total + astray * share[len(chosen)] / known
        for chosen, weight in weights.items()
    }


def set_share(prior: tuple[float, ...], parts: tuple[int, int], size: int) -> float:
    """Prior of one set of so many listed parts.

    The faulty ones are drawn evenly from the listed parts and what nobody listed.
    """
    listed, unlisted = parts
    return sum(
        share * comb(unlisted, number - size) / comb(listed + unlisted, number)
        for number, share in enumerate(prior)
        if size <= number <= listed + unlisted
    )


def _larger_sets(
    book: PartBook, given: Mapping[int, _Given], alone: Floats, share: list[float]
) -> dict[tuple[int, ...], float]:
    n = book.problem.part_count
    beside = {j: _evidence(book, one, [k for k in range(n) if k != j]) for j, one in given.items()}
    weights: dict[tuple[int, ...], float] = {}
    for j in range(n):
        for k in range(j + 1, n):
            ways = [alone[a] * beside[a][b] for a, b in ((j, k), (k, j)) if a in beside]
            if not ways:
                # Neither was worth telling the others of; what both claim still counts once.
                apart = not book.tones_of(j) & book.tones_of(k)
                ways = [alone[j] * alone[k] if apart else max(alone[j], alone[k])]
            # Who is told first matters where both claim a tone: the better telling counts.
            ratio = max(ways)
            weights[(j, k)] = share[2] * float(ratio)
    if len(share) > 3:
        weights |= _triples(book, given, beside, alone, weights, share[3])
    return weights


def _triples(
    book: PartBook,
    given: Mapping[int, _Given],
    beside: Mapping[int, Floats],
    alone: Floats,
    pairs: Mapping[tuple[int, ...], float],
    share: float,
) -> dict[tuple[int, ...], float]:
    """Third parts beside the likeliest pairs only."""
    weights: dict[tuple[int, ...], float] = {}
    seeds = sorted(pairs, key=lambda pair: -pairs[pair])[:_TRIPLE_SEEDS]
    for pair in seeds:
        j = max((k for k in pair if k in given), key=lambda k: float(alone[k]), default=None)
        if j is None:
            continue
        k = pair[0] if pair[1] == j else pair[1]
        both = _with_fault(book, given[j], k)
        rest = [m for m in range(book.problem.part_count) if m not in pair]
        third = _evidence(book, both, rest)
        for m in rest:
            chosen = tuple(sorted((*pair, m)))
            ratio = share * float(alone[j] * beside[j][k] * third[m])
            weights[chosen] = max(weights.get(chosen, 0.0), ratio)
    return weights


def _summed_up(
    book: PartBook,
    nothing: _Given,
    alone: Floats,
    weights: Mapping[tuple[int, ...], float],
    given: Mapping[int, _Given],
) -> MatchResult:
    problem = book.problem
    faulty = np.zeros(problem.part_count)
    for chosen, weight in weights.items():
        faulty[list(chosen)] += weight
    faulty = np.minimum(faulty, 1.0)
    mixture = _mixture(nothing, faulty, weights[()], given)
    tone_shares = np.zeros_like(nothing.claims)
    for share, one in mixture:
        tone_shares += share * one.claims / (problem.stranger + one.claims.sum(axis=0))
    singing = np.zeros(problem.part_count)
    shares = np.zeros(len(problem.voices))
    levels: list[Floats] = [np.empty(0)] * len(problem.voices)
    offsets = []
    for k in range(problem.part_count):
        song = book.song_voice(k)
        if song is not None:
            shares[song] = sum(share * _sings(one, k, song) for share, one in mixture)
            singing[k] = (1.0 - faulty[k]) * shares[song]
        state, prior = nothing.states[k], nothing.priors[k]
        posterior = prior * (
            (1.0 - faulty[k]) * state.off / float(prior @ state.off)
            + faulty[k] * state.on / max(float(prior @ state.on), 1e-300)
        )
        offsets.append(posterior / posterior.sum())
        _voice_posteriors(book, k, state, prior, shares, levels)
    return MatchResult(
        faulty=faulty,
        singing=singing,
        fault_evidence=alone,
        voice_shares=shares,
        tone_shares=tone_shares,
        free_if_faulty=_free_if_faulty(book, nothing, given),
        offset_posteriors=tuple(offsets),
        level_posteriors=tuple(levels),
        sets=weights,
    )


def _free_if_faulty(book: PartBook, nothing: _Given, given: Mapping[int, _Given]) -> Floats:
    """P(a tone is nobody's) with each part faulty; one not told of may make all it reaches."""
    stranger = book.problem.stranger
    free = np.tile(stranger / (stranger + nothing.claims.sum(axis=0)), (len(nothing.claims), 1))
    for part, row in enumerate(free):
        if part in given:
            row[:] = stranger / (stranger + given[part].claims.sum(axis=0))
        else:
            row[sorted(book.tones_of(part))] = 0.0
    return free


def _mixture(
    nothing: _Given, faulty: Floats, sound_weight: float, given: Mapping[int, _Given]
) -> list[tuple[float, _Given]]:
    """The drive as sound and with each likely part faulty, with shares summing to 1."""
    mixture = [(sound_weight, nothing)]
    mixture += [(float(faulty[j]), one) for j, one in given.items() if faulty[j] > 0.01]
    total = sum(share for share, _ in mixture)
    return [(share / total, one) for share, one in mixture]


def _sings(given: _Given, part: int, song: int) -> float:
    """P(the part sings | it is healthy) with what is taken as faulty."""
    state, prior = given.states[part], given.priors[part]
    sung = state.song.share * float(prior @ state.sounds[song].seen)
    return sung / float(prior @ state.off)


def _voice_posteriors(
    book: PartBook,
    part: int,
    state: PartState,
    prior: Floats,
    shares: Floats,
    levels: list[Floats],
) -> None:
    masses = {}
    for v, weight, sound in book.voices_in(part, state, prior, faulty=True):
        if not book.problem.voices[v].healthy:
            masses[v] = float(weight @ sound.seen)
            levels[v] = book.level_posterior(v, sound, weight)
    total = sum(masses.values()) or 1.0
    for v, mass in masses.items():
        shares[v] = mass / total
    for v, weight, sound in book.voices_in(part, state, prior, faulty=False):
        levels[v] = book.level_posterior(v, sound, weight)
