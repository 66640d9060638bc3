"""The commands, their options and help, and the one place where errors become a sentence."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from acoustic import __version__
from acoustic.cli.bundle_commands import bundle_app
from acoustic.cli.case_commands import case_app
from acoustic.cli.case_links import add_link_commands
from acoustic.cli.options import JsonFile, PictureFile
from acoustic.cli.serve_command import add_serve_command
from acoustic.errors import AcousticError, UnfitRecordingError

EXIT_INPUT, EXIT_UNFIT = 2, 3
DEMO_FOLDER = Path("acoustic-demo")

app = typer.Typer(
    name="acoustic",
    help="Screen an engine's accessory drive by its sound: from a phone clip and a layout of "
    "the drive to the likely sources of the noise, ranked, with evidence and limits.",
    epilog="Exit codes: 0 screened, 2 input error, 3 recording unfit. Keep clear of belts and "
    "fans while recording.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

add_link_commands(case_app)
app.add_typer(case_app, name="case")
app.add_typer(bundle_app, name="bundle")

LayoutFile = Annotated[Path, typer.Argument(metavar="LAYOUT", help="Layout file of the drive.")]


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # an old terminal shows ? instead of failing
    try:
        app(args=None if argv is None else list(argv), prog_name="acoustic")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    except AcousticError as error:
        sys.stderr.write(f"{error}\n")
        return EXIT_UNFIT if isinstance(error, UnfitRecordingError) else EXIT_INPUT
    return 0


def _show_version(asked: bool) -> None:
    if asked:
        sys.stdout.write(f"acoustic {__version__}\n")
        raise typer.Exit


@app.callback()
def _all_commands(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Print the version and stop."
        ),
    ] = False,
) -> None:
    """Options that come before a command."""


@app.command()
def screen(  # typer wants one argument per option; they become one request at once
    clips: Annotated[
        list[Path], typer.Argument(metavar="CLIP", help="Recordings of the same drive.")
    ],
    layout: Annotated[
        Path, typer.Option("--layout", metavar="LAYOUT", help="Layout file of the drive.")
    ],
    rpm: Annotated[
        list[str] | None,
        typer.Option(
            metavar="N",
            help="Crankshaft speed in rpm, once for all clips or once per clip; 'heard' for a "
            "clip whose speed is to be heard. Left out: heard from the sound.",
        ),
    ] = None,
    rpm_tolerance: Annotated[
        float, typer.Option(metavar="PERCENT", help="How far off --rpm may be.")
    ] = 5.0,
    speed_log: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CSV",
            help="Log of time in s and rpm, once per clip; 'none' for a clip without one.",
        ),
    ] = None,
    reference: Annotated[
        Path | None,
        typer.Option(metavar="CLIP", help="Recording of the same drive when it was healthy."),
    ] = None,
    switched_off: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SECOND",
            help="Second of the clip at which the engine is switched off, rather early than "
            "late, once per clip; 'none' for a clip in which it runs to the end. What comes "
            "after it is listened to for a rattle that runs on.",
        ),
    ] = None,
    sounds_like: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORD",
            help="Your word for the sound, such as growl, rattle or squeal; may be repeated. "
            "It counts as evidence, of small weight.",
        ),
    ] = None,
    comes_when: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORD",
            help="When the sound comes: cold, wet, load, idle, start, switch-off or always; "
            "may be repeated. Counts like --sounds-like.",
        ),
    ] = None,
    json: JsonFile = None,
    picture: PictureFile = None,
) -> None:
    """Rank the likely sources of the sound in clips.

    Reads recordings of one accessory drive and says which of its parts are the likely
    sources of the noise, with the evidence, what to check next and what cannot be told.
    """
    from acoustic.cli.screen_command import ScreenRequest, run_screen

    request = ScreenRequest(
        clips=tuple(clips),
        layout=layout,
        rpm=tuple(rpm or ()),
        rpm_tolerance_percent=rpm_tolerance,
        speed_logs=tuple(speed_log or ()),
        switched_off=tuple(switched_off or ()),
        sounds_like=tuple(sounds_like or ()),
        comes_when=tuple(comes_when or ()),
        reference=reference,
        json_file=json,
        picture=picture,
    )
    raise typer.Exit(run_screen(request))


@app.command()
def change(  # typer wants one argument per option; they become one request at once
    layout: LayoutFile,
    before: Annotated[
        list[Path],
        typer.Option(metavar="CLIP", help="Recording before the repair; repeat for each take."),
    ],
    after: Annotated[
        list[Path],
        typer.Option(metavar="CLIP", help="Recording after the repair; repeat for each take."),
    ],
    part: Annotated[
        str,
        typer.Option(
            metavar="NAME", help="What was repaired. Left out: the leading suspect before."
        ),
    ] = "",
    rpm_before: Annotated[
        str | None,
        typer.Option(metavar="N", help="Crankshaft speed before in rpm. Left out: heard."),
    ] = None,
    rpm_after: Annotated[
        str | None,
        typer.Option(metavar="N", help="Crankshaft speed after in rpm. Left out: heard."),
    ] = None,
    point: Annotated[
        str, typer.Option(metavar="NAME", help="Part the phone was held at, both times.")
    ] = "",
    contact: Annotated[
        bool, typer.Option("--contact", help="The phone rested on a marked fixed point.")
    ] = False,
    load: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Load that was switched on, both times."),
    ] = None,
    device: Annotated[
        str, typer.Option(metavar="NAME", help="What it was recorded with, both times.")
    ] = "",
    healthy: Annotated[
        bool,
        typer.Option(
            "--healthy",
            help="Those given as --before are of a sound drive: the answer is the difference "
            "from normal.",
        ),
    ] = False,
    json: JsonFile = None,
    picture: PictureFile = None,
) -> None:
    """Say what a repair changed.

    Compares recordings from before and after at the same point, speed, loads, device and
    codec, family by family, and says whether it is cured. Three takes of each side are
    wanted.
    """
    from acoustic.cli.change_command import ChangeRequest, run_change

    request = ChangeRequest(
        layout=layout,
        before=tuple(before),
        after=tuple(after),
        part=part,
        rpm_before=rpm_before,
        rpm_after=rpm_after,
        point=point,
        contact=contact,
        loads=tuple(load or ()),
        device=device,
        healthy=healthy,
        json_file=json,
        picture=picture,
    )
    raise typer.Exit(run_change(request))


@app.command()
def orders(
    layout: LayoutFile,
    rpm: Annotated[
        str | None, typer.Option(metavar="N", help="Crankshaft speed for the Hz column.")
    ] = None,
    json: JsonFile = None,
    picture: PictureFile = None,
) -> None:
    """List every order a drive can make.

    For each part its lines with order, frequency, tolerance, the source of the formula
    and what hides them from a phone.
    """
    from acoustic.cli.orders_command import run_orders

    raise typer.Exit(run_orders(layout, rpm, json, picture))


@app.command()
def plan(
    layout: LayoutFile,
    sounds_like: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORD",
            help="Your word for the sound, such as growl or rattle; may be repeated. Limits the "
            "plan to what could be meant by it.",
        ),
    ] = None,
    comes_when: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORD",
            help="When the sound comes: cold, wet, load, idle, start, switch-off or always; "
            "may be repeated.",
        ),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(
            "--page", metavar="FILE", help="Also write a page for phone and print: .html."
        ),
    ] = None,
    json: JsonFile = None,
) -> None:
    """Say what to record of a drive, and why.

    Which points, which speeds, which loads, how long and in what order, so that the parts
    of this drive can be told apart; and what no recording will tell.
    """
    from acoustic.cli.plan_command import PlanRequest, run_plan

    request = PlanRequest(
        layout=layout,
        sounds_like=tuple(sounds_like or ()),
        comes_when=tuple(comes_when or ()),
        page=page,
        json_file=json,
    )
    raise typer.Exit(run_plan(request))


@app.command()
def hear(  # typer wants one argument per option; they become one request at once
    folder: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the sounds go; made if need be.")
    ],
    clip: Annotated[Path | None, typer.Argument(metavar="[CLIP]", help="One recording.")] = None,
    layout: Annotated[
        Path | None, typer.Option(metavar="LAYOUT", help="Layout file of the drive.")
    ] = None,
    part: Annotated[str, typer.Option(metavar="NAME", help="Part to be heard.")] = "",
    rpm: Annotated[
        str | None,
        typer.Option(metavar="N", help="Crankshaft speed in rpm. Left out: heard."),
    ] = None,
    before: Annotated[
        Path | None, typer.Option(metavar="CLIP", help="Recording before the repair.")
    ] = None,
    after: Annotated[
        Path | None, typer.Option(metavar="CLIP", help="Recording after the repair.")
    ] = None,
) -> None:
    """Write sounds to listen to: a part alone, or before and after.

    CLIP with --layout and --part: the part alone, the recording without it, the part changed
    for a small speaker, and how it would sound, made. --before with --after: one sound, before
    on the left ear, after on the right, equally loud.
    """
    from acoustic.cli.hear_command import HearRequest, run_hear

    raise typer.Exit(run_hear(HearRequest(folder, clip, layout, part, rpm, before, after)))


@app.command()
def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Folder to make for the sample case.")
    ] = DEMO_FOLDER,
) -> None:
    """Make a sample case, screen it, show the answer."""
    from acoustic.cli.demo_command import run_demo

    raise typer.Exit(run_demo(folder))


add_serve_command(app)


@app.command()
def layout_schema() -> None:
    """Print the JSON Schema of a layout file.

    An editor given this schema checks a layout while it is typed.
    """
    from acoustic.drive.layout_file import layout_json_schema
    from acoustic.output.json_report import render_json

    sys.stdout.write(render_json(layout_json_schema()))


@app.command()
def answer_schema() -> None:
    """Print the JSON Schema of an answer.

    It describes, key by key, what --json writes.
    """
    from acoustic.output.answer_schema import answer_json_schema
    from acoustic.output.json_report import render_json

    sys.stdout.write(render_json(answer_json_schema()))
