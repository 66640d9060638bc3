"""What follows from what a case believes: its plan, the next hand checks, what to open."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.casework.case_answer import mileage_of, takes_done
from acoustic.casework.case_folder import Case
from acoustic.casework.check_results import CheckMade
from acoustic.casework.next_checks import RankedCheck, rank_checks
from acoustic.casework.plan import Plan, make_plan
from acoustic.casework.repair_choice import ChoiceSettings, RepairChoice, choose_repair
from acoustic.screening import ScreenSettings
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict.belief import Belief
from acoustic.verdict.joint_match import MatchSettings

_MOST_WORKERS = 2
"""Recordings listened to at a time; more wait for memory, not for the cores."""


def case_screen_settings(cores: int) -> ScreenSettings:
    """Settings by which the recordings of a case are screened together."""
    return ScreenSettings(match=MatchSettings(workers=min(_MOST_WORKERS, cores)))


def plan_of(case: Case, belief: Belief | None = None) -> Plan:
    """The plan of a case: its words, what is believed, what is recorded already."""
    return make_plan(case.drive, case.file.words, belief, takes_done(case))


def choice_of(
    case: Case, belief: Belief, done: Sequence[CheckMade]
) -> tuple[tuple[RankedCheck, ...], RepairChoice]:
    """Hand checks still to be made, by rank, and what to open or order."""
    knowledge, file = load_knowledge(), case.file
    ranked = rank_checks(case.drive, belief, knowledge, done)
    settings = ChoiceSettings(
        labour_rate_per_hour=file.labour_rate_per_hour, currency=file.currency
    )
    return ranked, choose_repair(case.drive, belief, ranked, knowledge, mileage_of(case), settings)
