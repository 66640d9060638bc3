"""One case of the trial of all noises judged: what was planted, found, and answered.

What the answer is read from is what a screening tells a person: its verdict, the part it
names and the mechanism it names that part with. Where the verdict says only that a healthy
part's song was heard, that part is named, and the answer's class is ``"song"``. Where no
fault is named but a noise is told ("it is there; in question: ..."), the class and parts told
so are counted as well. Beside it stands what leads the list of suspects, however unlikely, as
the main trial counts it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from noise_cases import NoiseCase, NoiseRecipe, case_of
from scoring import CaseScore
from sound_classes import (
    SoundClass,
    class_of_way,
    classes_of,
    is_of_every_engine,
    ways_of,
)

from acoustic.drive.drive import ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.listening import Clip, Listened, listen
from acoustic.screening import ScreenSettings
from acoustic.synthetic.planted import ENVELOPE, find_family
from acoustic.synthetic.truth import RecordingTruth
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict.decision import Decision, decide, source_probability
from acoustic.verdict.headline import MOST_NAMED
from acoustic.verdict.hot_tones import HotTone
from acoustic.verdict.joint_match import JointAnswer, match_drive
from acoustic.verdict.line_evidence import best_voice
from acoustic.verdict.line_likelihood import LineTable
from acoustic.verdict.suspects import Suspect
from acoustic.verdict.wording import LIKELY, POSSIBLE

SONG, NOTHING = "song", "nothing"
FOUND_NAT = 1.0  # a noise's weight from which the answer speaks of it
HARMONICS = 6  # of planted events that are looked for in the envelope
PLAIN_DB = 0.0  # at this level in band or above, the reach is asked for


@dataclass(frozen=True, slots=True)
class HeardCase:
    """A case listened to, without samples, and the truth of each recording."""

    recipe: NoiseRecipe
    listened: tuple[Listened, ...]
    truths: tuple[RecordingTruth, ...]

    @property
    def usable(self) -> dict[int, Listened]:
        """The recordings that take part in the match, by their number."""
        return {n: one for n, one in enumerate(self.listened) if one.orders is not None}


@dataclass(frozen=True, slots=True)
class Answered:
    """What a screening names: part, its mechanism's family, and a healthy song or a fault.

    `suspect` is None where nobody is named.
    """

    suspect: Suspect | None
    family: ExpectedFamily | None
    is_song: bool = False


@dataclass(frozen=True, slots=True)
class Right:
    """What of an answer was right.

    Attributes
    ----------
    sound : bool
        The mechanism can show as the planted class.
    likeliest : bool
        That is also the class of its likeliest way to show.
    part : bool
        The faulty part is the one answered, or in the group stated with it.
    """

    sound: bool = False
    likeliest: bool = False
    part: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """One case judged.

    Attributes
    ----------
    level_db : float
        Highest level in band that the fault had in any recording; of tones the highest
        tone-to-noise ratio of a detectable line; -inf where nothing of it can be heard. [dB]
    answer : str
        Class answered: the planted one where the named mechanism shows so, else that of the
        likeliest way it shows; ``"song"`` or ``"nothing"``.
    named_right, told_right, lead_right : Right
        Of the part named, if any; of that or else of the noise told and the parts in question;
        of the first of all suspects.
    found : bool
        Whether a detector found the planted sound, whoever was blamed for it.
    loss : str
        Where the answer was lost; empty if class and part are right.
    named, named_mechanism : str
    blamed : tuple of str
        Parts of the drive that are named, or faulty with more than 0.5.
    score : CaseScore
        For the calibration, as in the main trial.
    """

    recipe: NoiseRecipe
    level_db: float
    answer: str
    named_right: Right
    told_right: Right
    lead_right: Right
    found: bool
    loss: str
    named: str
    named_mechanism: str
    blamed: tuple[str, ...]
    score: CaseScore

    @property
    def plain(self) -> bool:
        """Whether the fault stood at or above 0 dB in band."""
        return self.level_db >= PLAIN_DB


def hear_case(recipe: NoiseRecipe) -> HeardCase:
    """Make one case and listen to it."""
    case = case_of(recipe)
    scene = case.make()
    settings = ScreenSettings()
    listened = [
        _without_samples(listen(Clip(recording), case.drive, settings, lambda _: None))
        for recording in scene.recordings
    ]
    return HeardCase(recipe, tuple(listened), scene.truth.recordings)


def _without_samples(one: Listened) -> Listened:
    recording = replace(one.heard.recording, samples=np.zeros(0, np.float32))
    return replace(one, heard=replace(one.heard, recording=recording))


def answer_of(case: NoiseCase, heard: HeardCase) -> tuple[Decision, JointAnswer] | None:
    """Match and decide, as `acoustic.screening.screen` does; None if no recording is usable."""
    usable = heard.usable
    if not usable:
        return None
    families = expected_families(case.drive)
    orders = [one.orders for one in usable.values() if one.orders is not None]
    answer = match_drive(case.drive, families, orders, ScreenSettings().match)
    each = {number: one.heard for number, one in usable.items()}
    return decide(case.drive, families, each, answer, load_knowledge()), answer


def judge(heard: HeardCase) -> Outcome:
    """Judge one case that was listened to."""
    case = case_of(heard.recipe)
    level_db = planted_level_db(case, heard.truths)
    both = answer_of(case, heard)
    if both is None:
        return _unheard(case, heard, level_db)
    decision, answer = both
    named, lead = named_by(decision, answer), lead_of(decision, answer)
    named_right, lead_right = right_of(case, named), right_of(case, lead)
    found = is_found(case, heard, answer)
    return Outcome(
        recipe=heard.recipe,
        level_db=level_db,
        answer=_answered_class(case, named),
        named_right=named_right,
        told_right=told_of(case, decision, named, named_right),
        lead_right=lead_right,
        found=found,
        loss=_loss(case, named, named_right, lead_right, found=found),
        named=named.suspect.part if named.suspect else "",
        named_mechanism=named.family.mechanism if named.family else "",
        blamed=_blamed(case, decision, named),
        score=_score(case, heard, level_db, answer, named),
    )


def _unheard(case: NoiseCase, heard: HeardCase, level_db: float) -> Outcome:
    """Outcome of a case whose speed was heard in no recording."""
    return Outcome(
        recipe=heard.recipe,
        level_db=level_db,
        answer=NOTHING,
        named_right=Right(),
        told_right=Right(),
        lead_right=Right(),
        found=False,
        loss="speed not heard" if case.fault else "",
        named="",
        named_mechanism="",
        blamed=(),
        score=_score(case, heard, level_db, None, Answered(None, None)),
    )


def named_by(decision: Decision, answer: JointAnswer) -> Answered:
    """Read who is named, in the order of the headline: a likely fault, a choice, a song."""
    if decision.verdict != "suspects":
        return Answered(None, None)
    top = decision.suspects[0]
    group = [top, *(s for s in decision.suspects if s.part in top.not_separable_from)]
    together = sum(suspect.probability for suspect in group)
    if top.probability >= POSSIBLE or (len(group) > 1 and together >= LIKELY):
        best = best_voice(answer, answer.parts.index(top.part))
        return Answered(top, None if best is None else answer.voices[best].family)
    loud = max(decision.suspects, key=lambda suspect: suspect.source_probability)
    return Answered(loud, None, is_song=True)


def lead_of(decision: Decision, answer: JointAnswer) -> Answered:
    """The first of all suspects, whatever the verdict."""
    if not decision.suspects:
        return Answered(None, None)
    top = decision.suspects[0]
    best = best_voice(answer, answer.parts.index(top.part))
    return Answered(top, None if best is None else answer.voices[best].family)


def right_of(case: NoiseCase, one: Answered) -> Right:
    """Compare what is answered with what was planted."""
    if case.fault is None:
        return Right()
    classes, planted = _classes(case, one), case.recipe.sound
    return Right(planted in classes, planted in classes[:1], case.fault.part in _stated(one))


def told_of(case: NoiseCase, decision: Decision, named: Answered, named_right: Right) -> Right:
    """What is right of the fault named or else of the plainest noise told and who may make it."""
    if case.fault is None or not decision.noises or (named.suspect and not named.is_song):
        return named_right
    told = decision.noises[0]
    asked = told.parts[:MOST_NAMED]
    classes = {
        class_of_way(case.drive, family, told.noise)
        for family in expected_families(case.drive)
        if family.part in asked and told.noise in ways_of(family)
    }
    right = case.recipe.sound in classes
    return Right(right, right, case.fault.part in asked)


def _classes(case: NoiseCase, one: Answered) -> tuple[SoundClass, ...]:
    """Classes of what is answered; a healthy part's song is of tones."""
    if one.is_song:
        return (SoundClass.TONES,)
    return classes_of(case.drive, one.family) if one.family else ()


