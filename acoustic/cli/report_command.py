"""``acoustic case report``: the report of a case as one page, as PDF, or both."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.progress import shown_progress
from acoustic.errors import SettingsError

if TYPE_CHECKING:
    from acoustic.output.report_matter import ReportMatter


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
    from acoustic.output.report_reading import read_report_matter

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
