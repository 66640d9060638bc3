"""``acoustic case link, links, unlink, reply``: a customer's link, made and ended by hand."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from acoustic.cli.case_commands import PIPE_WIDTH, CaseFolder
from acoustic.errors import SettingsError

if TYPE_CHECKING:
    from acoustic.casework.case_folder import Case

USUAL_DAYS = 7

LinkNumber = Annotated[
    int, typer.Argument(metavar="N", help='Number of the link, as "acoustic case links" has it.')
]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who does so.")]


def add_link_commands(case_app: typer.Typer) -> None:
    """Add the commands of this module to ``acoustic case``."""
    case_app.command("link")(make_link)
    case_app.command("links")(list_links)
    case_app.command("unlink")(end_link)
    case_app.command("reply")(reply)


def make_link(
    folder: CaseFolder,
    label: Annotated[
        str, typer.Option("--for", metavar="TEXT", help="For whom or what; the customer reads it.")
    ] = "",
    days: Annotated[float, typer.Option(metavar="N", help="Days it holds, 90 at most.")] = (
        USUAL_DAYS
    ),
    at_parts: Annotated[
        bool,
        typer.Option("--at-parts", help="Also ask for recordings at the parts: for a technician."),
    ] = False,
    page: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Address the customer reaches the page at.")
    ] = "",
    by: By = "",
) -> None:
    """Make a link by which a customer sends recordings to this case, and sees nothing of it.

    The page must be running (acoustic serve). The link is shown this once: the case keeps only
    its digest.
    """
    from acoustic.casework.customer_links import LinkWish, days_from, write_link
    from acoustic.output.link_text import link_address

    if page and not page.startswith(("http://", "https://")):
        raise SettingsError(
            f"--page {page!r}: give the whole address, such as http://192.0.2.7:8470."
        )
    now = _now()
    wish = LinkWish(days_from(now, days), label, at_parts, by)
    secret, event = write_link(folder, wish, now)
    _say(f"Link {event.id}, open until {wish.until:%Y-%m-%d %H:%M} UTC:")
    _say(f"  {link_address(page, secret)}")
    if not page:
        _say("  behind the address the customer reaches the page at, such as http://192.0.2.7:8470")
    _say("Whoever has it can send recordings, so give it to the customer alone. To end it:")
    _say(f"  acoustic case unlink {folder} {event.id}")


def list_links(folder: CaseFolder) -> None:
    """List the links of a case: for whom, until when, what came by each."""
    from acoustic.casework.customer_links import read_links
    from acoustic.casework.link_receipts import read_receipts
    from acoustic.output.link_text import render_links

    links = read_links(folder)
    came = {one.number: read_receipts(folder, one.asked.link) for one in links}
    sys.stdout.write(render_links(links, came, _now(), PIPE_WIDTH))


def end_link(
    folder: CaseFolder,
    number: LinkNumber,
    why: Annotated[str, typer.Option(metavar="TEXT", help="Why.")] = "",
) -> None:
    """End a link at once; whoever has it is turned away. What came by it stays."""
    from acoustic.casework.customer_links import write_withdrawn

    event = write_withdrawn(folder, number, why, _now())
    _say(f"Link {number} is withdrawn (number {event.id}).")


def reply(
    folder: CaseFolder,
    number: LinkNumber,
    opinion: Annotated[
        int | None, typer.Option(metavar="N", help="Number of the opinion; left out: the newest.")
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also the report, made with acoustic case report."),
    ] = None,
    by: By = "",
) -> None:
    """Show an opinion, and the report if you give it, to whoever has a link.

    The report tells more than the opinion: read it before. acoustic case undo hides both.
    """
    from acoustic.casework.case_folder import read_case
    from acoustic.casework.customer_links import write_shown_answer

    chosen = _newest_opinion(read_case(folder)) if opinion is None else opinion
    event = write_shown_answer(folder, number, (chosen, report), by, _now())
    what = f"opinion {chosen}{' and the report' if report else ''}"
    _say(f"Link {number} now shows {what} (number {event.id}).")
    _say(f"To hide it again: acoustic case undo {folder} {event.id}")


def _newest_opinion(case: Case) -> int:
    from acoustic.casework.history import Opinion

    numbers = [event.id for event in case.events if isinstance(event.data, Opinion)]
    return max(numbers, default=0)


def _now() -> datetime:
    return datetime.now(UTC)


def _say(sentence: str) -> None:
    sys.stdout.write(f"{sentence}\n")
