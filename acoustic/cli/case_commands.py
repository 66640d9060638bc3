"""``acoustic case ...``: opening a case, adding to it, showing, listing and searching."""

from __future__ import annotations

import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from acoustic.cli.adding import AddRequest, run_add
from acoustic.cli.case_answers import (
    CaseScreenRequest,
    run_case_change,
    run_case_plan,
    run_case_screen,
    run_check,
    run_close,
    run_next,
    run_track_record,
)
from acoustic.cli.options import JsonFile, PictureFile
from acoustic.cli.report_command import ReportRequest, run_case_report

MOST_KM = 10_000_000
PIPE_WIDTH, WIDEST_TERMINAL = 80, 100

case_app = typer.Typer(
    help="Keep a case in a folder of plain files: what the customer said, recordings, "
    "screenings, checks, what was found.",
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

CaseFolder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of the case.")]
CasesFolder = Annotated[Path, typer.Argument(metavar="ROOT", help="Folder that holds the cases.")]


@case_app.command("new")
def new_case(  # typer wants one argument per option; they become one value at once
    folder: CaseFolder,
    layout: Annotated[
        Path, typer.Option(metavar="LAYOUT", help="Layout file of the drive; it is copied.")
    ],
    title: Annotated[
        str, typer.Option(metavar="TEXT", help="A line to know it by; left out: the folder's name.")
    ] = "",
    complaint: Annotated[
        str, typer.Option(metavar="TEXT", help="What the customer says, in their own words.")
    ] = "",
    sounds_like: Annotated[
        list[str] | None,
        typer.Option(metavar="WORD", help="Word for the sound, such as growl; may be repeated."),
    ] = None,
    comes_when: Annotated[
        list[str] | None,
        typer.Option(metavar="WORD", help="When it comes, such as cold; may be repeated."),
    ] = None,
    vehicle: Annotated[str, typer.Option(metavar="TEXT", help="Which vehicle.")] = "",
    odometer_km: Annotated[
        float | None, typer.Option(metavar="KM", help="Reading of the odometer.")
    ] = None,
) -> None:
    """Open a case in a new folder.

    Everything typed here, and more, can be edited later in the folder's case.toml.
    """
    from acoustic.casework.case_file import CaseFile
    from acoustic.casework.case_writes import write_new_case
    from acoustic.tables.sound_words import Complaint

    said = Complaint(tuple(sounds_like or ()), tuple(comes_when or ()))
    file = CaseFile.model_construct(
        schema_="case/1",
        title=title.strip() or folder.resolve().name,
        opened=_now().astimezone().date(),
        complaint=complaint,
        sounds_like=list(said.sounds),
        comes_when=list(said.when),
        vehicle=vehicle,
        odometer_km=odometer_km,
    )
    write_new_case(folder, file, layout)
    _say(f"{folder}: opened. Write down more in {folder / 'case.toml'}.")
    _say(f"Next: acoustic case add {folder} CLIP...")


@case_app.command("add")
def add_recordings(  # typer wants one argument per option; they become one request at once
    folder: CaseFolder,
    clips: Annotated[
        list[Path],
        typer.Argument(
            metavar="CLIP",
            help="Recordings. Names such as idler_1500rpm_ac-on_take2.m4a are understood; "
            "options count for all clips and go before the names.",
        ),
    ],
    point: Annotated[
        str | None, typer.Option(metavar="PART", help="Part the phone was at, or 'front'.")
    ] = None,
    contact: Annotated[
        bool | None,
        typer.Option("--contact/--air", help="Resting on a solid part, or held in the air."),
    ] = None,
    rpm: Annotated[
        str | None, typer.Option(metavar="N", help="Crankshaft speed in rpm, or 'heard'.")
    ] = None,
    load: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LOAD",
            help="Load that was on, such as ac, lights or steering; may be repeated; 'none' for "
            "none.",
        ),
    ] = None,
    before: Annotated[bool, typer.Option("--before", help="Before the repair (usual).")] = False,
    after: Annotated[bool, typer.Option("--after", help="After the repair.")] = False,
    healthy: Annotated[bool, typer.Option("--healthy", help="Of a drive that is sound.")] = False,
    take: Annotated[
        int | None, typer.Option(metavar="N", help="Which of several alike; left out: counted.")
    ] = None,
    device: Annotated[
        str | None, typer.Option(metavar="NAME", help="What it was recorded with.")
    ] = None,
    switched_off: Annotated[
        str | None,
        typer.Option(
            metavar="SECOND", help="Second of the clip at which the engine is switched off."
        ),
    ] = None,
) -> None:
    """Add recordings to a case.

    Each sound is stored once, whatever its name. What a name leaves open is asked for.
    """
    stages = {"--before": before, "--after": after, "--healthy": healthy}
    request = AddRequest(
        folder=folder,
        clips=tuple(clips),
        point=point,
        contact=contact,
        rpm=rpm,
        loads=tuple(load or ()),
        stages=tuple(name for name, given in stages.items() if given),
        take=take,
        device=device,
        switched_off=switched_off,
    )
    raise typer.Exit(run_add(request, _now(), _say))


