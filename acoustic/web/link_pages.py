"""The adviser's side: links for customers, what came by them, an opinion beside the evidence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import segno
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_folder import Case, read_case
from acoustic.casework.case_writes import write_event
from acoustic.casework.customer_links import (
    LONGEST_LABEL,
    CustomerLink,
    LinkWish,
    days_from,
    read_links,
    write_link,
    write_shown_answer,
    write_withdrawn,
)
from acoustic.casework.history import AnswerShown, Event, Opinion, TakenBack
from acoustic.casework.kept_answer import read_kept_evidence
from acoustic.casework.link_receipts import read_receipts
from acoustic.errors import CaseError
from acoustic.output.link_text import STATE_WORDS, link_address
from acoustic.web.case_view import read_view
from acoustic.web.customer_view import ReceiptView, read_receipt_views
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.pages import go_to, show, takes_form, text_field
from acoustic.web.settings import PageSettings
from acoustic.web.waiting import PAGE_FOLDER
from acoustic.web.work import REPORT_FILE

DAYS = (1, 3, 7, 14, 30)
_LINE, _LONGEST_OPINION = 200, 20_000
_LOOPBACK = ("localhost", "127.0.0.1", "[::1]")


@dataclass(frozen=True, slots=True)
class LinkRow:
    """A link in the adviser's list: how it stands, what came by it, what it shows."""

    link: CustomerLink
    state: str
    words: str
    until: datetime
    receipts: tuple[ReceiptView, ...]
    shows: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class ShownOpinion:
    """An opinion that stands, with its number and its day."""

    number: int
    given: datetime
    opinion: Opinion


def show_links(request: Request) -> Response:
    """The links of a case and the form for a new one."""
    base = reachable_address(desk_of(request).settings, str(request.base_url))
    return show(
        request,
        "links.html",
        days=DAYS,
        longest=LONGEST_LABEL,
        reachable=not _is_loopback(base),
        **_about(request),
    )


def show_links_now(request: Request) -> Response:
    """The list alone, which changes by itself as recordings come in."""
    return show(request, "links_now.html", **_about(request))


def take_link(request: Request, form: FormData) -> Response:
    """Make a link and show it, this once."""
    settings, folder = desk_of(request).settings, case_asked(request)
    now = settings.clock()
    wish = LinkWish(
        days_from(now, float(_number(form, "days"))),
        text_field(form, "label", LONGEST_LABEL),
        bool(form.get("at_parts")),
        text_field(form, "by", LONGEST_LABEL),
    )
    secret, event = write_link(folder, wish, now)
    base = reachable_address(settings, str(request.base_url))
    address = link_address(base, secret)
    return show(
        request,
        "link_made.html",
        address=address,
        reachable=not _is_loopback(base),
        encrypted=base.startswith("https"),
        drawn=segno.make(address, error="m", micro=False).svg_data_uri(scale=5, border=4),
        number=event.id,
        until=wish.until.astimezone(),
        label=wish.label,
        path=_path(request),
    )


def end_link(request: Request, form: FormData) -> Response:
    """Withdraw a link; it is closed when this returns."""
    settings = desk_of(request).settings
    write_withdrawn(case_asked(request), _number(form, "number"), "", settings.clock())
    return go_to(f"{_path(request)}/links")


def show_opinion(request: Request) -> Response:
    """The form for an opinion, the tool's evidence beside it, and who is shown what."""
    folder = case_asked(request)
    view = read_view(desk_of(request), folder)
    rows = link_rows(view.case, desk_of(request).settings.clock())
    return show(
        request,
        "opinion.html",
        view=view,
        path=_path(request),
        evidence=read_kept_evidence(view.case),
        opinions=opinions_of(view.case),
        rows=rows,
        open_rows=[row for row in rows if row.state == "open"],
        longest=_LONGEST_OPINION,
    )


def show_evidence(request: Request) -> Response:
    """The evidence alone, which changes by itself when the case is screened."""
    view = read_view(desk_of(request), case_asked(request))
    evidence = read_kept_evidence(view.case)
    return show(request, "opinion_now.html", view=view, evidence=evidence, path=_path(request))


