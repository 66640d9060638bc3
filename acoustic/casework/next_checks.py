"""Which hand check comes next: what each would settle per minute.

What a check settles is the expected fall of the entropy of what is to be repaired
(Lindley 1956, On a measure of the information provided by an experiment; Shannon 1948).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from acoustic.casework.check_results import (
    CheckMade,
    apply_result,
    belt_of,
    driven_parts,
    outcomes,
    turns_free_without_belt,
    unsettled_nat,
)
from acoustic.drive.drive import Drive
from acoustic.tables.hand_check_rows import HandCheck
from acoustic.tables.knowledge import Knowledge
from acoustic.tables.words import repair_words
from acoustic.verdict.belief import Belief
from acoustic.verdict.wording import probability_number


@dataclass(frozen=True, slots=True)
class CheckSettings:
    """Settings of the ranking.

    Attributes
    ----------
    belt_off_minutes : float
        Taking a belt off and putting it on again; common practice, no source. [min]
    least_probability : float
        A part less likely faulty than this gets no check of its own: it could settle next
        to nothing. [-]
    told_parts : int
        Leading parts of which is said what a result does to them, beside the one checked.
    told_change : float
        Smallest change of a probability that is told. [-]
    """

    belt_off_minutes: float = 12.0
    least_probability: float = 0.005
    told_parts: int = 3
    told_change: float = 0.02


DEFAULT_CHECK_SETTINGS = CheckSettings()


@dataclass(frozen=True, slots=True)
class PartMove:
    """P(faulty) of a part before and after a result; `part` None stands for none of them."""

    part: str | None
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class ResultOutlook:
    """One result a check may have: its chance, what it would do, and that in words."""

    result: str
    chance: float
    moves: tuple[PartMove, ...]
    sentence: str
    belief: Belief


@dataclass(frozen=True, slots=True)
class RankedCheck:
    """A check at a part with what it is expected to settle.

    Attributes
    ----------
    minutes : float
        With the belt taken off and put on, where that is needed. [min]
    information_nat : float
        Expected fall of `unsettled_nat`. [nat]
    doubt_share : float
        That fall as a share of what is unsettled before the check.
    remarks : tuple of str
        What is to be minded at this part beside the caution of the check.
    """

    check: HandCheck
    part: str
    minutes: float
    information_nat: float
    doubt_share: float
    results: tuple[ResultOutlook, ...]
    remarks: tuple[str, ...] = ()

    @property
    def nat_per_minute(self) -> float:
        """What it settles per minute. [nat/min]"""
        return self.information_nat / self.minutes


def rank_checks(
    drive: Drive,
    belief: Belief,
    knowledge: Knowledge,
    done: Sequence[CheckMade] = (),
    settings: CheckSettings = DEFAULT_CHECK_SETTINGS,
) -> tuple[RankedCheck, ...]:
    """Every check that can still be made, most settled per minute first.

    Parameters
    ----------
    belief : Belief
        What is believed now, the results of `done` included (see `apply_results`).
    done : sequence of CheckMade
        Checks already made, in order: they are not proposed again, and a belt that the
        last one left off need not come off again.
    """
    made = {(one.check, one.part) for one in done}
    off = _belt_left_off(drive, knowledge, done)
    before = unsettled_nat(drive, belief, knowledge)
    ranked = [
        _ranked(drive, belief, (check, part, before), (off, settings), knowledge)
        for check in knowledge.hand_checks.values()
        for part in places_of(check, drive, belief, knowledge, settings)
        if (check.id, part) not in made
    ]
    return tuple(sorted(ranked, key=lambda one: (-one.nat_per_minute, one.check.id, one.part)))


def apply_results(
    drive: Drive, belief: Belief, done: Sequence[CheckMade], knowledge: Knowledge
) -> Belief:
    """The belief after several checks, taken as independent of each other given the fault.

    Raises
    ------
    CaseError
        As `apply_result`.
    """
    for one in done:
        belief = apply_result(drive, belief, one, knowledge)
    return belief


def places_of(
    check: HandCheck,
    drive: Drive,
    belief: Belief,
    knowledge: Knowledge,
    settings: CheckSettings = DEFAULT_CHECK_SETTINGS,
) -> tuple[str, ...]:
    """Parts a check can be made at and where it could settle something."""
    return tuple(
        part
        for part, faulty, shares in zip(belief.parts, belief.faulty, belief.mechanisms, strict=True)
        if tells_of(check, drive, part, shares, knowledge)
        and (
            _belt_check_allowed(check, drive, part)
            if check.bears_on == "belt drive"
            else faulty >= settings.least_probability
        )
    )


def tells_of(
    check: HandCheck, drive: Drive, part: str, mechanisms: Iterable[str], knowledge: Knowledge
) -> bool:
    """Whether a check can be made at a part that may fail in these ways, and tells of them."""
    if not check.made_at(drive.parts[part].kind):
        return False
    if check.bears_on == "belt drive":
        return belt_of(drive, part) is not None
    if check.belt_off and not turns_free_without_belt(drive, part):
        return False
    return any(knowledge.named_chances(check, name) is not None for name in mechanisms)


def _belt_check_allowed(check: HandCheck, drive: Drive, part: str) -> bool:
    """Whether the engine can do without what this belt drives, for a moment."""
    belt = belt_of(drive, part)
    if belt is None:
        return False
    kinds = {drive.parts[name].kind for name in driven_parts(drive, belt)}
    return not kinds & set(check.not_if_driving)


def _belt_left_off(drive: Drive, knowledge: Knowledge, done: Sequence[CheckMade]) -> str | None:
    """Name of the belt that is still off after the last check."""
    if not done or not knowledge.hand_checks[done[-1].check].belt_off:
        return None
    belt = belt_of(drive, done[-1].part)
    return belt.name if belt else None


def _ranked(
    drive: Drive,
    belief: Belief,
    at: tuple[HandCheck, str, float],
    setting: tuple[str | None, CheckSettings],
    knowledge: Knowledge,
) -> RankedCheck:
    (check, part, before), (off, settings) = at, setting
    found = outcomes(drive, belief, check, part, knowledge)
    left = sum(chance * unsettled_nat(drive, after, knowledge) for _, chance, after in found)
    belt = belt_of(drive, part) if check.belt_off else None
    takes_off = belt is not None and belt.name != off
    remark = [repair_words("checks", "stretch_belt")] if belt and belt.stretch else []
    information_nat = max(0.0, before - left)  # below 0 by rounding only
    return RankedCheck(
        check=check,
        part=part,
        minutes=check.minutes + (settings.belt_off_minutes if takes_off else 0.0),
        information_nat=information_nat,
        doubt_share=information_nat / before if before > 0.0 else 0.0,
        results=tuple(_outlook(belief, check, one, settings) for one in found),
        remarks=tuple(remark),
    )


def _outlook(
    belief: Belief,
    check: HandCheck,
    found: tuple[CheckMade, float, Belief],
    settings: CheckSettings,
) -> ResultOutlook:
    done, chance, after = found
    was, now = belief.faulty, after.faulty
    order = sorted(range(len(belief.parts)), key=lambda k: -was[k])
    told = order[: settings.told_parts]
    own = belief.parts.index(done.part)
    told += [own] if own not in told else []
    moves = [PartMove(belief.parts[k], float(was[k]), float(now[k])) for k in told]
    moves.append(PartMove(None, nobody(belief), nobody(after)))
    words = check.results[check.index(done.result)].words
    sentence = repair_words(
        "checks",
        "result",
        words=words[0].upper() + words[1:],
        chance=probability_number(chance),
        moves=_moves_text(moves, settings),
    )
    return ResultOutlook(done.result, chance, tuple(moves), sentence, after)


def nobody(belief: Belief) -> float:
    """P(none of the listed parts is faulty)."""
    return sum(weight for chosen, weight in belief.sets if not chosen)


def _moves_text(moves: Sequence[PartMove], settings: CheckSettings) -> str:
    told = []
    for move in moves:
        if abs(move.after - move.before) >= settings.told_change:
            code = "up" if move.after > move.before else "down"
            told.append(
                repair_words(
                    "checks",
                    code if move.part else f"none_{code}",
                    part=move.part,
                    before=probability_number(move.before),
                    after=probability_number(move.after),
                )
            )
    return ", ".join(told) or repair_words("checks", "no_move", least=settings.told_change)