def _answered_class(case: NoiseCase, named: Answered) -> str:
    if named.is_song:
        return SONG
    classes, planted = _classes(case, named), case.recipe.sound
    if planted is not None and planted in classes:
        return planted
    return classes[0] if classes else NOTHING


def _stated(named: Answered) -> tuple[str, ...]:
    """The part named and the group stated with it."""
    if named.suspect is None:
        return ()
    return (named.suspect.part, *named.suspect.not_separable_from)


def _blamed(case: NoiseCase, decision: Decision, named: Answered) -> tuple[str, ...]:
    """Parts of the drive that are named faulty, or that stand above one half."""
    parts = {s.part for s in decision.suspects if s.probability > 0.5}
    if named.suspect is not None and not named.is_song:
        parts.add(named.suspect.part)
    return tuple(sorted(part for part in parts if not is_of_every_engine(case.drive, part)))


def _loss(
    case: NoiseCase, named: Answered, named_right: Right, lead_right: Right, *, found: bool
) -> str:
    """Say where an answer was lost; a sound named alike cannot be told by its sound at all."""
    fault = case.fault
    if fault is None or (named_right.sound and named_right.part):
        return ""
    if not found:
        return "not found"
    if named.suspect is None:
        return "unsure, right" if lead_right.sound and lead_right.part else "unsure, wrong"
    if named_right.sound:
        return "other part"
    if named.is_song:
        return "a song instead"
    alike = named.family is not None and fault.shows_as in ways_of(named.family)
    return "alike in sound" if alike else "other sound"


