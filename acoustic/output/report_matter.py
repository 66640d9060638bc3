"""What a report is made of: the case, what its recordings say now, what follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from acoustic.casework.case_folder import Case
from acoustic.casework.history import Event, EventData, Outcome
from acoustic.casework.next_checks import RankedCheck
from acoustic.casework.repair_choice import RepairChoice
from acoustic.recording.recording import Recording
from acoustic.recording.taken import Taken
from acoustic.verdict.belief import Belief
from acoustic.verdict.change_values import Change
from acoustic.verdict.suspects import Screening

SUSPECTED_FROM = 0.05
"""P(faulty) from which a part is told and marked as a suspect, as in the answer's text."""
_MOST_MARKED = 3

_Kind = TypeVar("_Kind", bound=EventData)


@dataclass(frozen=True, slots=True, eq=False)
class CaseChange:
    """One comparison of before and after, and how its recordings were taken."""

    taken: Taken
    change: Change


@dataclass(frozen=True, slots=True, eq=False)
class ReportMatter:
    """Everything a report tells.

    Attributes
    ----------
    case : Case
    screening : Screening
        Of its recordings before the repair, made now.
    made : datetime
        When the report is made.
    belief : Belief or None
        After the hand checks; None where nothing could be screened.
    ranked : tuple of RankedCheck
        Hand checks still to be made, most settled per minute first.
    choice : RepairChoice or None
        None without a belief.
    changes : tuple of CaseChange
        Empty where there are no recordings after the repair to compare.
    change_missing : str
        Why recordings after the repair are not compared, where there are such.
    kept_answer : str
        How the answer the case keeps differs from this one; empty if it does not.
    still_to_record : tuple of str
        Recordings the plan asks for that are not there yet.
    before_after : (Recording, Recording) or None
        One recording before and one after the repair, taken alike, for the ear.
    """

    case: Case
    screening: Screening
    made: datetime
    belief: Belief | None = None
    ranked: tuple[RankedCheck, ...] = ()
    choice: RepairChoice | None = None
    changes: tuple[CaseChange, ...] = ()
    change_missing: str = ""
    kept_answer: str = ""
    still_to_record: tuple[str, ...] = ()
    before_after: tuple[Recording, Recording] | None = None

    @property
    def outcome(self) -> Outcome | None:
        """What was found when it was opened, by the newest entry."""
        found = events_of(self.case.events, Outcome)
        return found[-1][1] if found else None

    def faulty(self, part: str) -> float | None:
        """P(part is faulty) after the hand checks; None if nothing is believed of it."""
        if self.belief is None or part not in self.belief.parts:
            return None
        return float(self.belief.faulty[self.belief.parts.index(part)])

    @property
    def suspects(self) -> tuple[str, ...]:
        """Parts to be marked, likeliest first; as many as stand out, at most three."""
        if self.belief is None:
            return ()
        ranked = sorted(zip(self.belief.faulty, self.belief.parts, strict=True), reverse=True)
        return tuple(part for p, part in ranked if p >= SUSPECTED_FROM)[:_MOST_MARKED]


def events_of(events: Sequence[Event], kind: type[_Kind]) -> list[tuple[Event, _Kind]]:
    """Events of one kind with what they hold, oldest first."""
    return [(event, event.data) for event in events if isinstance(event.data, kind)]
