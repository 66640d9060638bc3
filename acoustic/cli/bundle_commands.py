"""``acoustic bundle``: a second opinion by mail, without any server."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from acoustic.cli.case_commands import PIPE_WIDTH, CaseFolder

if TYPE_CHECKING:
    from acoustic.casework.case_mail import Opened
    from acoustic.casework.packing import Manifest

EXIT_LEFT_AS_IT_IS = 2
_LARGE_MAIL_BYTES = 20e6

PackFile = Annotated[
    Path, typer.Option("--file", metavar="NAME", help="The file to make, such as bus.zip.")
]


bundle_app = typer.Typer(
    help="A case in one file to mail: pack it, open it, answer it, take the answer in.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


@bundle_app.command("pack")
def pack_case(folder: CaseFolder, file: PackFile) -> None:
    """Pack a case into one file to mail.

    The case stays as it is. Everything in it goes along: what the customer said, recordings,
    answers, what happened.
    """
    from acoustic.casework.case_mail import write_packed_case

    manifest, left_out = write_packed_case(folder, file, _now())
    for sentence in left_out:
        _say(sentence)
    _say(_made(file, manifest, f"the case '{manifest.title}'"))
    if file.stat().st_size > _LARGE_MAIL_BYTES:
        _say("Many mail services take no more than 20 MB: hand it over on a stick or a share.")
    _say("For the one who gets it: acoustic bundle open FILE FOLDER")


@bundle_app.command("open")
def open_case(
    pack: Annotated[Path, typer.Argument(metavar="FILE", help="The packed case.")],
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="Where to; if a case is there, it is only compared with."
        ),
    ],
) -> None:
    """Open a packed case, whoever sent it, into a new folder.

    Checked before anything is kept. Digests show damage on the way, not who made the file.
    """
    from acoustic.casework.case_mail import write_opened_case

    opened = write_opened_case(pack, folder)
    _say_all(opened)
    if not opened.unpacked:
        sys.stderr.write(
            f"{folder}: there is a case here already, which is left as it is. To have the other "
            "one too, name another folder.\n"
        )
        raise typer.Exit(EXIT_LEFT_AS_IT_IS)
    _say(f"Unpacked into {folder}. Next: acoustic case screen {folder}")
    _say(f"To answer: acoustic bundle answer {folder} --by NAME --text TEXT --file answer.zip")


@bundle_app.command("answer")
def answer_case(
    folder: CaseFolder,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who answers.")],
    text: Annotated[str, typer.Option(metavar="TEXT", help="What you think it is, and why.")],
    file: PackFile,
) -> None:
    """Answer a case that came packed: your opinion and your newest screening, in one file.

    The opinion is entered in the folder too.
    """
    from acoustic.casework.case_mail import write_packed_answer
    from acoustic.casework.history import Opinion

    manifest = write_packed_answer(folder, file, Opinion(by.strip(), text.strip()), _now())
    screened = len(manifest.files) > 1
    _say(_made(file, manifest, "the opinion" + (" and the newest screening" if screened else "")))
    if not screened:
        _say(f"No screening was made here since it came: acoustic case screen {folder}")
    _say("For the one who asked: acoustic bundle merge FILE FOLDER")


@bundle_app.command("merge")
def merge_answer(
    pack: Annotated[Path, typer.Argument(metavar="FILE", help="The answer that came.")],
    folder: CaseFolder,
) -> None:
    """Take an adviser's answer into the case it was given to.

    Nothing is overwritten, and no odds change: what to open is still worked out from your own
    screening and hand checks.
    """
    from acoustic.casework.case_mail import write_merged
    from acoustic.casework.packing import shown
    from acoustic.output.case_text import render_entries

    answer, entered = write_merged(pack, folder, _now())
    if not entered:
        _say(f"{pack.name}: this answer of {shown(answer.by)} is in the case already.")
        return
    sys.stdout.write(render_entries(entered))
    _say(f"Entered. To take one back: acoustic case undo {folder} N")


def _say_all(opened: Opened) -> None:
    from acoustic.output.wording import wrapped

    lines = [line for one in opened.contents for line in wrapped(one, PIPE_WIDTH, "", "  ")]
    if opened.changes:
        lines.append("Against the case that is here:")
    for sentence in opened.changes:
        lines += wrapped(sentence, PIPE_WIDTH, "  - ", "    ")
    _say("\n".join(lines))


def _made(file: Path, manifest: Manifest, what: str) -> str:
    size = file.stat().st_size / 1e6
    return f"{file}: holds {what}, {len(manifest.files)} files, {size:.1f} MB."


def _now() -> datetime:
    return datetime.now(UTC)


def _say(sentence: str) -> None:
    sys.stdout.write(f"{sentence}\n")