def planted_level_db(case: NoiseCase, truths: Sequence[RecordingTruth]) -> float:
    """Highest level of the planted fault in any recording; -inf if there is none. [dB]"""
    if case.fault is None:
        return -np.inf
    levels = [line.tone_to_noise_db for truth in truths for line in truth.detectable()]
    levels += [sound.level_db for truth in truths for sound in truth.in_band]
    return max(levels, default=-np.inf)


def is_found(case: NoiseCase, heard: HeardCase, answer: JointAnswer) -> bool:
    """Whether any recording shows the planted sound, whoever was blamed for it.

    Tones and envelope lines: a place that stands out clearly where one of them truly is. A
    noise: a finding that speaks for it by one nat or more.
    """
    if case.fault is None:
        return False
    return any(
        _is_found_in(one, heard.truths[number], answer, place)
        for place, (number, one) in enumerate(heard.usable.items())
    )


def _is_found_in(one: Listened, truth: RecordingTruth, answer: JointAnswer, place: int) -> bool:
    """Whether one recording shows the planted sound; `place` is its place in the match."""
    tones = [line.order for line in truth.detectable()]
    if _stands_out(answer.tables[place], answer.hot[place], tones):
        return True
    events = [sound.order for sound in truth.in_band if sound.shows_as in ENVELOPE]
    swings = [k * order for order in events if order for k in range(1, HARMONICS + 1)]
    if any(
        swing.recording == place and _stands_out(swing.table, swing.hot, swings)
        for swing in answer.envelope
    ):
        return True
    return any(_says(one, sound.shows_as) for sound in truth.in_band)


def _stands_out(table: LineTable, hot: Sequence[HotTone], orders: Sequence[float]) -> bool:
    """Whether a clear line of a table is at one of the orders."""
    places = [int(table.place_of(np.log(order))) for order in orders]
    return any(
        tone.clear and tone.first - 2 <= place <= tone.last + 2 for tone in hot for place in places
    )


def _says(one: Listened, way: str) -> bool:
    """Whether a finding of one recording speaks for a noise, cries in step being chirps."""
    noise = "chirps" if way == "bursts" else way
    return any(f.noise == noise and f.ln_ratio >= FOUND_NAT for f in one.heard.noises)


def _score(
    case: NoiseCase,
    heard: HeardCase,
    level_db: float,
    answer: JointAnswer | None,
    named: Answered,
) -> CaseScore:
    """Stated probabilities beside the truth, for the calibration of the main trial."""
    guilty = case.fault.part if case.fault else None
    label = heard.recipe.name + (f" {guilty}: {case.fault.mechanism}" if case.fault else "")
    heard_at_all = bool(np.isfinite(level_db))
    stated = _stated(named)
    if answer is None:
        return CaseScore(heard_at_all, guilty is not None, False, None, False, 0, (), (), label)
    faulty = answer.result.faulty
    rank = None
    if guilty in answer.parts:
        rank = int(np.sum(faulty > faulty[answer.parts.index(guilty)]))
    sounding = {line.part for truth in heard.truths for line in truth.lines}
    sounding |= {sound.part for truth in heard.truths for sound in truth.in_band}
    claims = [source_probability(answer, k) for k in range(len(answer.parts))]
    return CaseScore(
        detectable=heard_at_all,
        has_fault=guilty is not None,
        answered=True,
        rank=rank,
        in_group=guilty in stated,
        group_size=len(stated),
        faulty=tuple(
            (float(p), part == guilty) for p, part in zip(faulty, answer.parts, strict=True)
        ),
        source=tuple((p, k in sounding) for p, k in zip(claims, answer.parts, strict=True)),
        label=label,
    )


def planted_way(outcome: Outcome) -> str:
    """Way in which the fault of a case was planted, for people."""
    case = case_of(outcome.recipe)
    if case.fault is None:
        return ""
    family = find_family(expected_families(case.drive), case.fault)
    sound = class_of_way(case.drive, family, case.fault.shows_as)
    return f"{case.fault.part}: {case.fault.mechanism}, {sound} by {case.fault.shows_as}"
