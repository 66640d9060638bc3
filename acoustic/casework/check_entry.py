"""A hand check entered in a case, with what it changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from acoustic.casework.case_answer import (
    believed_after_checks,
    checks_done,
    read_belief,
    require_known_check,
    with_check,
)
from acoustic.casework.case_choice import choice_of
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_event
from acoustic.casework.check_results import CheckMade
from acoustic.casework.history import CheckDone, Event
from acoustic.casework.next_checks import apply_results
from acoustic.casework.repair_choice import RepairChoice
from acoustic.errors import CaseError
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict.belief import Belief


@dataclass(frozen=True, slots=True, eq=False)
class CheckEntered:
    """A hand check that was entered.

    Attributes
    ----------
    event : Event
    repeated : bool
        It counts in place of the same check made before.
    before, after : Belief
    choice : RepairChoice
        What to open or check now.
    """

    event: Event
    repeated: bool
    before: Belief
    after: Belief
    choice: RepairChoice


def write_check(folder: Path, done: CheckDone, time: datetime) -> CheckEntered:
    """Enter the result of a hand check.

    Raises
    ------
    CaseError
        If no screening told anything yet, or the check, part or result is not known.
    """
    case = read_case(folder)
    belief = read_belief(case)
    if belief is None:
        raise CaseError(
            f"{folder}: no screening of it told anything yet, so there are no odds to change. "
            f"Screen it first (acoustic case screen {folder}), or keep the finding as a note "
            f"(acoustic case note {folder} TEXT)."
        )
    knowledge, earlier = load_knowledge(), checks_done(case)
    result = CheckMade(done.check, done.part, done.result)
    require_known_check(case, result, knowledge)
    before = believed_after_checks(case, belief, knowledge)
    all_done = with_check(earlier, result)
    after = apply_results(case.drive, belief, all_done, knowledge)
    _, choice = choice_of(case, after, all_done)
    event = write_event(folder, done, time)
    return CheckEntered(event, len(all_done) == len(earlier), before, after, choice)
