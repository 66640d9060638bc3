"""What is done in a process of its own: look a clip over, screen a case, make its report."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

from acoustic.casework.case_answer import read_and_screen
from acoustic.casework.case_choice import case_screen_settings
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_screening
from acoustic.casework.gate import TakeCheck
from acoustic.casework.history import screening_made
from acoustic.casework.take_in import take_gate
from acoustic.output.json_report import render_json, screening_to_dict
from acoustic.output.report_page import ReportSettings, render_report
from acoustic.output.report_reading import read_report_matter
from acoustic.output.whole_file import write_text_whole
from acoustic.recording.taken import Taken
from acoustic.web.strangers import ApartLimits, Say

GIGABYTE = 1 << 30
LOOK_LIMITS = ApartLimits(memory_bytes=3 * GIGABYTE, seconds=60.0, writes=False)
SCREEN_LIMITS = ApartLimits(memory_bytes=8 * GIGABYTE, seconds=900.0, writes=True)


def look_over(folder: Path, clip: Path, taken: Taken, say: Say) -> tuple[TakeCheck, str]:
    """Hold a clip against the plan of a case; nothing is written."""
    say(f"looking over {clip.name}")
    return take_gate(read_case(folder)).look(clip, taken)


def screen_case(folder: Path, say: Say) -> str:
    """Screen the recordings of a case before the repair and keep the answer; its headline."""
    case = read_case(folder)
    screening = read_and_screen(case, case_screen_settings(os.cpu_count() or 1), progress=say)
    answer = render_json(screening_to_dict(screening))
    write_screening(folder, answer, screening_made(screening), datetime.now(UTC))
    return screening.headline


def make_report(folder: Path, file: Path, sounds: bool, say: Say) -> str:
    """Write the report of a case as one page, with sounds or without; its headline."""
    matter = read_report_matter(read_case(folder), datetime.now().astimezone(), say)
    say("drawing")
    file.parent.mkdir(exist_ok=True)
    write_text_whole(file, render_report(matter, ReportSettings(sounds)))
    return matter.screening.headline
