"""A case: what it says now and what comes next; its screening and its report."""

from __future__ import annotations

import base64
import hashlib
import re

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.lasting_files import read_whole
from acoustic.web.case_view import read_view
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.pages import go_to, show, takes_form
from acoustic.web.waiting import PAGE_FOLDER, write_seen
from acoustic.web.work import REPORT_FILE, Kind

_STYLE = re.compile(rb"<style>(.*?)</style>", re.DOTALL)


def show_case(request: Request) -> Response:
    """What the case says now, and the one thing to do next."""
    view = read_view(desk_of(request), case_asked(request))
    entered = request.query_params.get("entered", "")
    there = any(entered == str(row.number) for row in view.history)
    return show(request, "case.html", view=view, entered=entered if there else "")


def show_now(request: Request) -> Response:
    """The part of the case's page that changes by itself."""
    view = read_view(desk_of(request), case_asked(request))
    return show(request, "case_now.html", view=view)


def ask_screening(request: Request, _form: FormData) -> Response:
    """Screen the case; the answer comes into its page when it is there."""
    desk_of(request).work.ask(case_asked(request), "screen")
    return go_to(f"/case/{request.path_params['case']}")


def ask_report(request: Request, form: FormData) -> Response:
    """Make the report of the case, with sounds to hear if that is asked."""
    kind: Kind = "report with sounds" if form.get("sounds") else "report"
    desk_of(request).work.ask(case_asked(request), kind)
    return go_to(f"/case/{request.path_params['case']}#report")


def show_report(request: Request) -> Response:
    """The report as it was made last, under a policy that lets nothing else in."""
    page = read_whole(case_asked(request) / PAGE_FOLDER / REPORT_FILE)
    if not page:
        raise HTTPException(404, "No report of this case was made yet. Ask for one on its page.")
    return HTMLResponse(page, headers={"Content-Security-Policy": report_policy(page)})


def report_policy(page: bytes) -> str:
    """A policy under which exactly the styles of this page hold, and no script."""
    digests = [
        f"'sha256-{base64.b64encode(hashlib.sha256(style).digest()).decode('ascii')}'"
        for style in _STYLE.findall(page)
    ]
    return (
        f"default-src 'none'; img-src data:; media-src data:; style-src {' '.join(digests)}; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def let_refused_go(request: Request, _form: FormData) -> Response:
    """Somebody has read why clips were not taken in."""
    write_seen(case_asked(request))
    return go_to(f"/case/{request.path_params['case']}")


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}", show_case),
    Route("/case/{case}/now", show_now),
    Route("/case/{case}/screen", takes_form(ask_screening), methods=["POST"]),
    Route("/case/{case}/report", show_report),
    Route("/case/{case}/report", takes_form(ask_report), methods=["POST"]),
    Route("/case/{case}/seen", takes_form(let_refused_go), methods=["POST"]),
)