@case_app.command("show")
def show_case(folder: CaseFolder) -> None:
    """Show a case: complaint, recordings, what happened, what is to mend."""
    from acoustic.casework.case_folder import read_case
    from acoustic.output.case_text import render_case

    sys.stdout.write(render_case(read_case(folder), _width()))


@case_app.command("list")
def list_cases(
    root: CasesFolder,
    still_open: Annotated[bool, typer.Option("--open", help="Only those still open.")] = False,
    closed: Annotated[bool, typer.Option("--closed", help="Only those closed.")] = False,
) -> None:
    """List the cases under a folder, newest first.

    A case is closed once it is entered what was found.
    """
    from acoustic.casework.case_index import read_cases
    from acoustic.output.case_text import render_case_rows

    rows = read_cases(root)
    if still_open != closed:
        rows = tuple(row for row in rows if row.closed == closed)
    sys.stdout.write(render_case_rows(rows, _width()))


@case_app.command("find")
def find_cases(
    root: CasesFolder,
    words: Annotated[
        list[str],
        typer.Argument(metavar="WORDS", help="All of them must stand in the case."),
    ],
) -> None:
    """Find cases by words.

    Looked for in title, complaint, vehicle, notes, parts of the layout and what was found.
    """
    from acoustic.casework.case_index import read_cases
    from acoustic.output.case_text import render_case_rows

    sys.stdout.write(render_case_rows(read_cases(root, " ".join(words)), _width()))


@case_app.command("plan")
def plan_case(
    folder: CaseFolder,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a page to print, .html.")
    ] = None,
) -> None:
    """Say what to record for a case, with what is there already ticked off."""
    raise typer.Exit(run_case_plan(folder, page))


@case_app.command("screen")
def screen_case(  # typer wants one argument per option; they become one request at once
    folder: CaseFolder,
    after: Annotated[
        bool, typer.Option("--after", help="Those after the repair; not kept as the answer.")
    ] = False,
    json_file: JsonFile = None,
    picture: PictureFile = None,
    points: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also draw recordings against suspects: .png, .svg."),
    ] = None,
) -> None:
    """Screen all recordings of a case together and keep the answer.

    Recordings of the sound drive (added with --healthy) serve as the reference.
    """
    request = CaseScreenRequest(folder, after, json_file, picture, points)
    raise typer.Exit(run_case_screen(request, _now()))


@case_app.command("next")
def what_next(
    folder: CaseFolder,
    own_record: Annotated[
        Path | None,
        typer.Option(metavar="ROOT", help="Correct the odds by the closed cases in this folder."),
    ] = None,
) -> None:
    """Say which hand checks settle most, what to open or order, and what to record still."""
    raise typer.Exit(run_next(folder, own_record, _width()))


@case_app.command("check")
def enter_check(
    folder: CaseFolder,
    check: Annotated[str, typer.Argument(metavar="CHECK", help="The hand check that was made.")],
    part: Annotated[str, typer.Option(metavar="PART", help="At which part.")],
    result: Annotated[str, typer.Option(metavar="RESULT", help="What came of it.")],
    remark: Annotated[str, typer.Option(metavar="TEXT", help="Anything to keep with it.")] = "",
    by: Annotated[str, typer.Option(metavar="NAME", help="Who made it.")] = "",
) -> None:
    """Enter what came of a hand check and see what it changes.

    Names of checks and results stand in what "acoustic case next" prints.
    """
    from acoustic.casework.history import CheckDone

    done = CheckDone(check, part, result, remark.strip(), by.strip())
    raise typer.Exit(run_check(folder, done, _now()))


