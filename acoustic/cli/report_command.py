"""``acoustic case report``: the report of a case as one page."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.case_answers import WORKERS, choice_of, plan_of
from acoustic.cli.progress import shown_progress
from acoustic.errors import CaseError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case
    from acoustic.output.report_matter import CaseChange, ReportMatter


def run_case_report(folder: Path, file: Path, time: datetime, *, sounds: bool = False) -> int:
    """Screen what a case holds once more and write its report as one HTML page."""
    from acoustic.casework.case_folder import read_case
    from acoustic.output.report_page import ReportSettings, render_report
    from acoustic.output.whole_file import require_writable, write_text_whole

    require_writable(file, "--file")
    case = read_case(folder)
    with shown_progress() as say:
        matter = read_report_matter(case, time, say)
        say("drawing")
        page = render_report(matter, ReportSettings(sounds))
    write_text_whole(file, page)
    sys.stdout.write(f"{matter.screening.headline}\n")
    if matter.kept_answer:
        sys.stdout.write(f"{matter.kept_answer}\n")
    sys.stdout.write(f"Written: {file}\n")
    return 0


def read_report_matter(case: Case, time: datetime, say: Callable[[str], None]) -> ReportMatter:
    """Screen a case and compare before and after; gather all that its report tells.

    Raises
    ------
    CaseError
        If there is no usable recording before the repair.
    """
    from acoustic.casework.case_answer import believed_after_checks, checks_done, read_and_screen
    from acoustic.casework.kept_answer import kept_answer_words
    from acoustic.output.report_matter import ReportMatter
    from acoustic.screening import ScreenSettings
    from acoustic.verdict.joint_match import MatchSettings

    settings = ScreenSettings(match=MatchSettings(workers=min(WORKERS, os.cpu_count() or 1)))
    screening = read_and_screen(case, settings, progress=say)
    belief = screening.belief and believed_after_checks(case, screening.belief)
    ranked, choice = (
        choice_of(case, belief, checks_done(case)) if belief is not None else ((), None)
    )
    changes, missing = _read_changes(case, say)
    steps = plan_of(case, belief).steps
    return ReportMatter(
        case=case,
        screening=screening,
        made=time,
        belief=belief,
        ranked=ranked,
        choice=choice,
        changes=changes,
        change_missing=missing,
        kept_answer=kept_answer_words(case, screening),
        still_to_record=tuple(s.title for s in steps if s.asks_for is not None and not s.done),
    )


def _read_changes(case: Case, say: Callable[[str], None]) -> tuple[tuple[CaseChange, ...], str]:
    """Every comparison of before and after; where there is none though recorded, why."""
    from acoustic.casework.case_answer import usable_recordings
    from acoustic.casework.case_change import comparable_pairs, read_and_compare
    from acoustic.output.report_matter import CaseChange

    if not usable_recordings(case, "after"):
        return (), ""
    try:
        pairs = comparable_pairs(case)
        changes = [CaseChange(one.taken, read_and_compare(case, one, say)) for one in pairs]
    except CaseError as error:
        # A report is mailed: it tells nobody where the case lies on this machine.
        return (), str(error).replace(str(case.folder), case.folder.name)
    return tuple(changes), ""
