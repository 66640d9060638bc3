"""``acoustic case report``: the report of a case as one page."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

from acoustic.cli.progress import shown_progress


def run_case_report(folder: Path, file: Path, time: datetime, *, sounds: bool = False) -> int:
    """Screen what a case holds once more and write its report as one HTML page."""
    from acoustic.casework.case_folder import read_case
    from acoustic.output.report_page import ReportSettings, render_report
    from acoustic.output.report_reading import read_report_matter
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
