"""``acoustic demo``: a sample case made, screened and shown, on any machine."""

from __future__ import annotations

import importlib.resources
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.cli.progress import shown_progress
from acoustic.cli.screen_command import (
    ScreenRequest,
    print_answer,
    save_json,
    save_picture,
    screened,
)
from acoustic.errors import OutputError

if TYPE_CHECKING:
    from acoustic.drive.drive import Drive
    from acoustic.verdict.suspects import Screening

LAYOUT, NOTE = "library_bus.toml", "READ_ME_FIRST.txt"
CLIPS = {"idle.m4a": 810.0, "held_2000_rpm.m4a": 2000.0}
TEXT, JSON, PICTURE, DRAWING = "answer.txt", "answer.json", "answer.png", "drive.png"
PLANTED_PART, PLANTED_MECHANISM, PLANTED_LEVEL_DB = "idler", "inner race", 0.0
SEED = 20
CLIP_S = 20.0

NOTE_TEXT = f"""\
A sample case: the library bus growls at the front of its engine.

Nothing here was recorded: the sound was made by this program from the layout, with a worn
bearing planted in the {PLANTED_PART}, healthy parts singing along, and a phone's microphone,
automatic gain and codec in the way. The screening knows nothing of that.

{LAYOUT:<20}what turns: engine, belt, pulleys and parts, as a technician types it
{"idle.m4a":<20}the phone in front of the drive, idling
{"held_2000_rpm.m4a":<20}the same, held at 2000 rpm
{TEXT:<20}the answer, to read
{JSON:<20}the same for other programs
{PICTURE:<20}what was heard and what explains it
{DRAWING:<20}the drive with its belt, the suspect hatched

To do it again by hand, in this folder:

    acoustic screen idle.m4a held_2000_rpm.m4a --layout {LAYOUT}
    acoustic orders {LAYOUT} --rpm 810
"""


def run_demo(folder: Path) -> int:
    """Make the sample case in `folder`, screen it, print the answer and where to look."""
    _require_folder(folder)
    with shown_progress() as say:
        say("making the sample case")
        _make_case(folder)
        request = ScreenRequest(tuple(folder / name for name in CLIPS), folder / LAYOUT)
        drive, screening = screened(request, (), 0.05, say)
        say("drawing the pictures")
        _write_answer(folder, drive, screening)
    print_answer(screening)
    sys.stdout.write(f"\nMade, not recorded; the fault planted: {PLANTED_PART}, a worn bearing.\n")
    sys.stdout.write(f"Look in {folder}: start with {NOTE}, then {PICTURE}.\n")
    return 0


def _require_folder(folder: Path) -> None:
    """Make the folder, or accept one that an earlier demo made."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder}: this is a file. Name a folder for the sample case.")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / NOTE).exists():
        raise OutputError(
            f"{folder}: this folder already holds something else, which is left alone. Name "
            "another folder, such as acoustic-demo-2."
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: the folder cannot be made ({error.strerror}). Choose another place."
        ) from error


def _make_case(folder: Path) -> None:
    """Write the note, the layout and the clips made from it."""
    import numpy as np

    from acoustic.drive.layout_file import read_drive
    from acoustic.output.whole_file import write_text_whole
    from acoustic.synthetic.clip_file import write_clip
    from acoustic.synthetic.scene import make_scene
    from acoustic.synthetic.scene_settings import (
        Condition,
        HealthySong,
        PlantedFault,
        SceneSettings,
    )

    write_text_whole(folder / NOTE, NOTE_TEXT)
    write_text_whole(folder / LAYOUT, _read_sample_layout())
    settings = SceneSettings(
        conditions=tuple(Condition(n, rpm, duration_s=CLIP_S) for n, rpm in CLIPS.items()),
        faults=(PlantedFault(PLANTED_PART, PLANTED_MECHANISM, PLANTED_LEVEL_DB, "envelope"),),
        song=HealthySong(),
    )
    scene = make_scene(read_drive(folder / LAYOUT), settings, np.random.default_rng(SEED))
    for name, recording in zip(CLIPS, scene.recordings, strict=True):
        write_clip(folder / name, recording)


def _read_sample_layout() -> str:
    layout = importlib.resources.files("acoustic.cli").joinpath("demo_layout.toml")
    return layout.read_text(encoding="utf-8")


def _write_answer(folder: Path, drive: Drive, screening: Screening) -> None:
    from acoustic.output.drive_drawing import draw_drive
    from acoustic.output.picture import write_picture
    from acoustic.output.text import render_text
    from acoustic.output.whole_file import write_text_whole

    write_text_whole(folder / TEXT, render_text(screening))
    save_json(screening, folder / JSON)
    save_picture(screening, drive, folder / PICTURE)
    suspects = [s.part for s in screening.suspects[:1] if screening.verdict == "suspects"]
    write_picture(draw_drive(drive, suspects), folder / DRAWING)
