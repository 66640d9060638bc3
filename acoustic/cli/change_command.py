"""``acoustic change``: clips from before and after a repair in, what changed out."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import TO_PIPE, parsed_rpm, require_json_place
from acoustic.cli.progress import shown_progress
from acoustic.cli.screen_command import PIPE_WIDTH, read_clips
from acoustic.errors import DriveError, SettingsError

if TYPE_CHECKING:
    from acoustic.drive.drive import Drive
    from acoustic.recording.taken import Stage
    from acoustic.verdict.change_values import Change, Take, Target
    from acoustic.verdict.suspects import Heard, Screening

_LEAST_PROBABILITY = 0.5


@dataclass(frozen=True, slots=True)
class ChangeRequest:
    """Everything typed after ``acoustic change``."""

    layout: Path
    before: tuple[Path, ...]
    after: tuple[Path, ...]
    part: str = ""
    rpm_before: str | None = None
    rpm_after: str | None = None
    point: str = ""
    contact: bool = False
    loads: tuple[str, ...] = ()
    device: str = ""
    healthy: bool = False
    json_file: Path | None = None
    picture: Path | None = None


def run_change(request: ChangeRequest) -> int:
    """Compare as asked, print the answer, write what was asked for; return the exit code."""
    from acoustic.output.change_text import render_change
    from acoustic.output.whole_file import require_picture_place

    require_json_place(request.json_file)
    if request.picture is not None:
        require_picture_place(request.picture)
    with shown_progress() as say:
        change = _compared(request, say)
    if request.json_file != TO_PIPE:
        sys.stdout.write(render_change(change, PIPE_WIDTH))
    save_change(change, request.json_file, request.picture)
    return 0


def save_change(change: Change, json_file: Path | None, picture: Path | None) -> None:
    """Write a comparison as JSON and draw it, where asked for; say where."""
    if picture is not None:
        _save_picture(change, picture)
    if json_file is not None:
        _save_json(change, json_file)
    written = [str(path) for path in (json_file, picture) if path not in (None, TO_PIPE)]
    if written:
        sys.stdout.write(f"\nWritten: {', '.join(written)}\n")


def _compared(request: ChangeRequest, say: Callable[[str], None]) -> Change:
    from acoustic.drive.layout_file import read_drive
    from acoustic.listening import Clip, listen
    from acoustic.screening import ScreenSettings, screen
    from acoustic.verdict.change import compare
    from acoustic.verdict.change_places import settled_offsets

    drive = read_drive(request.layout)
    _require_names(request, drive)
    speeds = [_rpm(request.rpm_before), _rpm(request.rpm_after)]
    say("reading the clips")
    recordings = read_clips([*request.before, *request.after])
    count = len(request.before)
    sides = [
        [Clip(recording, rpm) for recording in some]
        for some, rpm in zip((recordings[:count], recordings[count:]), speeds, strict=True)
    ]
    # The side with the fault in it says where the lines are, and which part is suspected.
    faulty = 1 if request.healthy else 0
    screening = screen(sides[faulty], drive, progress=say)
    other = [listen(c, drive, ScreenSettings(), say).heard for c in sides[1 - faulty]]
    heard: list[Sequence[Heard]] = [screening.heard, other]
    before, after = heard if faulty == 0 else heard[::-1]
    return compare(
        drive,
        _takes(request, before, "healthy" if request.healthy else "before"),
        _takes(request, after, "after"),
        target=_target(request, screening),
        settled=settled_offsets(drive, screening),
    )


def _rpm(text: str | None) -> float | None:
    return None if text is None else parsed_rpm(text)


def _require_names(request: ChangeRequest, drive: Drive) -> None:
    if request.part and request.part not in drive.parts:
        known = ", ".join(drive.parts)
        raise DriveError(f"--part {request.part}: the layout has no such part. It has {known}.")
    if request.point and request.point not in drive.parts:
        known = ", ".join(drive.parts)
        raise DriveError(f"--point {request.point}: the layout has no such part. It has {known}.")
    unknown = [load for load in request.loads if load not in drive.knowledge.switches]
    if unknown:
        known = ", ".join(drive.knowledge.switches)
        raise SettingsError(f"--load {unknown[0]}: no such load is known. Use one of {known}.")


def _takes(request: ChangeRequest, heard: Sequence[Heard], stage: Stage) -> list[Take]:
    from acoustic.recording.taken import Taken
    from acoustic.verdict.change_values import Take

    rpm = _rpm(request.rpm_after if stage == "after" else request.rpm_before)
    loads = tuple(sorted(request.loads))
    return [
        Take(Taken(request.point, request.contact, rpm, loads, stage, number, request.device), one)
        for number, one in enumerate(heard, start=1)
    ]


def _target(request: ChangeRequest, screening: Screening) -> Target | None:
    """The part named, or the leading suspect, with the mechanisms the screening leaves it."""
    from acoustic.verdict.change_places import likely_target

    part = request.part
    for suspect in screening.suspects[:1]:
        if max(suspect.probability, suspect.source_probability) >= _LEAST_PROBABILITY:
            part = part or suspect.part
    return likely_target(screening, part) if part else None


def _save_json(change: Change, path: Path) -> None:
    from acoustic.output.change_text import change_to_dict
    from acoustic.output.json_report import render_json
    from acoustic.output.whole_file import write_text_whole

    text = render_json(change_to_dict(change))
    if path == TO_PIPE:
        sys.stdout.write(text)
    else:
        write_text_whole(path, text)


def _save_picture(change: Change, path: Path) -> None:
    from acoustic.output.change_picture import draw_change
    from acoustic.output.picture import write_picture

    write_picture(draw_change(change), path)
