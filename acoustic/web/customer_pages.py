"""A customer's link: what to record, sending it, the receipt, and the answer once released.

Whoever has the link needs no access code and sees nothing else. Each request finds the link
anew, so that one that ended or was withdrawn is closed from then on, open pages included.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_folder import Case, read_case
from acoustic.casework.customer_links import FoundLink, LinkState, read_link
from acoustic.casework.lasting_files import read_whole
from acoustic.casework.link_receipts import Receipt, write_receipt
from acoustic.errors import AcousticError, CaseError
from acoustic.web.case_pages import report_policy
from acoustic.web.customer_view import (
    AskedRecording,
    CustomerView,
    read_customer_view,
    taken_by,
)
from acoustic.web.desk import desk_of
from acoustic.web.events import history_stamp
from acoustic.web.pages import go_to, show, takes_form, text_field
from acoustic.web.uploads import processing_of
from acoustic.web.waiting import ClipAsked, safe_name, write_waiting

_LOOK_EVERY_S = 0.5
_RECONNECT_MS = 3000
_LONGEST_SETTINGS = 4_000
_NO_LINK = (
    "This link opens nothing. Was it copied whole? Else ask whoever sent it to you for a new one."
)
_OVER: dict[LinkState, str] = {
    "expired": "This link has ended, as it was to. What you sent has arrived and is kept. To send "
    "more, ask whoever sent it to you for a new one.",
    "withdrawn": "This link was withdrawn by whoever sent it to you. What you sent before has "
    "arrived and is kept. Ask them if you did not expect this.",
    "elsewhere": _NO_LINK,
}
_NOT_NOW = (
    "This cannot be done just now; it is not your mistake. Tell whoever sent you the link, and "
    "keep your recording."
)


def show_sending(request: Request) -> Response:
    """What to record, what has arrived, and the answer if it is released."""
    return _show(request, "customer.html", _view(request))


def show_now(request: Request) -> Response:
    """The part of it that changes by itself."""
    return _show(request, "customer_now.html", _view(request))


def show_asked(request: Request) -> Response:
    """One recording: what to do, with its cautions beside the button."""
    view = _view(request)
    asked = _asked_for(view, request.path_params["number"])
    most_bytes = desk_of(request).settings.limits.clip_bytes
    return _show(
        request,
        "customer_step.html",
        view,
        asked=asked,
        most_bytes=most_bytes,
        device="",
        devices=(),
    )


def show_receipt(request: Request) -> Response:
    """What arrived, and what the gate said of it."""
    view = _view(request)
    receipt = view.receipt(request.path_params["clip"])
    if receipt is None:
        raise HTTPException(404, "Nothing of this kind came by your link.")
    page = "customer_receipt_now.html" if "now" in request.query_params else "customer_receipt.html"
    return _show(request, page, view, one=receipt)


def take_clip(request: Request, form: FormData) -> Response:
    """Keep a recording, then give its receipt."""
    found = _open_link(request)
    case = _case_of(found)
    view = read_customer_view(case, found.link)
    file = _file_of(form)
    number = text_field(form, "number", 4)
    asked = _asked_for(view, int(number) if number.isascii() and number.isdigit() else -1)
    try:
        receipt = _keep(request, found, case, asked, form, file)
    except AcousticError as error:
        said = str(error)
        if str(case.folder) in said:  # the disk of the workshop is none of the customer's business
            raise HTTPException(503, _NOT_NOW) from None
        raise HTTPException(400, said) from None
    desk_of(request).work.ask(found.folder, "clips")
    return go_to(f"{_path(request)}/clip/{receipt.clip}")


_taking_clip = takes_form(take_clip, files=2)


def show_report(request: Request) -> Response:
    """The report as it was when it was released."""
    answer = _view(request).answer
    page = read_whole(answer.report) if answer is not None and answer.report else b""
    if not page:
        raise HTTPException(404, "There is no report for you here.")
    return HTMLResponse(page, headers={"Content-Security-Policy": report_policy(page)})


async def receive_clip(request: Request) -> Response:
    """Look at the link first: without one not even the form is read."""
    await run_in_threadpool(_open_link, request)
    return await _taking_clip(request)


async def stream_events(request: Request) -> Response:
    """Send ``changed`` when there may be something new, and when the link is over; no more."""
    found = await run_in_threadpool(_open_link, request)
    if desk_of(request).streams.is_full(found.link.asked.link):
        raise HTTPException(429, "This link is open in too many places. Close some of them.")
    return EventSourceResponse(_changes(request, found), ping=15)


async def _changes(request: Request, found: FoundLink) -> AsyncIterator[ServerSentEvent]:
    desk, told = desk_of(request), None
    with desk.streams.counted(found.link.asked.link):
        while not await request.is_disconnected():
            now = (
                desk.work.version_of(found.folder),
                history_stamp(found.folder),
                found.link.state(desk.settings.clock()),
            )
            if now != told:
                told = now
                yield ServerSentEvent("", event="changed", retry=_RECONNECT_MS)
                if await run_in_threadpool(_is_over, request):
                    return
            await asyncio.sleep(_LOOK_EVERY_S)


def _is_over(request: Request) -> bool:
    try:
        _open_link(request)
    except HTTPException:
        return True
    return False


def _open_link(request: Request) -> FoundLink:
    """The link a request came by; 404 if there is none, 410 if it is over."""
    settings = desk_of(request).settings
    found = read_link(settings.root, request.path_params["secret"])
    if found is None:
        raise HTTPException(404, _NO_LINK)
    state = found.link.state(settings.clock())
    if state != "open":
        raise HTTPException(410, _OVER[state])
    return found


def _case_of(found: FoundLink) -> Case:
    try:
        return read_case(found.folder)
    except AcousticError:
        raise HTTPException(503, _NOT_NOW) from None


def _view(request: Request) -> CustomerView:
    found = _open_link(request)
    return read_customer_view(_case_of(found), found.link)


def _show(request: Request, page: str, view: CustomerView, **values: Any) -> Response:
    return show(request, page, view=view, path=_path(request), **values)


def _path(request: Request) -> str:
    return f"/send/{request.path_params['secret']}"


def _file_of(form: FormData) -> UploadFile:
    """The recording of a form; one of its two fields for files may be left empty."""
    for one in form.getlist("clip"):
        if isinstance(one, UploadFile) and one.filename:
            return one
    raise HTTPException(400, "No recording was chosen. Choose a file, or record one.")


def _asked_for(view: CustomerView, number: int) -> AskedRecording:
    found = next((one for one in view.asked if one.number == number), None)
    if found is None:
        raise HTTPException(404, "There is no such recording to be made any more. Go back.")
    return found


def _keep(
    request: Request,
    found: FoundLink,
    case: Case,
    asked: AskedRecording,
    form: FormData,
    file: UploadFile,
) -> Receipt:
    """Keep the sound, then write the receipt; both are on the disk when this returns."""
    now = desk_of(request).settings.clock()
    name = safe_name(file.filename or "")
    words = ClipAsked(
        original=name,
        taken=taken_by(case, asked, form),
        time=now,
        processing=processing_of(text_field(form, "settings", _LONGEST_SETTINGS)),
    )
    size = file.size or 0
    if not size:
        raise CaseError(f"{name}: the file is empty (0 bytes). Send the original again.")

    def keep() -> Receipt:
        file.file.seek(0)
        kept = write_waiting(case.folder, file.file, words)
        return Receipt(kept.id, name, size, now, asked.title)

    return write_receipt(case.folder, found.link.asked.link, size, keep)[0]


ROUTES: tuple[BaseRoute, ...] = (
    Route("/send/{secret}", show_sending),
    Route("/send/{secret}/now", show_now),
    Route("/send/{secret}/events", stream_events),
    Route("/send/{secret}/step/{number:int}", show_asked),
    Route("/send/{secret}/clips", receive_clip, methods=["POST"]),
    Route("/send/{secret}/clip/{clip}", show_receipt),
    Route("/send/{secret}/report", show_report),
)
