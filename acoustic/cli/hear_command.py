"""``acoustic hear``: a clip, a layout and a part in, sounds to listen to out."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.options import parsed_rpm
from acoustic.cli.progress import shown_progress
from acoustic.cli.screen_command import PIPE_WIDTH, WIDEST_TERMINAL, read_clips
from acoustic.errors import DriveError, OutputError, SettingsError

if TYPE_CHECKING:
    from acoustic.output.part_sounds import PartSound


@dataclass(frozen=True, slots=True)
class HearRequest:
    """Everything typed after ``acoustic hear``."""

    folder: Path
    clip: Path | None = None
    layout: Path | None = None
    part: str = ""
    rpm: str | None = None
    before: Path | None = None
    after: Path | None = None


def run_hear(request: HearRequest) -> int:
    """Write the sounds asked for and say what each is; return the exit code."""
    with shown_progress() as say:
        sounds = _sounds(request, say)
        say("writing the sounds")
        _make_folder(request.folder)
        _write(request.folder, sounds)
    _print(request.folder, sounds)
    return 0


def _sounds(request: HearRequest, say: Callable[[str], None]) -> Sequence[PartSound]:
    """Sounds of a part, or of before and after.

    Raises
    ------
    SettingsError
        For a mixture of the two, or half of either.
    """
    of_part = {"CLIP": request.clip, "--layout": request.layout, "--part": request.part or None}
    of_pair = {"--before": request.before, "--after": request.after}
    paired = any(of_pair.values())
    if paired and (any(of_part.values()) or request.rpm is not None):
        raise SettingsError(
            "A part and a before with an after are listened to one at a time: give CLIP with "
            "--layout and --part, or --before with --after."
        )
    match request:
        case HearRequest(before=Path() as before, after=Path() as after):
            return _pair(before, after)
        case HearRequest(clip=Path() as clip, layout=Path() as layout) if request.part:
            return _part(clip, layout, request, say)
    missing = ", ".join(n for n, one in (of_pair if paired else of_part).items() if one is None)
    raise SettingsError(
        f"{missing} missing: give CLIP with --layout and --part to hear a part, or --before "
        "with --after to compare."
    )


def _part(
    clip: Path, layout: Path, request: HearRequest, say: Callable[[str], None]
) -> Sequence[PartSound]:
    from acoustic.drive.layout_file import read_drive
    from acoustic.listening import Clip
    from acoustic.output.part_sounds import part_sounds
    from acoustic.screening import screen

    rpm = None if request.rpm is None else parsed_rpm(request.rpm)
    drive = read_drive(layout)
    if request.part not in drive.parts:
        known = ", ".join(drive.parts)
        raise DriveError(f"--part {request.part}: the layout has no such part. It has {known}.")
    (recording,) = read_clips([clip])
    screening = screen([Clip(recording, rpm)], drive, progress=say)
    say("taking the part out of the recording")
    return part_sounds(screening, drive, request.part)


def _pair(before: Path, after: Path) -> Sequence[PartSound]:
    from acoustic.output.side_by_side import before_after_sound

    recordings = read_clips([before, after])
    return (before_after_sound(recordings[0], recordings[1]),)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"--folder {folder}: cannot be made ({error.strerror}). Choose another place."
        ) from error


def _write(folder: Path, sounds: Sequence[PartSound]) -> None:
    from acoustic.output.sound_file import ENDING, write_sound

    for sound in sounds:
        write_sound(folder / f"{sound.name}{ENDING}", sound.samples, sound.rate_hz, sound.words)


def _print(folder: Path, sounds: Sequence[PartSound]) -> None:
    from acoustic.output.sound_file import ENDING
    from acoustic.output.wording import wrapped

    width = PIPE_WIDTH
    if sys.stdout.isatty():
        width = min(WIDEST_TERMINAL, shutil.get_terminal_size().columns)
    lines = [f"In {folder}; the sample rate is the clip's own unless it is said:", ""]
    for sound in sounds:
        seconds = sound.samples.shape[0] / sound.rate_hz
        lines.append(f"{sound.name}{ENDING} ({seconds:.1f} s, {sound.rate_hz:.0f} samples/s)")
        lines += [*wrapped(sound.words, width, "  ", "  "), ""]
    lines += wrapped(
        "Listen with headphones where you can. What an ear hears here is no finding: the "
        "screening's answer and a hand check are.", width, "", "",
    )  # fmt: skip
    sys.stdout.write("\n".join(lines) + "\n")
