"""``acoustic screen``: clips and a layout in, the ranked answer out."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import (
    NO_VALUE,
    TO_PIPE,
    one_per_clip,
    parsed_rpm,
    parsed_second,
    parsed_tolerance,
    require_json_place,
    require_one_each,
)
from acoustic.cli.progress import shown_progress
from acoustic.errors import RecordingError, SettingsError, UnfitRecordingError

if TYPE_CHECKING:
    from acoustic.drive.drive import Drive
    from acoustic.recording.recording import Recording
    from acoustic.recording.speed_log import SpeedLog
    from acoustic.tables.sound_words import Complaint
    from acoustic.verdict.suspects import Screening

EXIT_SCREENED = 0
EXIT_UNFIT = 3
PIPE_WIDTH = 80
WIDEST_TERMINAL = 100


@dataclass(frozen=True, slots=True)
class ScreenRequest:
    """Everything typed after ``acoustic screen``."""

    clips: tuple[Path, ...]
    layout: Path
    rpm: tuple[str, ...] = ()
    rpm_tolerance_percent: float = 5.0
    speed_logs: tuple[str, ...] = ()
    switched_off: tuple[str, ...] = ()
    sounds_like: tuple[str, ...] = ()
    comes_when: tuple[str, ...] = ()
    reference: Path | None = None
    json_file: Path | None = None
    picture: Path | None = None


def run_screen(request: ScreenRequest) -> int:
    """Screen as asked, print the answer, write what was asked for; return the exit code."""
    rpm = one_per_clip([parsed_rpm(text) for text in request.rpm], len(request.clips), "--rpm")
    tolerance = parsed_tolerance(request.rpm_tolerance_percent)
    _require_one_speed_each(request, rpm)
    what = "A switching off"
    require_one_each(request.switched_off, len(request.clips), "--switched-off", what)
    _require_places(request)
    with shown_progress() as say:
        drive, screening = screened(request, rpm, tolerance, say)
        if request.picture is not None:
            say("drawing the picture")
            save_picture(screening, drive, request.picture)
    if request.json_file is not None:
        save_json(screening, request.json_file)
    if request.json_file != TO_PIPE:
        print_answer(screening)
        _print_places(request)
    return EXIT_UNFIT if screening.verdict == "recording_unfit" else EXIT_SCREENED


def screened(
    request: ScreenRequest,
    rpm: Sequence[float | None],
    tolerance: float,
    say: Callable[[str], None],
) -> tuple[Drive, Screening]:
    """Read everything asked for and screen it; `rpm` holds one speed per clip, or none."""
    from acoustic.drive.layout_file import read_drive
    from acoustic.listening import Clip
    from acoustic.screening import screen

    off_s = [parsed_second(text) for text in request.switched_off]
    complaint = _complaint(request)
    drive = read_drive(request.layout)
    say("reading the clips")
    logs = _read_logs(request.speed_logs)
    reference = [] if request.reference is None else [request.reference]
    recordings = read_clips([*request.clips, *reference])
    clips = [
        Clip(recording, speed, tolerance, log, off)
        for recording, speed, log, off in zip_longest(
            recordings[: len(request.clips)], rpm, logs, off_s
        )
    ]
    healthy = recordings[-1] if reference else None
    return drive, screen(clips, drive, reference=healthy, complaint=complaint, progress=say)


def _complaint(request: ScreenRequest) -> Complaint | None:
    from acoustic.tables.sound_words import Complaint

    said = request.sounds_like or request.comes_when
    return Complaint(request.sounds_like, request.comes_when) if said else None


def read_clips(paths: Sequence[Path]) -> list[Recording]:
    """Read every clip; tell all that cannot be read at once, not one per try."""
    from acoustic.recording.audio_file import read_recording

    clips: list[Recording] = []
    faults: list[RecordingError] = []
    for path in paths:
        try:
            clips.append(read_recording(path))
        except RecordingError as error:
            faults.append(error)
    if faults:
        unfit = all(isinstance(fault, UnfitRecordingError) for fault in faults)
        kind = UnfitRecordingError if unfit else RecordingError
        raise kind("\n".join(str(fault) for fault in faults))
    return clips


def _read_logs(names: Sequence[str]) -> list[SpeedLog | None]:
    from acoustic.recording.speed_log import read_speed_log

    return [None if name == NO_VALUE else read_speed_log(Path(name)) for name in names]


def _require_one_speed_each(request: ScreenRequest, rpm: Sequence[float | None]) -> None:
    logs, clips = request.speed_logs, request.clips
    require_one_each(logs, len(clips), "--speed-log", "A log")
    for clip, log, speed in zip(clips, logs, rpm, strict=False):
        if log != NO_VALUE and speed is not None:
            raise SettingsError(
                f"{clip.name}: both --rpm {speed:g} and --speed-log {log} are given. Keep the "
                "one you trust."
            )


def _require_places(request: ScreenRequest) -> None:
    require_json_place(request.json_file)
    if request.picture is not None:
        from acoustic.output.whole_file import require_picture_place

        require_picture_place(request.picture)


def save_json(screening: Screening, path: Path) -> None:
    """Write the JSON answer to a file, or to the standard output for ``-``."""
    from acoustic.output.json_report import render_json, screening_to_dict
    from acoustic.output.whole_file import write_text_whole

    text = render_json(screening_to_dict(screening))
    if path == TO_PIPE:
        sys.stdout.write(text)
    else:
        write_text_whole(path, text)


def save_picture(screening: Screening, drive: Drive, path: Path) -> None:
    """Draw and write the picture of a screening."""
    from acoustic.output.picture import draw_screening, write_picture

    write_picture(draw_screening(screening, drive), path)


def print_answer(screening: Screening) -> None:
    """Print the answer: last on a terminal, where the end stays in view, else first."""
    from acoustic.output.text import render_text

    if not sys.stdout.isatty():
        sys.stdout.write(render_text(screening, PIPE_WIDTH))
        return
    from rich.console import Console
    from rich.text import Text

    width = min(WIDEST_TERMINAL, shutil.get_terminal_size().columns)
    text = Text(render_text(screening, width, answer_last=True))
    text.highlight_regex(r"(?m)^[A-Z][A-Z ]+$", "bold")
    Console(highlight=False, soft_wrap=True).print(text, end="")


def _print_places(request: ScreenRequest) -> None:
    written = [p for p in (request.json_file, request.picture) if p is not None]
    if written:
        sys.stdout.write(f"\nWritten: {', '.join(str(p) for p in written)}\n")
