"""``acoustic case report``: the report of a case as one page, as PDF, or both."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.case_answers import WORKERS, choice_of, plan_of
from acoustic.cli.progress import shown_progress
from acoustic.errors import CaseError, SettingsError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case
    from acoustic.output.report_matter import CaseChange, ReportMatter
    from acoustic.recording.recording import Recording


@dataclass(frozen=True, slots=True)
class ReportRequest:
    """Everything typed after ``acoustic case report``: the case, and what to write."""

    folder: Path
    file: Path | None = None
    pdf: Path | None = None
    sounds: bool = False


def run_case_report(request: ReportRequest, time: datetime) -> int:
    """Screen what a case holds once more and write its report as page, PDF or both."""
    from acoustic.casework.case_folder import read_case

    _require_places(request)
    case = read_case(request.folder)
    with shown_progress() as say:
        matter = read_report_matter(case, time, say, sounds=request.sounds)
        say("drawing")
        written = [*_write_page(request, matter), *_write_pdf(request, matter)]
    sys.stdout.write(f"{matter.screening.headline}\n")
    if matter.kept_answer:
        sys.stdout.write(f"{matter.kept_answer}\n")
    for file, size in written:
        sys.stdout.write(f"Written: {file} ({size / 1e6:.1f} MB)\n")
    return 0


def _require_places(request: ReportRequest) -> None:
    """Refuse what cannot be written before anybody waits for it.

    Raises
    ------
    OutputError, SettingsError
    """
    from acoustic.output.report_pdf import require_pdf
    from acoustic.output.whole_file import require_writable

    if request.file is None and request.pdf is None:
        raise SettingsError("Nothing to write: give --file FILE.html, --pdf FILE.pdf or both.")
    if request.file is not None:
        if request.file.suffix.lower() == ".pdf":
            raise SettingsError(f"--file {request.file}: this is the page. Use --pdf for a PDF.")
        require_writable(request.file, "--file")
    elif request.sounds:
        raise SettingsError("--sounds: paper does not play. Add --file FILE.html for the page.")
    if request.pdf is not None:
        require_writable(request.pdf, "--pdf")
        require_pdf(f"--pdf {request.pdf}")


def _write_page(request: ReportRequest, matter: ReportMatter) -> Iterator[tuple[Path, int]]:
    """Write the page where one is asked for; give its place and size. [byte]"""
    from acoustic.output.report_page import ReportSettings, render_report
    from acoustic.output.whole_file import write_bytes_whole

    if request.file is not None:
        page = render_report(matter, ReportSettings(request.sounds)).encode("utf-8")
        write_bytes_whole(request.file, page)
        yield request.file, len(page)


def _write_pdf(request: ReportRequest, matter: ReportMatter) -> Iterator[tuple[Path, int]]:
    """Write the PDF where one is asked for; give its place and size. [byte]"""
    from acoustic.output.report_page import ReportSettings, render_report
    from acoustic.output.report_pdf import render_pdf
    from acoustic.output.whole_file import write_bytes_whole

    if request.pdf is not None:
        made = render_pdf(render_report(matter, ReportSettings(paper=True)))
        write_bytes_whole(request.pdf, made)
        yield request.pdf, len(made)


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
        before_after=_read_before_after(case) if sounds and changes else None,
    )


def _read_before_after(case: Case) -> tuple[Recording, Recording]:
    """Give the first recordings of the comparison that the report tells first."""
    from acoustic.casework.case_answer import read_clip
    from acoustic.casework.case_change import comparable_pairs

    pair = comparable_pairs(case)[0]
    return read_clip(pair.before[0]).recording, read_clip(pair.after[0]).recording


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
