"""The door: the form for the access code, and the way out."""

from __future__ import annotations

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.web.desk import desk_of
from acoustic.web.pages import go_to, show, takes_form, text_field
from acoustic.web.safety import set_visitor

_WRONG_CODE = "That is not the code. It stands where the page was started."


def show_door(request: Request) -> Response:
    """The form for the access code."""
    desk = desk_of(request)
    if desk.admission.is_admitted(request.state.visitor):
        return go_to("/")
    return show(request, "enter.html", trouble="")


def take_code(request: Request, form: FormData) -> Response:
    """Admit whoever gives the access code, under a new number."""
    desk = desk_of(request)
    if not desk.admission.is_code(text_field(form, "code", 40)):
        return show(request, "enter.html", 403, trouble=_WRONG_CODE)
    answer = go_to("/")
    set_visitor(answer.headers, desk.admission.admit(), desk.settings.secure)
    return answer


def sign_out(request: Request, _form: FormData) -> Response:
    """Let go of a visitor; the number is worth nothing from now on."""
    desk = desk_of(request)
    desk.admission.sign_out(request.state.visitor)
    answer = go_to("/enter")
    set_visitor(answer.headers, desk.admission.new_number(), desk.settings.secure)
    return answer


ROUTES: tuple[BaseRoute, ...] = (
    Route("/enter", show_door),
    Route("/enter", takes_form(take_code), methods=["POST"]),
    Route("/leave", takes_form(sign_out), methods=["POST"]),
)