@case_app.command("close")
def close_case(  # typer wants one argument per option; they become one value at once
    folder: CaseFolder,
    found: Annotated[
        str, typer.Option(metavar="PART", help="The part that was found faulty.")
    ] = "",
    nothing: Annotated[
        bool, typer.Option("--nothing", help="No part of the layout was to blame.")
    ] = False,
    mechanism: Annotated[
        str, typer.Option(metavar="NAME", help="What was wrong with it, by its id.")
    ] = "",
    text: Annotated[str, typer.Option(metavar="TEXT", help="What was found and done.")] = "",
    odometer_km: Annotated[float | None, typer.Option(metavar="KM", help="Odometer.")] = None,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who opened it.")] = "",
) -> None:
    """Enter what was found when it was opened; again for a second faulty part."""
    from acoustic.casework.history import Outcome
    from acoustic.errors import SettingsError

    if bool(found) == nothing:
        raise SettingsError("Give either --found PART, or --nothing if none of them was to blame.")
    if odometer_km is not None and not 0 <= odometer_km <= MOST_KM:
        raise SettingsError(f"--odometer-km {odometer_km:g}: give its reading, 0 to {MOST_KM} km.")
    outcome = Outcome(found, mechanism, text.strip(), odometer_km, by.strip())
    raise typer.Exit(run_close(folder, outcome, _now()))


@case_app.command("change")
def show_change(
    folder: CaseFolder, json_file: JsonFile = None, picture: PictureFile = None
) -> None:
    """Say what the repair changed, from the recordings before and after it."""
    raise typer.Exit(run_case_change(folder, json_file, picture, _width()))


@case_app.command("report")
def write_report(
    folder: CaseFolder,
    file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page to write, .html.")
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The same as PDF; needs the extra pdf."),
    ] = None,
    sounds: Annotated[
        bool,
        typer.Option(
            "--sounds", help="With sounds to hear in the page, as many as keep it under 1.5 MB."
        ),
    ] = False,
) -> None:
    """Write the report of a case as one page: for the customer, then for the adviser.

    The recordings are screened again for it; the page fetches nothing and can be mailed.
    """
    raise typer.Exit(run_case_report(ReportRequest(folder, file, pdf, sounds), _now()))


@case_app.command("opinion")
def enter_opinion(
    folder: CaseFolder,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What somebody thinks it is.")],
    by: Annotated[str, typer.Option(metavar="NAME", help="Who.")],
) -> None:
    """Enter somebody's opinion; it changes no odds."""
    from acoustic.casework.case_writes import write_event
    from acoustic.casework.history import Opinion
    from acoustic.errors import CaseError

    if not text.strip() or not by.strip():
        raise CaseError("An opinion needs its text, in quotes, and with --by whose it is.")
    event = write_event(folder, Opinion(by.strip(), text.strip()), _now())
    _say(f"Entered as number {event.id}.")


@case_app.command("undo")
def take_back(
    folder: CaseFolder,
    number: Annotated[int, typer.Argument(metavar="N", help="Number in what happened.")],
    why: Annotated[str, typer.Option(metavar="TEXT", help="Why it does not hold.")] = "",
) -> None:
    """Take back something entered by mistake; it stays in the history as taken back."""
    from acoustic.casework.case_writes import write_event
    from acoustic.casework.history import TakenBack

    event = write_event(folder, TakenBack(number, why.strip()), _now())
    _say(f"Number {number} is taken back (number {event.id}).")


@case_app.command("record")
def show_track_record(root: CasesFolder) -> None:
    """Show how often the answers were right, over the closed cases in a folder."""
    raise typer.Exit(run_track_record(root, _width()))


@case_app.command("note")
def note(
    folder: CaseFolder,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What to keep.")],
    by: Annotated[str, typer.Option(metavar="NAME", help="Who says so.")] = "",
) -> None:
    """Enter a note in the history of a case."""
    from acoustic.casework.case_writes import write_event
    from acoustic.casework.history import Note
    from acoustic.errors import CaseError

    if not text.strip():
        raise CaseError("The note is empty. Put its text in quotes.")
    event = write_event(folder, Note(text.strip(), by.strip()), _now())
    _say(f"Noted as number {event.id}.")


def _now() -> datetime:
    return datetime.now(UTC)


def _say(sentence: str) -> None:
    sys.stdout.write(f"{sentence}\n")


def _width() -> int:
    if not sys.stdout.isatty():
        return PIPE_WIDTH
    return min(WIDEST_TERMINAL, shutil.get_terminal_size().columns)
