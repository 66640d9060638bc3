"""Everything a report tells, gathered: the case screened anew, before and after compared."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime

from acoustic.casework.case_answer import (
    believed_after_checks,
    checks_done,
    read_and_screen,
    read_clip,
    usable_recordings,
)
from acoustic.casework.case_change import ComparablePair, comparable_pairs, read_and_compare
from acoustic.casework.case_choice import case_screen_settings, choice_of, plan_of
from acoustic.casework.case_folder import Case
from acoustic.casework.kept_answer import kept_answer_words
from acoustic.errors import AcousticError, CaseError
from acoustic.output.report_matter import CaseChange, ReportMatter
from acoustic.recording.recording import Recording


def read_report_matter(
    case: Case, time: datetime, say: Callable[[str], None], *, sounds: bool = False
) -> ReportMatter:
    """Screen a case and compare before and after; gather all that its report tells.

    `sounds` reads one recording before and one after the repair once more, for the ear.

    Raises
    ------
    CaseError
        If there is no usable recording before the repair.
    """
    settings = case_screen_settings(os.cpu_count() or 1)
    screening = read_and_screen(case, settings, progress=say)
    belief = screening.belief and believed_after_checks(case, screening.belief)
    ranked, choice = (
        choice_of(case, belief, checks_done(case)) if belief is not None else ((), None)
    )
    compared, missing = _read_changes(case, say)
    steps = plan_of(case, belief).steps
    return ReportMatter(
        case=case,
        screening=screening,
        made=time,
        belief=belief,
        ranked=ranked,
        choice=choice,
        changes=tuple(change for _, change in compared),
        change_missing=missing,
        kept_answer=kept_answer_words(case, screening),
        still_to_record=tuple(s.title for s in steps if s.asks_for is not None and not s.done),
        before_after=_read_before_after(compared[0][0]) if sounds and compared else None,
    )


def _read_before_after(pair: ComparablePair) -> tuple[Recording, Recording]:
    """Give the first recordings of the comparison that the report tells first."""
    return read_clip(pair.before[0]).recording, read_clip(pair.after[0]).recording


def _read_changes(
    case: Case, say: Callable[[str], None]
) -> tuple[list[tuple[ComparablePair, CaseChange]], str]:
    """Every comparison of before and after; where recorded and not to be compared, why.

    What cannot be compared keeps nobody from the rest of the report.
    """
    if not usable_recordings(case, "after"):
        return [], ""
    pairs: tuple[ComparablePair, ...] = ()
    compared, missing = [], []
    try:
        pairs = comparable_pairs(case)
    except CaseError as error:
        missing.append(str(error))
    for pair in pairs:
        try:
            compared.append((pair, CaseChange(pair.taken, read_and_compare(case, pair, say))))
        except AcousticError as error:
            missing.append(str(error))
    # A report is mailed: it tells nobody where the case lies on this machine.
    return compared, " ".join(missing).replace(str(case.folder), case.folder.name)
