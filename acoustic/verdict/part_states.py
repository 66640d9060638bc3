"""One part in each of its states, given who else claims the tones.

A part is silent, or healthy and singing, or faulty by one of its mechanisms (and then
may sing as well). Each state gives a likelihood over the part's offset d, and a claim
on each contested tone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.contests import Against, Contests
from acoustic.verdict.problem import MatchProblem
from acoustic.verdict.row_blur import blurred_rows
from acoustic.verdict.song_priors import SongPrior, louder_than_song
from acoustic.verdict.sources import Realm, Voice
from acoustic.verdict.unknowns import OFFSET_STEP

Floats = NDArray[np.float64]

_OFFSET_WIDTHS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """One voice under given rivals.

    `each` and `blurred` are its tables (offsets, levels) before and after the recordings'
    offsets are allowed to differ, in the order of the problem's; `levels` the priors they
    were summed up with, `realms` their likelihood over the voice's offset, both by realm;
    `seen` is the likelihood over its part's offset.
    """

    each: tuple[Floats, ...]
    blurred: tuple[Floats, ...]
    levels: Mapping[Realm, Floats]
    realms: Mapping[Realm, Floats]
    seen: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PartState:
    """A part's likelihood over its offset, faulty (`on`) and not (`off`).

    `rivals` is what stands against its claims; `taken` what of it are the claims of parts
    taken as faulty. `sounds` holds its voices; `song_beside` the healthy song beside each
    mechanism, with the tones that mechanism has taken already.
    """

    rivals: Floats
    taken: Floats
    song: SongPrior
    sounds: Mapping[int, Sound]
    song_beside: Mapping[int, Sound]
    on: Floats
    off: Floats


class _ClaimMasses:
    """Adds up a part's claims over the ways it may sound."""

    def __init__(self, tones: int) -> None:
        self._gained = np.zeros(tones)
        self._without = np.zeros(tones)

    def add(self, full: float, by_tone: Mapping[int, tuple[float, float]]) -> None:
        """Add one way: its likelihood, and by tone what it gains and has without it."""
        without = np.full(self._without.size, full)
        for tone, (gained, bare) in by_tone.items():
            self._gained[tone] += gained
            without[tone] = bare
        self._without += without

    def claims(self) -> Floats:
        """Claim on each tone."""
        return np.asarray(np.maximum(self._gained, 0.0) / (self._without + 1e-300))


def _perhaps(chance: float, likelihood: Floats) -> Floats:
    """Likelihood of what is there by chance only."""
    return np.asarray((1.0 - chance) + chance * likelihood)


def _all_of(likelihoods: Iterable[Floats]) -> Floats | float:
    """Product of likelihoods over the offset, 1 of none; few, so no array is made of them."""
    product: Floats | float = 1.0
    for likelihood in likelihoods:
        product = product * likelihood
    return product


