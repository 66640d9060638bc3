"""The drive taken as sound: which parts sing, and which tones their songs account for.

Every hypothesis of a fault is measured against this one. Parts settle one after another
until nothing changes; the share of parts that sing is itself unknown and told by all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.offsets import offset_priors
from acoustic.verdict.part_states import PartBook, PartState

Floats = NDArray[np.float64]

_ROUNDS = 8
_SETTLED = 0.01
_DAMPING = 0.25
_LEAST_CLAIM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class SoundDrive:
    """The drive without any fault.

    Attributes
    ----------
    states : tuple of PartState
    priors : tuple of ndarray
        P(d) per part from all the others.
    claims : ndarray, shape (parts, hot tones)
        What each part's song claims.
    """

    states: tuple[PartState, ...]
    priors: tuple[Floats, ...]
    claims: Floats


def settle_songs(book: PartBook) -> SoundDrive:
    """Let the healthy parts share out the tones among them."""
    problem = book.problem
    parts = range(problem.part_count)
    claims = np.zeros((problem.part_count, problem.tone_count))
    plain = [book.plain_priors[g] for g in problem.part_groups]
    told = [(rivals_of(book, claims, k), problem.songs.first(k), plain[k]) for k in parts]
    # While they settle only songs count: what faults would make of it is worked out at the end.
    states = [book.healthy_state(k, *told[k][:2]) for k in parts]
    priors = offset_priors(problem, [s.off for s in states])
    for _ in range(_ROUNDS):
        before = claims.copy()
        heard = [book.song_evidence(k, states[k], priors[k]) for k in parts]
        beliefs = problem.songs.told_by_others(heard)
        order = np.argsort([-float(priors[k] @ states[k].off) for k in parts])
        for k in (int(k) for k in order):
            told[k] = (rivals_of(book, claims, k), beliefs[k], priors[k])
            states[k] = book.healthy_state(k, *told[k][:2])
            fresh = book.claims(k, states[k], priors[k], faulty=False)
            # Claims span many powers of ten: the damping is on their logarithm.
            claims[k] = (
                np.exp(
                    _DAMPING * np.log(claims[k] + _LEAST_CLAIM)
                    + (1 - _DAMPING) * np.log(fresh + _LEAST_CLAIM)
                )
                - _LEAST_CLAIM
            )
        priors = offset_priors(problem, [s.off for s in states])
        if np.max(np.abs(np.log1p(claims) - np.log1p(before)), initial=0.0) < _SETTLED:
            break
    whole = tuple(book.state(k, *told[k]) for k in parts)
    return SoundDrive(whole, tuple(priors), claims)


def rivals_of(book: PartBook, claims: Floats, part: int) -> Floats:
    """What stands against a part's claim on each tone: strangers and the other parts."""
    others = np.maximum(claims.sum(axis=0) - claims[part], 0.0)
    return np.asarray(book.problem.stranger + book.problem.hidden_shafts[part] + others)