def take_opinion(request: Request, form: FormData) -> Response:
    """Enter an opinion; nobody outside sees it yet."""
    by, text = text_field(form, "by", _LINE), text_field(form, "text", _LONGEST_OPINION)
    if not by or not text:
        raise CaseError("An opinion needs its text, and whose it is. Go back and fill in both.")
    write_event(case_asked(request), Opinion(by, text), desk_of(request).settings.clock())
    return go_to(f"{_path(request)}/opinion#release")


def release(request: Request, form: FormData) -> Response:
    """Show an opinion, and the report if wished, to whoever has a link."""
    folder = case_asked(request)
    report: Path | None = None
    if form.get("report"):
        report = folder / PAGE_FOLDER / REPORT_FILE
        if not report.is_file():
            raise CaseError("No report was made yet. Make it on the page of the case, read it.")
    shown = (_number(form, "opinion"), report)
    now = desk_of(request).settings.clock()
    write_shown_answer(folder, _number(form, "link"), shown, text_field(form, "by", _LINE), now)
    return go_to(f"{_path(request)}/opinion#release")


def hide(request: Request, form: FormData) -> Response:
    """Show an answer no more."""
    folder, number = case_asked(request), _number(form, "number")
    events = {event.id: event.data for event in read_case(folder).events}
    if not isinstance(events.get(number), AnswerShown):
        raise CaseError("This answer is not shown any more.")
    write_event(folder, TakenBack(number, "shown no more"), desk_of(request).settings.clock())
    return go_to(f"{_path(request)}/opinion#release")


def link_rows(case: Case, now: datetime) -> tuple[LinkRow, ...]:
    """The links of a case, newest first, with what came by each."""
    shown = [event for event in case.events if isinstance(event.data, AnswerShown)]
    rows = [
        LinkRow(
            link=link,
            state=link.state(now),
            words=STATE_WORDS[link.state(now)],
            until=link.asked.until.astimezone(),
            receipts=read_receipt_views(case, read_receipts(case.folder, link.asked.link)),
            shows=tuple(one for one in shown if _link_of(one) == link.asked.link),
        )
        for link in read_links(case.folder)
    ]
    return tuple(reversed(rows))


def opinions_of(case: Case) -> tuple[ShownOpinion, ...]:
    """Opinions that stand, newest first."""
    found = [(e.id, e.time, e.data) for e in case.events if isinstance(e.data, Opinion)]
    return tuple(ShownOpinion(n, time.astimezone(), data) for n, time, data in reversed(found))


def reachable_address(settings: PageSettings, asked: str) -> str:
    """The address of the page as a customer can use it: not this machine's own name for itself.

    >>> reachable_address(PageSettings(Path(".")), "http://localhost:8470/")
    'http://localhost:8470'
    >>> there = PageSettings(Path("."), address="192.0.2.7", port=8470)
    >>> reachable_address(there, "http://localhost:8470/")
    'http://192.0.2.7:8470'
    """
    if settings.address and _is_loopback(asked):
        return settings.own_address
    return asked.rstrip("/")


def _is_loopback(address: str) -> bool:
    return address.split("://")[-1].startswith(_LOOPBACK)


def _link_of(event: Event) -> str:
    return event.data.link if isinstance(event.data, AnswerShown) else ""


def _about(request: Request) -> dict[str, Any]:
    case = read_case(case_asked(request))
    rows = link_rows(case, desk_of(request).settings.clock())
    return {"case": case.file, "rows": rows, "path": _path(request)}


def _path(request: Request) -> str:
    return f"/case/{request.path_params['case']}"


def _number(form: FormData, name: str) -> int:
    said = text_field(form, name, 9)
    if not (said.isascii() and said.isdigit()):
        raise CaseError("Something of the form is missing. Go back, choose, and send it again.")
    return int(said)


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}/links", show_links),
    Route("/case/{case}/links", takes_form(take_link), methods=["POST"]),
    Route("/case/{case}/links/now", show_links_now),
    Route("/case/{case}/links/end", takes_form(end_link), methods=["POST"]),
    Route("/case/{case}/opinion", show_opinion),
    Route("/case/{case}/opinion", takes_form(take_opinion), methods=["POST"]),
    Route("/case/{case}/opinion/now", show_evidence),
    Route("/case/{case}/release", takes_form(release), methods=["POST"]),
    Route("/case/{case}/hide", takes_form(hide), methods=["POST"]),
)
