"""What it means: suspects with their evidence, and the one verdict of a screening."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from acoustic.evidence.findings import (
    EnvelopeSpectrum,
    NoiseFinding,
    OrderSpectrum,
    SwellingLine,
    Tone,
)
from acoustic.evidence.impacts import ImpactTrain
from acoustic.recording.recording import QualityRemark, Recording, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.verdict.belief import Belief

VerdictName = Literal["suspects", "nothing_found", "cannot_tell", "recording_unfit"]


@dataclass(frozen=True, slots=True)
class LineEvidence:
    """One expected line of a suspect and what was heard there.

    `state` is ``"heard"``, ``"missing"`` (should have been heard) or ``"hidden"``
    (under the engine's lines, under 60 Hz or above the codec's cut-off).
    `support` is the natural logarithm of the likelihood ratio it adds. [nat]
    `swings_hz` is the band of the sound whose loudness swings at that order; None for a
    line of the sound itself. [Hz]
    """

    recording: int
    label: str
    order: float
    heard_order: float | None
    frequency_hz: float
    excess_db: float | None
    state: Literal["heard", "missing", "hidden"]
    support: float
    swings_hz: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Suspect:
    """One part, how likely it is the source of the sound, and how likely faulty.

    Attributes
    ----------
    part : str
    mechanism : str
        The likeliest mechanism, by its name for people.
    mechanisms : tuple of (str, float)
        All mechanisms with their share, best first.
    probability : float
        P(faulty): it makes the sound and is not merely its healthy song. [-]
    source_probability : float
        P(this part makes sound that was found), healthy or not. [-]
    evidence, against : tuple of str
        Short sentences, strongest first.
    not_separable_from : tuple of str
        Parts this recording cannot tell it from, with the reason in `group_reason`.
    hand_check : str
        The check that settles most, with its caution.
    lines : tuple of LineEvidence
    """

    part: str
    mechanism: str
    mechanisms: tuple[tuple[str, float], ...]
    probability: float
    source_probability: float
    evidence: tuple[str, ...]
    against: tuple[str, ...]
    not_separable_from: tuple[str, ...]
    group_reason: str
    hand_check: str
    caution: str
    lines: tuple[LineEvidence, ...]


@dataclass(frozen=True, slots=True)
class UnexplainedTone:
    """A found tone that no part of the layout accounts for."""

    recording: int
    tone: Tone
    remark: str


@dataclass(frozen=True, slots=True)
class UnexplainedSwelling:
    """An order at which a band's loudness swells and that no part of the layout accounts for."""

    recording: int
    line: SwellingLine
    remark: str


@dataclass(frozen=True, slots=True)
class PlainNoise:
    """A noise that is plainly there.

    Attributes
    ----------
    noise : str
        Its id in the tables.
    sentence : str
        What it is and what was measured.
    ln_ratio : float
        How far its recording speaks for it. [nat]
    parts : tuple of str
        Who may make it, likeliest first.
    recording : int
        The recording that speaks loudest for it.
    """

    noise: str
    sentence: str
    ln_ratio: float
    parts: tuple[str, ...]
    recording: int = 0


@dataclass(frozen=True, slots=True)
class BeltSlip:
    """A belt whose parts were heard to turn too slowly.

    `least_percent` to `most_percent` is how far below what the diameters make they turn, at
    nine tenths of the probability; `parts` those that were heard. [%]
    """

    belt: str
    least_percent: float
    most_percent: float
    parts: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class CountedWords:
    """What a person said of the sound, and what it weighs in the answer.

    Attributes
    ----------
    sounds, when : tuple of str
        The words, as the tables have them.
    counted : bool
        False if no recording could be screened, so that nothing was weighed.
    highest, lowest : float
        Largest and smallest factor by which the words change how likely a mechanism is
        against a sound drive. [-]
    parts : tuple of (str, float)
        By which factor they change each part's odds of being faulty, largest first. [-]
    """

    sounds: tuple[str, ...]
    when: tuple[str, ...]
    counted: bool = False
    highest: float = 1.0
    lowest: float = 1.0
    parts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """Everything drawn from one recording, kept for the report.

    `speed_reason` says what the speed rests on or why it is not known; `spectrum` and
    `envelope` are None for a recording that took no part in the match. `noises` holds a
    finding for every noise that was listened for. `switched_off_s` is the second of the clip
    at which the engine is switched off; what lies after it is no part of the spectra. `taken`
    says where and with which loads on it was recorded. `swelling` are the orders at which the
    loudness of a band plainly swells; `knocks` those that were judged, if any were looked for.
    """

    recording: Recording
    speed: SpeedTrace | None
    stretches: Stretches
    quality: tuple[QualityRemark, ...]
    spectrum: OrderSpectrum | None
    tones: tuple[Tone, ...]
    speed_reason: str = ""
    envelope: EnvelopeSpectrum | None = None
    noises: tuple[NoiseFinding, ...] = ()
    switched_off_s: float | None = None
    taken: Taken = IN_FRONT
    swelling: tuple[SwellingLine, ...] = ()
    knocks: ImpactTrain | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """The answer to one screening, with all it takes to repeat it.

    Attributes
    ----------
    verdict : str
        Exactly one of the four names.
    headline : str
        The answer in one sentence.
    reasons : tuple of str
        How sure and why, at most three lines.
    next_steps : tuple of str
        What to do next, cheapest first.
    suspects : tuple of Suspect
        Best first. Every part of the layout is here.
    unexplained : tuple of UnexplainedTone
    heard : tuple of Heard
        One per recording, in the order given.
    detectable : str
        For ``nothing_found``: what level would have been found.
    unseen_parts : tuple of str
        Parts none of whose lines could be seen in these recordings.
    settings : mapping
    version : str
    words : CountedWords or None
        What the user said of the sound; None if nothing was said.
    slips : tuple of BeltSlip
        Belts seen to slip more than a sound one.
    belief : Belief or None
        What is believed of all parts together, for hand checks and the like to change; None
        where nothing could be screened.
    noises : tuple of PlainNoise
        Noises that are plainly there whoever is named, plainest first, a growl last.
    unexplained_swelling : tuple of UnexplainedSwelling
        Swelling of the loudness that no part accounts for; no tones.
    """

    verdict: VerdictName
    headline: str
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    unexplained: tuple[UnexplainedTone, ...]
    heard: tuple[Heard, ...]
    detectable: str
    unseen_parts: tuple[str, ...]
    settings: Mapping[str, Any]
    version: str
    words: CountedWords | None = None
    slips: tuple[BeltSlip, ...] = ()
    belief: Belief | None = None
    noises: tuple[PlainNoise, ...] = ()
    unexplained_swelling: tuple[UnexplainedSwelling, ...] = ()
