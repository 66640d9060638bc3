"""What two sets of recordings say of a repair: the values that people and programs read."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from acoustic.evidence.family_levels import LevelSettings
from acoustic.recording.taken import Taken
from acoustic.verdict.suspects import Heard

ChangeName = Literal["cured", "clearly_lower", "unchanged", "worse", "new_sound", "cannot_tell"]
Outcome = Literal["gone", "lower", "unchanged", "higher", "new", "unclear"]


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One recording that is compared: how it was taken, and what was heard in it."""

    taken: Taken
    heard: Heard


@dataclass(frozen=True, slots=True)
class Target:
    """The repaired part, with the mechanisms that were repaired; empty stands for all."""

    part: str
    mechanisms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ChangeSettings:
    """How sure a change must be, and how far two takes of the same thing differ.

    Attributes
    ----------
    margin_db : float
        A change within this either way is none. [dB]
    cured_db : float
        So much lower at least is cured, if it is surely lower than the margin, too. [dB]
    error_rate : float
        One-sided; the interval of both sides together covers 1 - 2 x this. [-]
    hand_held_sd_db, contact_sd_db : float
        Sd of a family's level from take to take with the phone held in the hand, and
        resting on a marked point (METHODS: 2 to 3 and 1 to 1.5 dB, judgement). [dB]
    assumed_freedom : float
        As how many degrees of freedom that counts beside the takes' own scatter.
    segment_inflation : float
        The scatter over segments of one take understates the error: 70 % coverage at a
        nominal 90 % calls for 1.5 (METHODS G). [-]
    present_nat : float
        A line is there from so large a logarithm of its likelihood ratio, all takes of a
        side together. [nat]
    """

    margin_db: float = 3.0
    cured_db: float = 6.0
    error_rate: float = 0.05
    hand_held_sd_db: float = 2.5
    contact_sd_db: float = 1.25
    assumed_freedom: float = 6.0
    segment_inflation: float = 1.5
    present_nat: float = 8.0
    levels: LevelSettings = field(default_factory=LevelSettings)


@dataclass(frozen=True, slots=True)
class FamilyChange:
    """One family of lines, before and after.

    Attributes
    ----------
    part, mechanism, title : str
    shows_as : str
        ``"tones"`` or ``"swing"`` of the band `swings_hz`.
    orders : tuple of float
        Lines that were heard before or after, at the same place in all recordings.
    before_db, after_db : float or None
        Over the engine's firing orders; of a swing its share of the band's loudness. None
        where it was not found: then `before_limit_db` and `after_limit_db` say below what. [dB]
    before_above_floor_db, after_above_floor_db : float or None
        Over the floor beside the lines. [dB]
    change_db : float or None
        None where it was found on one side only. [dB]
    low_db, high_db : float
        Interval of the change; infinite on the side where it was not found. [dB]
    outcome : str
        After correction for the number of families; that of the target stands by itself.
    p_value : float
        Chance of so large a change beyond the margin where there is none, corrected.
    is_target : bool
    shares_lines_with : tuple of str
        Parts with another family at one of the same places.
    telling : bool
        Whether it stands so far out before that it would be known to be gone if it were.
    """

    part: str
    mechanism: str
    title: str
    shows_as: Literal["tones", "swing"]
    orders: tuple[float, ...]
    before_db: float | None
    after_db: float | None
    before_limit_db: float
    after_limit_db: float
    before_above_floor_db: float | None
    after_above_floor_db: float | None
    change_db: float | None
    low_db: float
    high_db: float
    outcome: Outcome
    p_value: float
    is_target: bool = False
    shares_lines_with: tuple[str, ...] = ()
    swings_hz: tuple[float, float] | None = None
    telling: bool = True


@dataclass(frozen=True, slots=True)
class NewTone:
    """A tone heard after and not before that belongs to no family of the layout.

    `below_before_db` is what it would have been seen at before, on the scale of `after_db`:
    over the engine's firing orders.
    """

    order: float
    frequency_hz: float
    after_db: float
    below_before_db: float
    p_value: float


@dataclass(frozen=True, slots=True)
class TakeScatter:
    """How far takes of the same thing differ.

    `sd_db` with its degrees of freedom, and in words what it rests on. [dB]
    """

    sd_db: float
    freedom: float
    basis: str


@dataclass(frozen=True, slots=True)
class Change:
    """What changed between two sets of recordings.

    Attributes
    ----------
    verdict : str
        Exactly one of the six names, of the target.
    headline : str
    reasons : tuple of str
        Why, at most a few sentences.
    next_steps : tuple of str
    target : Target or None
    against : str
        ``"before"``, or ``"healthy"`` where a sound drive stands in for it: then the change
        is the difference from normal.
    families : tuple of FamilyChange
        Those that were heard on either side, the target on top.
    not_heard : int
        Number of families heard on neither side.
    new_tones : tuple of NewTone
    takes : (int, int)
        Number of recordings before and after.
    scatter : TakeScatter
    notes : tuple of str
        What was taken for granted.
    """

    verdict: ChangeName
    headline: str
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...]
    target: Target | None
    against: Literal["before", "healthy"]
    families: tuple[FamilyChange, ...]
    not_heard: int
    new_tones: tuple[NewTone, ...]
    takes: tuple[int, int]
    scatter: TakeScatter
    confidence: float
    notes: tuple[str, ...] = ()
