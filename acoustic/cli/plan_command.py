"""``acoustic plan``: what to record of a drive, as text, page and JSON."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from acoustic import __version__
from acoustic.cli.options import TO_PIPE, require_json_place


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What a person typed after ``acoustic plan``."""

    layout: Path
    sounds_like: tuple[str, ...] = ()
    comes_when: tuple[str, ...] = ()
    page: Path | None = None
    json_file: Path | None = None


def run_plan(request: PlanRequest) -> int:
    """Plan the recordings of a layout, write what was asked for; return the exit code."""
    from acoustic.casework.plan import make_plan
    from acoustic.drive.layout_file import read_drive
    from acoustic.output.json_report import render_json
    from acoustic.output.plan_page import render_plan_page
    from acoustic.output.plan_text import plan_to_dict, render_plan
    from acoustic.output.whole_file import require_writable, write_text_whole
    from acoustic.tables.sound_words import Complaint

    require_json_place(request.json_file)
    if request.page is not None:
        require_writable(request.page, "--page")
    said = request.sounds_like or request.comes_when
    complaint = Complaint(request.sounds_like, request.comes_when) if said else None
    plan = make_plan(read_drive(request.layout), complaint)
    if request.page is not None:
        write_text_whole(request.page, render_plan_page(plan))
    if request.json_file is not None:
        text = render_json(plan_to_dict(plan, __version__))
        if request.json_file == TO_PIPE:
            sys.stdout.write(text)
            return 0
        write_text_whole(request.json_file, text)
    sys.stdout.write(render_plan(plan))
    written = [str(path) for path in (request.json_file, request.page) if path is not None]
    if written:
        sys.stdout.write(f"\nWritten: {', '.join(written)}\n")
    return 0
