"""Pages shown and forms taken: templates with every name escaped, forms with their token."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import cache, wraps
from typing import Any, TypeAlias

from anyio import to_thread
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from acoustic import __version__
from acoustic.errors import AcousticError, DriveError
from acoustic.output.page_pieces import fit_text
from acoustic.web.desk import case_key, desk_of
from acoustic.web.plain_words import without_place
from acoustic.web.safety import SEND, TOKEN_HEADER

TOKEN_FIELD = "form_token"  # noqa: S105 - the name of a field
FormPage: TypeAlias = Callable[[Request, FormData], Response]
_TOO_OLD = "This form is no longer valid. Go back, load the page again and send it once more."


@cache
def page_templates() -> Environment:
    """Templates of the package; whatever a name says, it is written as text."""
    made = Environment(
        loader=PackageLoader("acoustic.web"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_fit,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["version"] = __version__
    made.filters["case_key"] = case_key
    return made


def show(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Answer with a page.

    Parameters
    ----------
    request : Request
    template : str
        Name of a file in ``templates/``.
    status : int
        Of the answer.
    **values
        What the template asks for, beside `form_token`, `asks_code`, `is_admitted` and `version`.
    """
    desk = desk_of(request)
    values["form_token"] = desk.admission.form_token(request.state.visitor)
    values["asks_code"] = desk.admission.asks_code
    values["is_admitted"] = desk.admission.is_admitted(request.state.visitor)
    return HTMLResponse(desk.templates.get_template(template).render(values), status)


def go_to(address: str) -> RedirectResponse:
    """Send the browser on after a form, so that a reload sends nothing twice."""
    return RedirectResponse(address, status_code=303)


def takes_form(
    page: FormPage, files: int = 0, fields: int = 0
) -> Callable[[Request], Awaitable[Response]]:
    """Make a form's address: its token is checked, then `page` gets request and form.

    Every address that changes something is made so; `files` is how many it may carry, and
    `fields` how many values, where a form needs more than is usual.
    """

    @wraps(page)
    async def taken(request: Request) -> Response:
        limits = desk_of(request).settings.limits
        require_token(request, request.headers.get(TOKEN_HEADER, ""), is_last=False)
        async with request.form(max_files=files, max_fields=fields or limits.form_fields) as form:
            sent = request.headers.get(TOKEN_HEADER) or form.get(TOKEN_FIELD, "")
            require_token(request, str(sent))
            limiter = desk_of(request).storing if files else None
            return await to_thread.run_sync(page, request, form, limiter=limiter)

    return taken


def require_token(request: Request, token: str, is_last: bool = True) -> None:
    """Refuse with 403 what does not carry the token of a page shown to this visitor.

    With `is_last` false an empty token may still come with the form.
    """
    if not token and not is_last:
        return
    if not desk_of(request).admission.is_token(request.state.visitor, token):
        raise HTTPException(403, _TOO_OLD)


def text_field(form: FormData, name: str, most: int = 20_000) -> str:
    """What was typed into a field, blanks at the ends left out, cut at `most` signs."""
    value = form.get(name, "")
    return value.strip()[:most] if isinstance(value, str) else ""


async def show_http_error(request: Request, error: Exception) -> Response:
    """Answer a refused request with its sentence."""
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for these only
    said = "There is no such page." if error.detail == "Not Found" else error.detail
    code = error.status_code
    case = request.path_params.get("case", "") if code != 404 else ""
    page, told = _trouble_page(request), [said]
    return show(request, page, code, code=code, sentences=told, case=case, layout=False)


async def show_trouble(request: Request, error: Exception) -> Response:
    """Answer what a user can mend with the sentences that say how."""
    assert isinstance(error, AcousticError)  # noqa: S101 - registered for these only
    said = without_place(str(error), desk_of(request).settings.root).splitlines()
    case, layout = request.path_params.get("case", ""), isinstance(error, DriveError)
    page = _trouble_page(request)
    return show(request, page, 400, code=400, sentences=said, case=case, layout=layout)


def _trouble_page(request: Request) -> str:
    """A customer is not shown the way to the cases."""
    return "customer_trouble.html" if request.url.path.startswith(SEND) else "error.html"


def _fit(value: Any) -> Any:
    return fit_text(value) if type(value) is str else value
