"""What is done in a process of its own: clips looked over, a case screened, report, sounds."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from acoustic.casework.case_answer import read_and_screen
from acoustic.casework.case_choice import case_screen_settings
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_screening
from acoustic.casework.gate import TakeCheck
from acoustic.casework.history import screening_made
from acoustic.casework.take_in import take_gate, with_heard_speed
from acoustic.errors import AcousticError, CaseError
from acoustic.output.case_sounds import sounds_of_part, sounds_of_repair
from acoustic.output.json_report import render_json, screening_to_dict
from acoustic.output.report_page import ReportSettings, render_report
from acoustic.output.report_reading import read_report_matter
from acoustic.output.whole_file import write_text_whole
from acoustic.recording.taken import Taken
from acoustic.web.sound_sets import SoundsAsked, pair_asked, part_asked, write_sound_set
from acoustic.web.strangers import ApartLimits, Teller

GIGABYTE = 1 << 30
LOOK_LIMITS = ApartLimits(memory_bytes=3 * GIGABYTE // 2, silent_s=60.0, cpu_s=300, writes=False)
SCREEN_LIMITS = ApartLimits(memory_bytes=4 * GIGABYTE, silent_s=300.0, cpu_s=1800, writes=True)
SOUND_LIMITS = ApartLimits(memory_bytes=4 * GIGABYTE, silent_s=120.0, cpu_s=300, writes=True)


@dataclass(frozen=True, slots=True)
class Looked:
    """What came of looking a clip over: the gate's answer, or the error by kind and words."""

    id: str
    check: TakeCheck | None = None
    error: tuple[str, str] = ("", "")


def look_over(folder: Path, clips: Sequence[tuple[str, Path, Taken]], tell: Teller) -> None:
    """Hold clips against the plan of a case, one after the other; nothing is written.

    Each is told of as soon as it is done, so that one that breaks the process takes no other
    with it.
    """
    gate = take_gate(read_case(folder))
    for number, clip, taken in clips:
        tell.step(clip.name)
        try:
            check, _ = gate.look(clip, taken)
        except AcousticError as error:
            tell.part(Looked(number, error=(type(error).__name__, str(error))))
            continue
        if check.usable:
            gate.done.append(with_heard_speed(taken, check))
        tell.part(Looked(number, check))


def screen_case(folder: Path, tell: Teller) -> str:
    """Screen the recordings of a case before the repair and keep the answer; its headline."""
    case = read_case(folder)
    screening = read_and_screen(case, case_screen_settings(os.cpu_count() or 1), progress=tell.step)
    answer = render_json(screening_to_dict(screening))
    write_screening(
        folder, answer, screening_made(screening, case.layout_sha256), datetime.now(UTC)
    )
    return screening.headline


def make_report(folder: Path, file: Path, sounds: bool, tell: Teller) -> str:
    """Write the report of a case as one page, with sounds or without; its headline."""
    matter = read_report_matter(
        read_case(folder), datetime.now().astimezone(), tell.step, sounds=sounds
    )
    tell.step("drawing")
    file.parent.mkdir(exist_ok=True)
    write_text_whole(file, render_report(matter, ReportSettings(sounds)))
    return matter.screening.headline


def make_sounds(folder: Path, asked: SoundsAsked, tell: Teller) -> None:
    """Make the sounds that were asked for and keep them beside the case.

    Raises
    ------
    CaseError
        If what they were to be made of is no longer there as it was.
    """
    case = read_case(folder)
    there = {one.added.sha256: one for one in case.recordings}
    one, other = there.get(asked.recording), there.get(asked.other)
    if one is not None and other is not None and pair_asked(one, other) == asked:
        made = sounds_of_repair(one, other)
    elif one is not None and part_asked(case, one, asked.part) == asked:
        made = sounds_of_part(case, one, asked.part, tell.step)
    else:
        raise CaseError(
            "The recording or the layout was changed since these sounds were asked for. Ask again."
        )
    tell.step("writing the sounds")
    write_sound_set(folder, asked, made)
