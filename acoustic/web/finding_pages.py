"""What people find: hand checks, what it was in the end, notes, and taking entries back."""

from __future__ import annotations

from datetime import UTC, datetime

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_answer import require_new_outcome
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_event
from acoustic.casework.check_entry import write_check
from acoustic.casework.choice_words import access_words, work_order_line
from acoustic.casework.history import CheckDone, Note, Opinion, Outcome, TakenBack
from acoustic.casework.take_words import find_take_words
from acoustic.errors import CaseError
from acoustic.output.wording import RUNNING_ENGINE_CAUTION
from acoustic.web.case_view import read_view
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.new_case_pages import odometer_of
from acoustic.web.pages import go_to, show, takes_form, text_field

_MOST_CHECKS = 5
_LINE = 200


def show_checks(request: Request) -> Response:
    """The hand checks that settle most, each with the form for its result."""
    view = read_view(desk_of(request), case_asked(request))
    most = len(view.ranked) if "all" in request.query_params else _MOST_CHECKS
    return show(
        request,
        "checks.html",
        view=view,
        ranked=view.ranked[:most],
        left=len(view.ranked) - most,
        caution=RUNNING_ENGINE_CAUTION,
    )


def take_check(request: Request, form: FormData) -> Response:
    """Enter what came of a hand check; the case then shows what it changed."""
    done = CheckDone(
        text_field(form, "check", _LINE),
        text_field(form, "part", _LINE),
        text_field(form, "result", _LINE),
        text_field(form, "remark"),
        text_field(form, "by", _LINE),
    )
    if not done.result:
        raise CaseError("Choose what came of the check, then enter it.")
    entered = write_check(case_asked(request), done, datetime.now(UTC))
    return go_to(f"/case/{request.path_params['case']}?entered={entered.event.id}")


def show_found(request: Request) -> Response:
    """The form for what was found when it was opened, and the work order before it."""
    view = read_view(desk_of(request), case_asked(request))
    parts = tuple(find_take_words(view.case.drive).parts.values())
    order = work_order_line(view.choice) if view.choice else ""
    works = [(one, access_words(one)) for one in view.choice.suspects] if view.choice else []
    return show(request, "found.html", view=view, parts=parts, order=order, works=works)


def take_found(request: Request, form: FormData) -> Response:
    """Enter what was found."""
    folder = case_asked(request)
    part = text_field(form, "part", _LINE)
    if not part:
        raise CaseError("Choose the part that was found faulty, or 'none of these parts'.")
    outcome = Outcome(
        part="" if part == "none" else part,
        text=text_field(form, "text"),
        odometer_km=odometer_of(form),
        by=text_field(form, "by", _LINE),
    )
    require_new_outcome(read_case(folder), outcome)
    write_event(folder, outcome, datetime.now(UTC))
    return go_to(f"/case/{request.path_params['case']}")


def take_note(request: Request, form: FormData) -> Response:
    """Enter a note, or what somebody thinks it is."""
    text, by = text_field(form, "text"), text_field(form, "by", _LINE)
    if not text:
        raise CaseError("The note is empty. Write something, then enter it.")
    if form.get("opinion") and not by:
        raise CaseError("Say whose opinion it is.")
    said = Opinion(by, text) if form.get("opinion") else Note(text, by)
    write_event(case_asked(request), said, datetime.now(UTC))
    return go_to(f"/case/{request.path_params['case']}#history")


def take_back(request: Request, form: FormData) -> Response:
    """Take an entry back; it stays in the history as taken back."""
    number = text_field(form, "number", 9)
    if not (number.isascii() and number.isdigit()):
        raise HTTPException(400, "There is no such entry.")
    folder = case_asked(request)
    write_event(folder, TakenBack(int(number), text_field(form, "why")), datetime.now(UTC))
    return go_to(f"/case/{request.path_params['case']}#history")


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}/checks", show_checks),
    Route("/case/{case}/checks", takes_form(take_check), methods=["POST"]),
    Route("/case/{case}/found", show_found),
    Route("/case/{case}/found", takes_form(take_found), methods=["POST"]),
    Route("/case/{case}/note", takes_form(take_note), methods=["POST"]),
    Route("/case/{case}/undo", takes_form(take_back), methods=["POST"]),
)
