"""What was worked out of a case, kept until a file of the case changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from acoustic.casework.case_answer import believed_after_checks, checks_done, read_belief
from acoustic.casework.case_choice import choice_of, plan_of
from acoustic.casework.case_folder import HISTORY_FILE, RECORDINGS, SCREENINGS, Case, read_case
from acoustic.casework.history import ScreeningMade
from acoustic.casework.next_checks import RankedCheck
from acoustic.casework.plan import Plan
from acoustic.casework.repair_choice import RepairChoice
from acoustic.errors import AcousticError, CaseError
from acoustic.verdict.belief import Belief
from acoustic.web.plain_words import without_place

_MOST_KEPT = 50


@dataclass(frozen=True, slots=True, eq=False)
class CaseThought:
    """A case as it stands, and what follows from it.

    Attributes
    ----------
    case : Case
    belief : Belief or None
        After the hand checks.
    trouble : str
        Why nothing is believed though it was screened; empty if all is well.
    ranked : tuple of RankedCheck
    choice : RepairChoice or None
    plan : Plan
    basis : object
        What belief, checks and choice follow from: they stay while it does, whatever else
        comes into the case.
    """

    case: Case
    belief: Belief | None
    trouble: str
    ranked: tuple[RankedCheck, ...]
    choice: RepairChoice | None
    plan: Plan
    basis: object


class CaseMemory:
    """Thoughts on the cases that were looked at last; safe to be asked by many at once."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Path, tuple[object, CaseThought]] = OrderedDict()
        self._lock = threading.Lock()

    def thought_of(self, folder: Path) -> CaseThought:
        """What follows from a case as it stands now.

        Raises
        ------
        AcousticError
            If the case cannot be read.
        """
        stamp = _stamp(folder)
        with self._lock:
            held = self._kept.get(folder)
        if held is not None and held[0] == stamp:
            return held[1]
        thought = read_thought(folder, held[1] if held is not None else None)
        with self._lock:
            self._kept[folder] = stamp, thought
            self._kept.move_to_end(folder)
            if len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return thought


def read_thought(folder: Path, before: CaseThought | None = None) -> CaseThought:
    """Read a case and work out what follows from it, as far as it did not so `before`."""
    case = read_case(folder)
    basis = _basis(case)
    if before is not None and before.basis == basis:
        plan = plan_of(case, before.belief)
        return replace(before, case=case, plan=plan)
    belief, trouble = _believed(case)
    ranked, choice = choice_of(case, belief, checks_done(case)) if belief else ((), None)
    return CaseThought(case, belief, trouble, ranked, choice, plan_of(case, belief), basis)


def _basis(case: Case) -> object:
    """Layout and case file, the newest answer made here, and the hand checks that stand."""
    made = [e.data for e in case.events if isinstance(e.data, ScreeningMade) and not e.data.by]
    newest = made[-1].answer if made else ""
    return _marks(sorted(case.folder.glob("*.toml"))), newest, checks_done(case)


def _believed(case: Case) -> tuple[Belief | None, str]:
    try:
        belief = read_belief(case)
        return (believed_after_checks(case, belief) if belief else None), ""
    except CaseError as error:
        said = without_place(str(error).split(" Screen ")[0], case.folder)
        return None, f"{said} Screen the case again."
    except AcousticError as error:
        return None, without_place(str(error), case.folder)


def _stamp(folder: Path) -> object:
    """What changes whenever a file of the case does."""
    paths = [*sorted(folder.glob("*.toml")), folder / HISTORY_FILE]
    return _marks([*paths, folder / RECORDINGS, folder / SCREENINGS])


def _marks(paths: Iterable[Path]) -> tuple[object, ...]:
    """Time and size of files, as far as they are there."""
    marks = []
    for path in paths:
        try:
            state = path.stat()
        except OSError:
            continue
        marks.append((path.name, state.st_mtime_ns, state.st_size))
    return tuple(marks)
