"""The joint match: parts, shafts, belts and tones exchange what they know.

The drive is a tree (belt - shaft - part) with loops only through contested tones, which
several parts may claim and one tone cannot prove twice. Messages go round until they
settle. Written after the sum-product rule.

References
----------
.. [1] F. R. Kschischang, B. J. Frey, H.-A. Loeliger, Factor graphs and the sum-product
   algorithm, IEEE Trans. Information Theory 47 (2001) 498-519 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.fault_count import part_odds
from acoustic.verdict.sources import Voice, VoiceTable
from acoustic.verdict.unknowns import OFFSET_STEP, BeltOffset, ShaftGroup

Floats = NDArray[np.float64]

ROUNDS = 12
_DAMPING = 0.25
_SETTLED = 0.003
_LEAST_CLAIM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class MatchProblem:
    """Everything the messages run over.

    Attributes
    ----------
    tables : sequence of sequence of VoiceTable
        ``tables[voice][recording]``.
    level_priors : sequence of ndarray
        Prior over `VOICE_LEVELS_DB`, per voice.
    song_shares, song_prior : ndarray
        Grid and prior of the share of parts that sing though healthy.
    own_song : ndarray, shape (parts,)
        A part's own probability of singing where a healthy reference tells; nan where
        the common share applies.
    offset_blur : tuple of float
        Relative sd by which each recording's offsets may differ from the first's.
    stray_links : tuple of ndarray, shape (hot tones, hot tones)
        Per recording, how tones of one stranger's family hang together.
    """

    belts: Sequence[BeltOffset]
    groups: Sequence[ShaftGroup]
    part_groups: Sequence[int]
    voices: Sequence[Voice]
    tables: Sequence[Sequence[VoiceTable]]
    level_priors: Sequence[Floats]
    count_prior: tuple[float, ...]
    song_shares: Floats
    song_prior: Floats
    own_song: Floats
    offset_blur: tuple[float, ...]
    stray_links: tuple[Floats, ...]

    @property
    def hot_counts(self) -> tuple[int, ...]:
        """Contested tones per recording."""
        return tuple(links.shape[0] for links in self.stray_links)


@dataclass(slots=True, eq=False)
class _Sound:
    """One voice given the claims of the others: its tables and their product."""

    per_recording: list[Floats]
    blurred: list[Floats]
    raw: Floats
    seen: Floats


@dataclass(frozen=True, slots=True, eq=False)
class MatchResult:
    """Where the messages settled.

    Attributes
    ----------
    faulty, singing : ndarray, shape (parts,)
        P(faulty) and P(healthy but singing).
    voice_shares : ndarray, shape (voices,)
        For a mechanism: its share of the part's P(faulty). For a song: P(sings | healthy).
    claims : tuple of ndarray, shape (parts, hot tones)
        Per recording, each part's claim on each contested tone against a stranger's.
    offset_posteriors : tuple of ndarray
        P(d) per part, over its group's lattice.
    level_posteriors : tuple of ndarray
        P(level) per voice given that it sounds.
    song_share : float
        Share of healthy parts that sing, as inferred.
    """

    faulty: Floats
    singing: Floats
    voice_shares: Floats
    claims: tuple[Floats, ...]
    offset_posteriors: tuple[Floats, ...]
    level_posteriors: tuple[Floats, ...]
    song_share: float


class JointMatch:
    """State of the messages; made, run once and thrown away."""

    def __init__(self, problem: MatchProblem) -> None:
        self.problem = problem
        parts = len(problem.part_groups)
        self.voices_of = [
            [v for v, voice in enumerate(problem.voices) if voice.part == k] for k in range(parts)
        ]
        self.claims = [np.zeros((parts, n)) for n in problem.hot_counts]
        self.odds = part_odds(np.ones(parts), problem.count_prior)
        self.song = self._first_song()
        self.sounds: list[_Sound] = [self._sound(v) for v in range(len(problem.voices))]
        self.on: list[Floats] = [np.empty(0)] * parts
        self.off: list[Floats] = [np.empty(0)] * parts
        for part in range(parts):
            self._update_part(part)

    def run(self, rounds: int = ROUNDS) -> MatchResult:
        """Pass messages until they settle and read off the answer."""
        contested = any(n for n in self.problem.hot_counts)
        before = np.full(len(self.problem.part_groups), -1.0)
        for _ in range(rounds if contested else 4):
            priors = self._offset_priors()
            self._update_odds(priors)
            # Strongest first, each seeing at once what the others have claimed: told all
            # together, two parts that fit the same tones would give way to each other
            # and take them back for ever.
            for part in np.argsort(-self._evidence(priors)):
                self._settle_part(int(part), priors[part])
            now = self._probability(priors)
            if np.max(np.abs(now - before)) < _SETTLED:
                break
            before = now
        return self._result(self._offset_priors())

    def _settle_part(self, part: int, prior: Floats) -> None:
        """Renew one part's tables under the others' claims, then its own claims."""
        for v in self.voices_of[part]:
            if self._touches(v):
                self.sounds[v] = self._sound(v)
        self._update_part(part)
        self._update_claims(part, prior)

    def _evidence(self, priors: list[Floats]) -> Floats:
        return np.array(
            [p @ on / (p @ off) for p, on, off in zip(priors, self.on, self.off, strict=True)]
        )

    def _probability(self, priors: list[Floats]) -> Floats:
        ratio = self.odds * self._evidence(priors)
        return np.asarray(ratio / (1.0 + ratio))

    # -- one voice ---------------------------------------------------------------

    def _touches(self, voice: int) -> bool:
        return any(table.contested for table in self.problem.tables[voice])

    def _rivals(self, recording: int, part: int) -> Floats:
        """What stands against a part's claim on each tone: strangers and other parts.

        1 is a lone stranger; he is the likelier the more of his family is about that the
        other parts do not account for.
        """
        claims = self.claims[recording]
        others = np.maximum(claims.sum(axis=0) - claims[part], 0.0)
        return np.asarray(self._strangers(recording, others) + others)

    def _strangers(self, recording: int, claims: Floats) -> Floats:
        links = self.problem.stray_links[recording]
        return np.asarray(1.0 + links @ (1.0 / (1.0 + claims)))

    def _sound(self, v: int) -> _Sound:
        voice = self.problem.voices[v]
        per_recording, blurred = [], []
        for r, table in enumerate(self.problem.tables[v]):
            rivals = self._rivals(r, voice.part)
            values = table.steady
            for tone, claim in table.contested:
                values = values * (1.0 + claim / rivals[tone])
            per_recording.append(values)
            blurred.append(self._blur(values, r))
        product = np.prod(blurred, axis=0) if len(blurred) > 1 else blurred[0]
        raw = product @ self.problem.level_priors[v]
        return _Sound(per_recording, blurred, raw, self._to_part(voice, raw))

    def _blur(self, values: Floats, recording: int) -> Floats:
        sd = self.problem.offset_blur[recording] / OFFSET_STEP
        if sd < 0.25:
            return values
        return np.asarray(gaussian_filter1d(values, sd, axis=0, mode="nearest", truncate=3.0))

    def _own_blur(self, voice: Voice, values: Floats) -> Floats:
        sd = voice.own_tolerance / OFFSET_STEP
        if sd < 0.25:
            return values
        return np.asarray(gaussian_filter1d(values, sd, mode="nearest", truncate=3.0))

    def _to_part(self, voice: Voice, raw: Floats) -> Floats:
        """Give a voice's likelihood over its part's offset."""
        seen = self._own_blur(voice, raw)
        home = self.problem.part_groups[voice.part]
        if voice.group == home:
            return seen
        # It turns with another shaft than the rest of its part: its own offset is free.
        return np.full(
            self.problem.groups[home].offset.size, float(self._plain_prior(voice.group) @ seen)
        )

    def _from_part(self, voice: Voice, weight: Floats) -> Floats:
        """Adjoint of `_to_part`: weight over the part's offset -> over the voice's."""
        if voice.group == self.problem.part_groups[voice.part]:
            return self._own_blur(voice, weight)
        return np.asarray(self._own_blur(voice, self._plain_prior(voice.group)) * weight.sum())

    def _plain_prior(self, group: int) -> Floats:
        shaft = self.problem.groups[group]
        return np.asarray(self.problem.belts[shaft.belt].prior @ shaft.given_shared)

    # -- parts, shafts, belts ----------------------------------------------------

    def _first_song(self) -> Floats:
        common = float(self.problem.song_shares @ self.problem.song_prior)
        own = self.problem.own_song
        return np.where(np.isnan(own), common, own)

    def _song_voice(self, part: int) -> int | None:
        voices = self.voices_of[part]
        return voices[0] if voices and self.problem.voices[voices[0]].healthy else None

    def _mechanisms(self, part: int) -> list[int]:
        return [v for v in self.voices_of[part] if not self.problem.voices[v].healthy]

    def _song_factor(self, part: int) -> Floats:
        song = self._song_voice(part)
        if song is None:
            return np.ones(1)
        return np.asarray((1.0 - self.song[part]) + self.song[part] * self.sounds[song].seen)

    def _update_part(self, part: int) -> None:
        """Likelihood of the part over its offset, faulty and not."""
        size = self.problem.groups[self.problem.part_groups[part]].offset.size
        factor = self._song_factor(part)
        on = np.zeros(size)
        for v in self._mechanisms(part):
            voice = self.problem.voices[v]
            with_song = factor if voice.sings_when_faulty else 1.0
            on = on + voice.weight * self.sounds[v].seen * with_song
        self.on[part], self.off[part] = on, np.zeros(size) + factor

    def _offset_priors(self) -> list[Floats]:
        """P(d) for each part from everything but the part itself."""
        problem = self.problem
        likelihoods = []
        for part in range(len(problem.part_groups)):
            both = self.off[part] + self.odds[part] * self.on[part]
            likelihoods.append(both / both.max())
        members = [
            [k for k, g in enumerate(problem.part_groups) if g == group]
            for group in range(len(problem.groups))
        ]
        to_belt = [
            shaft.given_shared @ _product([likelihoods[k] for k in members[g]], shaft.offset.size)
            for g, shaft in enumerate(problem.groups)
        ]
        priors: list[Floats] = [np.empty(0)] * len(problem.part_groups)
        for g, shaft in enumerate(problem.groups):
            belt = problem.belts[shaft.belt]
            beside = [
                to_belt[other]
                for other, another in enumerate(problem.groups)
                if other != g and another.belt == shaft.belt and belt.name is not None
            ]
            from_belt = belt.prior * _product(beside, belt.prior.size)
            shared = (from_belt / from_belt.sum()) @ shaft.given_shared
            for k in members[g]:
                rest = _product([likelihoods[m] for m in members[g] if m != k], shared.size)
                weight = shared * rest
                priors[k] = weight / weight.sum()
        return priors

    def _update_odds(self, priors: list[Floats]) -> None:
        self.odds = part_odds(self._evidence(priors), self.problem.count_prior)
        self._update_song(priors)

    def _update_song(self, priors: list[Floats]) -> None:
        """How many of the healthy parts sing is one unknown, told by all the others."""
        shares = self.problem.song_shares
        with np.errstate(divide="ignore"):
            ln_total = np.log(self.problem.song_prior)
        ln_parts = np.zeros((len(priors), shares.size))
        for part, prior in enumerate(priors):
            song = self._song_voice(part)
            if song is None or not np.isnan(self.problem.own_song[part]):
                continue
            silent, free = np.ones(prior.size), np.zeros(prior.size)
            for v in self._mechanisms(part):
                voice = self.problem.voices[v]
                claim = self.odds[part] * voice.weight * self.sounds[v].seen
                if voice.sings_when_faulty:
                    silent = silent + claim
                else:
                    free = free + claim
            quiet, sung = prior @ silent, prior @ (silent * self.sounds[song].seen)
            ln_parts[part] = np.log((1 - shares) * quiet + shares * sung + prior @ free)
        ln_total = ln_total + ln_parts.sum(axis=0)
        for part in range(len(priors)):
            if np.isnan(self.problem.own_song[part]):
                weight = np.exp(ln_total - ln_parts[part] - (ln_total - ln_parts[part]).max())
                self.song[part] = float(shares @ weight / weight.sum())

    # -- tones -------------------------------------------------------------------

    def _voice_weights(self, part: int, prior: Floats) -> dict[int, Floats]:
        """Weight over the part's offset with which each of its voices enters."""
        song = self._song_voice(part)
        factor = self._song_factor(part)
        weights: dict[int, Floats] = {}
        beside_song = np.ones(prior.size)
        for v in self._mechanisms(part):
            voice = self.problem.voices[v]
            claim = self.odds[part] * voice.weight
            weights[v] = prior * claim * (factor if voice.sings_when_faulty else 1.0)
            if voice.sings_when_faulty:
                beside_song = beside_song + claim * self.sounds[v].seen
        if song is not None:
            weights[song] = prior * self.song[part] * beside_song
        return weights

    def _update_claims(self, part: int, prior: Floats) -> None:
        total = float(prior @ (self.off[part] + self.odds[part] * self.on[part]))
        gained = [np.zeros(n) for n in self.problem.hot_counts]
        without = [np.full(n, total) for n in self.problem.hot_counts]
        for v, weight in self._voice_weights(part, prior).items():
            if self._touches(v):
                self._add_claims(v, weight, gained, without)
        for r, claims in enumerate(self.claims):
            fresh = np.maximum(gained[r], 0.0) / np.maximum(without[r], 1e-9 * total)
            # Claims span many powers of ten: the damping is on their logarithm.
            claims[part] = (
                np.exp(
                    _DAMPING * np.log(claims[part] + _LEAST_CLAIM)
                    + (1 - _DAMPING) * np.log(fresh + _LEAST_CLAIM)
                )
                - _LEAST_CLAIM
            )

    def _add_claims(
        self, v: int, weight: Floats, gained: list[Floats], without: list[Floats]
    ) -> None:
        voice, sound = self.problem.voices[v], self.sounds[v]
        inner = self._from_part(voice, weight)[:, None] * self.problem.level_priors[v][None, :]
        full = float(np.sum(inner * np.prod(sound.blurred, axis=0)))
        for r, table in enumerate(self.problem.tables[v]):
            if not table.contested:
                continue
            beside = inner
            for other, values in enumerate(sound.blurred):
                if other != r:
                    beside = beside * values
            outer = self._blur(beside, r) * sound.per_recording[r]
            rivals = self._rivals(r, voice.part)
            for tone, claim in table.contested:
                bare = outer / (1.0 + claim / rivals[tone])
                gained[r][tone] += float(np.sum(bare * claim))
                without[r][tone] += float(np.sum(bare)) - full

    def _claims_on_strangers(self, recording: int) -> Floats:
        claims = self.claims[recording]
        return claims / self._strangers(recording, claims.sum(axis=0))

    # -- reading off -------------------------------------------------------------

    def _result(self, priors: list[Floats]) -> MatchResult:
        parts = len(priors)
        faulty, singing = np.zeros(parts), np.zeros(parts)
        shares = np.zeros(len(self.problem.voices))
        levels: list[Floats] = [np.empty(0)] * len(self.problem.voices)
        offsets = []
        for part, prior in enumerate(priors):
            on, off = float(prior @ self.on[part]), float(prior @ self.off[part])
            total = off + self.odds[part] * on
            faulty[part] = self.odds[part] * on / total
            posterior = prior * (self.off[part] + self.odds[part] * self.on[part])
            offsets.append(posterior / posterior.sum())
            song = self._song_voice(part)
            if song is not None:
                sung = self.song[part] * float(prior @ self.sounds[song].seen)
                singing[part] = sung / total
                shares[song] = sung / off
            self._voice_posteriors(part, prior, shares, levels)
        return MatchResult(
            faulty=faulty,
            singing=singing,
            voice_shares=shares,
            claims=tuple(self._claims_on_strangers(r) for r in range(len(self.claims))),
            offset_posteriors=tuple(offsets),
            level_posteriors=tuple(levels),
            song_share=float(np.mean(self.song)) if parts else 0.0,
        )

    def _voice_posteriors(
        self, part: int, prior: Floats, shares: Floats, levels: list[Floats]
    ) -> None:
        weights = self._voice_weights(part, prior)
        mechanisms = self._mechanisms(part)
        masses = {v: float(weights[v] @ self.sounds[v].seen) for v in mechanisms}
        total = sum(masses.values()) or 1.0
        for v in mechanisms:
            shares[v] = masses[v] / total
        for v, weight in weights.items():
            inner = self._from_part(self.problem.voices[v], weight)
            product = np.prod(self.sounds[v].blurred, axis=0)
            level = (inner @ product) * self.problem.level_priors[v]
            levels[v] = level / max(level.sum(), 1e-300)


def _product(factors: Sequence[Floats], size: int) -> Floats:
    """Product of likelihoods, rescaled so that it cannot vanish."""
    product = np.ones(size)
    for factor in factors:
        product = product * factor
        product = product / max(float(product.max()), 1e-300)
    return product
