"""One part in each of its states, given who else claims the tones.

A part is silent, or healthy and singing, or faulty by one of its mechanisms (and then
may sing as well). Each state gives a likelihood over the part's offset d, and a claim
on each contested tone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.problem import MatchProblem
from acoustic.verdict.sources import Voice
from acoustic.verdict.unknowns import OFFSET_STEP

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """One voice under given rivals.

    `per_recording` and `blurred` are its tables (offsets, levels) before and after the
    recordings' offsets are allowed to differ; `raw` is its likelihood over its own
    offset and `seen` over its part's.
    """

    per_recording: tuple[Floats, ...]
    blurred: tuple[Floats, ...]
    raw: Floats
    seen: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PartState:
    """A part's likelihood over its offset, faulty (`on`) and not (`off`)."""

    rivals: Floats
    song_share: float
    sounds: Mapping[int, Sound]
    on: Floats
    off: Floats


class PartBook:
    """Works out part states for one problem; holds only what never changes."""

    def __init__(self, problem: MatchProblem) -> None:
        self.problem = problem
        self.voices_of = [
            [v for v, voice in enumerate(problem.voices) if voice.part == k]
            for k in range(problem.part_count)
        ]
        self.touched = [
            frozenset(tone for table in tables for tone, _ in table.contested)
            for tables in problem.tables
        ]
        self.plain_priors = [
            np.asarray(problem.belts[g.belt].prior @ g.given_shared) for g in problem.groups
        ]

    def song_voice(self, part: int) -> int | None:
        """The voice of the part's healthy song, or None if it has none."""
        voices = self.voices_of[part]
        return voices[0] if voices and self.problem.voices[voices[0]].healthy else None

    def mechanisms(self, part: int) -> list[int]:
        """Voices of the part's faulty mechanisms."""
        return [v for v in self.voices_of[part] if not self.problem.voices[v].healthy]

    def tones_of(self, part: int) -> frozenset[int]:
        """Contested tones that any voice of the part reaches."""
        return frozenset().union(*(self.touched[v] for v in self.voices_of[part]))

    def state(
        self, part: int, rivals: Floats, song_share: float, known: PartState | None = None
    ) -> PartState:
        """The part under rivals; what they do not touch is taken over from `known`."""
        sounds = {}
        for v in self.voices_of[part]:
            reached = list(self.touched[v])
            if known is not None and np.array_equal(known.rivals[reached], rivals[reached]):
                sounds[v] = known.sounds[v]
            else:
                sounds[v] = self.sound(v, rivals)
        factor = self._song_factor(part, song_share, sounds)
        on = np.zeros_like(factor)
        for v in self.mechanisms(part):
            voice = self.problem.voices[v]
            on = on + voice.weight * sounds[v].seen * (factor if voice.sings_when_faulty else 1.0)
        return PartState(rivals, song_share, sounds, on, factor)

    def sound(self, v: int, rivals: Floats) -> Sound:
        """One voice with its claims weighed against the rivals'."""
        per_recording, blurred = [], []
        for r, table in enumerate(self.problem.tables[v]):
            values = table.steady
            for tone, claim in table.contested:
                values = values * (1.0 + claim / rivals[tone])
            per_recording.append(values)
            blurred.append(self._blur(values, r))
        product = np.prod(blurred, axis=0) if len(blurred) > 1 else blurred[0]
        raw = product @ self.problem.level_priors[v]
        seen = self._to_part(self.problem.voices[v], raw)
        return Sound(tuple(per_recording), tuple(blurred), raw, seen)

    def voice_weights(
        self, part: int, state: PartState, prior: Floats, *, faulty: bool
    ) -> dict[int, Floats]:
        """Weight over the part's offset with which each voice enters the state."""
        song = self.song_voice(part)
        share = state.song_share
        weights: dict[int, Floats] = {}
        if not faulty:
            if song is not None:
                weights[song] = prior * share
            return weights
        beside_song = np.zeros(prior.size)
        for v in self.mechanisms(part):
            voice = self.problem.voices[v]
            if voice.sings_when_faulty:
                weights[v] = prior * voice.weight * state.off
                beside_song = beside_song + voice.weight * state.sounds[v].seen
            else:
                weights[v] = prior * voice.weight
        if song is not None:
            weights[song] = prior * share * beside_song
        return weights

    def claims(self, part: int, state: PartState, prior: Floats, *, faulty: bool) -> Floats:
        """The part's claim on every contested tone in this state, against a stranger's 1.

        Sum-product: the expected ``u / v`` over the expected ``1 / v``, with u the
        voice's likelihood of the tone and v the tone's factor under the rivals.
        """
        total = float(prior @ (state.on if faulty else state.off))
        gained = np.zeros(self.problem.tone_count)
        without = np.full(self.problem.tone_count, total)
        for v, weight in self.voice_weights(part, state, prior, faulty=faulty).items():
            if self.touched[v]:
                self._add_claims(v, weight, state, gained, without)
        return np.asarray(np.maximum(gained, 0.0) / np.maximum(without, 1e-9 * total))

    def level_posterior(self, v: int, state: PartState, weight: Floats) -> Floats:
        """P(level | the voice sounds), shape (levels,)."""
        inner = self._from_part(self.problem.voices[v], weight)
        product = np.prod(state.sounds[v].blurred, axis=0)
        level = (inner @ product) * self.problem.level_priors[v]
        return np.asarray(level / max(float(level.sum()), 1e-300))

    def _song_factor(self, part: int, share: float, sounds: Mapping[int, Sound]) -> Floats:
        song = self.song_voice(part)
        size = self.problem.groups[self.problem.part_groups[part]].offset.size
        if song is None:
            return np.ones(size)
        return np.asarray((1.0 - share) + share * sounds[song].seen)

    def _add_claims(
        self, v: int, weight: Floats, state: PartState, gained: Floats, without: Floats
    ) -> None:
        sound = state.sounds[v]
        inner = self._from_part(self.problem.voices[v], weight)[:, None]
        inner = inner * self.problem.level_priors[v][None, :]
        full = float(np.sum(inner * np.prod(sound.blurred, axis=0)))
        for r, table in enumerate(self.problem.tables[v]):
            if not table.contested:
                continue
            beside = inner
            for other, values in enumerate(sound.blurred):
                if other != r:
                    beside = beside * values
            outer = self._blur(beside, r) * sound.per_recording[r]
            for tone, claim in table.contested:
                bare = outer / (1.0 + claim / state.rivals[tone])
                gained[tone] += float(np.sum(bare * claim))
                without[tone] += float(np.sum(bare)) - full

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
        size = self.problem.groups[home].offset.size
        return np.full(size, float(self.plain_priors[voice.group] @ seen))

    def _from_part(self, voice: Voice, weight: Floats) -> Floats:
        """Adjoint of `_to_part`: weight over the part's offset -> over the voice's."""
        if voice.group == self.problem.part_groups[voice.part]:
            return self._own_blur(voice, weight)
        return self._own_blur(voice, self.plain_priors[voice.group]) * float(weight.sum())