class PartBook:
    """Works out part states for one problem; holds only what never changes once known."""

    def __init__(self, problem: MatchProblem) -> None:
        self.problem = problem
        self.voices_of = [
            [v for v, voice in enumerate(problem.voices) if voice.part == k]
            for k in range(problem.part_count)
        ]
        self.touched = [
            frozenset(claim.tone for table in tables for claim in table.contested)
            for tables in problem.tables
        ]
        self._reached = [np.array(sorted(tones), dtype=np.intp) for tones in self.touched]
        self._contests = [
            [Contests(table.contested) if table.contested else None for table in tables]
            for tables in problem.tables
        ]
        self._blurs: dict[tuple[float, int], Floats] = {}
        self._tones: list[frozenset[int]] = [
            frozenset().union(*(self.touched[v] for v in voices)) for voices in self.voices_of
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
        return self._tones[part]

    def state(
        self,
        part: int,
        rivals: Floats,
        belief: SongPrior,
        prior: Floats,
        known: PartState | None = None,
        taken: Floats | None = None,
    ) -> PartState:
        """The part under rivals; what they do not touch is taken over from `known`."""
        taken = np.zeros(self.problem.tone_count) if taken is None else taken
        against = Against(rivals, taken)
        sounds: dict[int, Sound] = {}
        beside: dict[int, Sound] = {}
        song = self.song_voice(part)
        for v in self.voices_of[part]:
            if known is not None and self._same(known, belief, v, against):
                sounds[v] = known.sounds[v]
            else:
                sounds[v] = self.sound(v, against, self.level(v, belief))
        for v in self.mechanisms(part):
            if song is not None and self.problem.voices[v].sings_when_faulty:
                beside[v] = self._song_beside((v, song), sounds, against, belief, prior)
        off = self._song_factor(part, belief.share, None if song is None else sounds[song])
        on = np.zeros_like(off)
        for v in self.mechanisms(part):
            factor = self._song_factor(part, belief.share, beside.get(v))
            on = on + self.problem.voices[v].weight * sounds[v].seen * factor
        return PartState(rivals, taken, belief, sounds, beside, on, off)

    def healthy_state(self, part: int, rivals: Floats, belief: SongPrior) -> PartState:
        """The part as far as it is sound: its song, and nothing of its mechanisms."""
        song, taken = self.song_voice(part), np.zeros(self.problem.tone_count)
        sounds: dict[int, Sound] = {}
        if song is not None:
            sounds[song] = self.sound(song, Against(rivals, taken), self.level(song, belief))
        off = self._song_factor(part, belief.share, None if song is None else sounds[song])
        return PartState(rivals, taken, belief, sounds, {}, np.zeros_like(off), off)

    def _same(self, known: PartState, belief: SongPrior, v: int, against: Against) -> bool:
        """Whether nothing that voice v depends on has changed."""
        reached = self._reached[v]
        if (known.rivals[reached] != against.rivals[reached]).any():
            return False
        if (known.taken[reached] != against.taken[reached]).any():
            return False
        return self.problem.voices[v].sings_when_faulty or known.song is belief

    def level(self, v: int, belief: SongPrior) -> Floats:
        """Prior level of a voice, given what is believed of its part's song."""
        voice = self.problem.voices[v]
        if voice.healthy:
            return belief.level
        if voice.sings_when_faulty:
            return self.problem.level_priors[v]
        above_db = self.problem.fault_above_db
        return louder_than_song(self.problem.level_priors[v], belief.level, above_db)

    def _song_beside(
        self,
        pair: tuple[int, int],
        sounds: Mapping[int, Sound],
        against: Against,
        belief: SongPrior,
        prior: Floats,
    ) -> Sound:
        """The song of a part that is faulty by a mechanism: one tone is not made twice."""
        v, song = pair
        shared = self.touched[v] & self.touched[song]
        if not shared:
            return sounds[song]
        masses = _ClaimMasses(self.problem.tone_count)
        masses.add(*self._masses(v, prior, sounds[v], against))
        own = masses.claims()
        tones = list(shared)
        left = against.rivals.copy()
        left[tones] += own[tones]
        return self.sound(song, Against(left, against.taken), belief.level)

    def sound(self, v: int, against: Against, level: Floats) -> Sound:
        """One voice with its claims weighed against the rivals'."""
        each, blurred = [], []
        for table, contests in zip(self.problem.tables[v], self._contests[v], strict=True):
            steady = table.steady
            values = steady if contests is None else contests.entered(steady, against)
            each.append(values)
            blurred.append(self._blur(values, table.recording))
        levels = {Realm.TONES: level, Realm.ENVELOPE: self.problem.envelope_levels}
        levels[Realm.NOISES] = np.ones(1)
        voice = self.problem.voices[v]
        realms = {
            realm: _perhaps(voice.shows_in(realm), self._product(v, blurred, realm) @ levels[realm])
            for realm in {table.realm for table in self.problem.tables[v]}
        }
        plain = np.ones(self.problem.groups[voice.group].offset.size)
        raw = np.asarray(plain * _all_of(realms.values()))
        return Sound(tuple(each), tuple(blurred), levels, realms, self._to_part(voice, raw))

    def _product(self, v: int, blurred: Sequence[Floats], realm: Realm) -> Floats:
        """Tables of one realm over all recordings, shape (offsets, levels)."""
        size = self.problem.groups[self.problem.voices[v].group].offset.size
        own = [
            values
            for table, values in zip(self.problem.tables[v], blurred, strict=True)
            if table.realm == realm
        ]
        product = own[0]
        for values in own[1:]:
            product = product * values
        if product.shape[0] == size:
            return product
        return np.broadcast_to(product, (size, product.shape[1]))

    def voices_in(
        self, part: int, state: PartState, prior: Floats, *, faulty: bool
    ) -> list[tuple[int, Floats, Sound]]:
        """Each voice with its weight over the part's offset and its sound in the state."""
        song, share = self.song_voice(part), state.song.share
        if not faulty:
            return [] if song is None else [(song, prior * share, state.sounds[song])]
        entries = []
        for v in self.mechanisms(part):
            weight = prior * self.problem.voices[v].weight
            beside = state.song_beside.get(v)
            entries.append((v, weight * self._song_factor(part, share, beside), state.sounds[v]))
            if song is not None and beside is not None:
                entries.append((song, weight * share * state.sounds[v].seen, beside))
        return entries

    def claims(self, part: int, state: PartState, prior: Floats, *, faulty: bool) -> Floats:
        """The part's claim on every contested tone in this state, against a stranger's 1.

        Sum-product: the expected ``u / v`` over the expected ``1 / v``, with u the
        voice's likelihood of the tone and v the tone's factor under the rivals. The
        expected ``1 / v`` is added up from what is left without the tone, never taken as a
        difference: tones reach 1e30, and beside them nothing of it would be left.
        """
        song, share = self.song_voice(part), state.song.share
        against = Against(state.rivals, state.taken)
        masses = _ClaimMasses(self.problem.tone_count)
        if not faulty:
            masses.add((1.0 - share) * float(prior.sum()) if song is not None else 1.0, {})
            if song is not None:
                masses.add(*self._masses(song, prior * share, state.sounds[song], against))
            return masses.claims()
        for v in self.mechanisms(part):
            weight = prior * self.problem.voices[v].weight
            beside = state.song_beside.get(v)
            whole = weight * self._song_factor(part, share, beside)
            full, own = self._masses(v, whole, state.sounds[v], against)
            if song is not None and beside is not None:
                sung = weight * share * state.sounds[v].seen
                _, others = self._masses(song, sung, beside, against)
                silent = (1.0 - share) * float(weight @ state.sounds[v].seen)
                for tone, (gained, bare) in others.items():
                    mine = own.get(tone, (0.0, full))
                    own[tone] = (mine[0] + gained, mine[1] * (silent + bare) / full)
            masses.add(full, own)
        return masses.claims()

    def _masses(
        self, v: int, weight: Floats, sound: Sound, against: Against
    ) -> tuple[float, dict[int, tuple[float, float]]]:
        """A voice's whole likelihood, and by tone what it gains there and has without it."""
        voice = self.problem.voices[v]
        weight = self._from_part(voice, weight)
        full = float((weight * _all_of(sound.realms.values())).sum())
        by_tone: dict[int, tuple[float, float]] = {}
        tables = self.problem.tables[v]
        for number, (table, contests) in enumerate(zip(tables, self._contests[v], strict=True)):
            if contests is None:
                continue
            apart = np.asarray(weight * self._other_realms(sound, table.realm))
            shown = voice.shows_in(table.realm)
            hidden = (1.0 - shown) * float(apart.sum())
            beside = shown * apart[:, None] * sound.levels[table.realm][None, :]
            for other, values in enumerate(sound.blurred):
                if other != number and tables[other].realm == table.realm:
                    beside = beside * values
            if sound.each[number].shape[0] == 1:  # alike at every offset, as a noise is
                beside = beside.sum(axis=0, keepdims=True)
            outer = self._blur(beside, table.recording) * sound.each[number]
            by_tone.update(contests.masses(outer, hidden, against))
        return full, by_tone

    def song_evidence(self, part: int, state: PartState, prior: Floats) -> Floats | None:
        """Likelihood of the part's song at each level, None if it cannot sing."""
        song = self.song_voice(part)
        if song is None:
            return None
        inner = self._from_part(self.problem.voices[song], prior)
        return np.asarray(inner @ self._product(song, state.sounds[song].blurred, Realm.TONES))

    def level_posterior(self, v: int, sound: Sound, weight: Floats) -> Floats:
        """P(level of its tones | the voice sounds), shape (levels,)."""
        inner = self._from_part(self.problem.voices[v], weight)
        prior = sound.levels[Realm.TONES]
        if Realm.TONES not in sound.realms:
            return prior
        inner = inner * self._other_realms(sound, Realm.TONES)
        level = (inner @ self._product(v, sound.blurred, Realm.TONES)) * prior
        return np.asarray(level / max(float(level.sum()), 1e-300))

    def _song_factor(self, part: int, share: float, song: Sound | None) -> Floats:
        if song is None:
            return np.ones(self.problem.groups[self.problem.part_groups[part]].offset.size)
        return np.asarray((1.0 - share) + share * song.seen)

    def _other_realms(self, sound: Sound, realm: Realm) -> Floats | float:
        """Likelihood over the voice's offset of all realms but one."""
        return _all_of(values for other, values in sound.realms.items() if other != realm)

    def _blur(self, values: Floats, recording: int) -> Floats:
        sd = self.problem.offset_blur[recording] / OFFSET_STEP
        if sd < 0.25 or values.shape[0] == 1:
            return values
        return blurred_rows(values, sd, _OFFSET_WIDTHS)

    def _own_blur(self, voice: Voice, values: Floats) -> Floats:
        sd = voice.own_tolerance / OFFSET_STEP
        if sd < 0.25:
            return values
        # Few widths serve all voices thousands of times: a filter call each would cost more.
        blur = self._blurs.get((sd, values.size))
        if blur is None:
            one = np.eye(values.size)
            blur = gaussian_filter1d(one, sd, axis=0, mode="nearest", truncate=_OFFSET_WIDTHS)
            self._blurs[sd, values.size] = blur
        return np.asarray(blur @ values)

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
