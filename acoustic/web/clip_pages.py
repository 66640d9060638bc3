"""Recordings: a step of the plan to record, other clips, what the gate said of each."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_folder import read_case
from acoustic.casework.plan_steps import PlanStep
from acoustic.casework.take_words import find_take_words
from acoustic.output.wording import RUNNING_ENGINE_CAUTION
from acoustic.web.case_view import CaseView, clip_view, read_view, stored_clip
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.pages import go_to, show, takes_form
from acoustic.web.uploads import LONGEST_DEVICE, MOST_FILES, device_names, keep_uploads

_TYPES = {
    ".m4a": "audio/mp4", ".mp4": "video/mp4", ".mov": "video/quicktime", ".3gp": "video/3gpp",
    ".wav": "audio/wav", ".mp3": "audio/mpeg", ".ogg": "audio/ogg", ".opus": "audio/ogg",
    ".webm": "audio/webm", ".flac": "audio/flac", ".aac": "audio/aac", ".amr": "audio/amr",
}  # fmt: skip

_ASKED = {"stage": "", "point": "", "contact": "", "rpm": ""}
"""What an address may ask for beforehand, so that a way of recording is used again."""


def show_step(request: Request) -> Response:
    """A step of the plan: what to do, with its cautions beside the button."""
    view = _view(request)
    step = _step_asked(view, request.path_params["number"])
    return show(request, "step.html", view=view, step=step, **_about_sending(request, view))


def show_other(request: Request) -> Response:
    """Forms for recordings that no step asks for, and for several at once."""
    view = _view(request)
    words = find_take_words(view.case.drive)
    return show(
        request,
        "other.html",
        view=view,
        asked={**_ASKED, **request.query_params},
        asked_loads=request.query_params.getlist("loads"),
        caution=RUNNING_ENGINE_CAUTION,
        parts=tuple(words.parts.values()),
        loads=tuple(dict.fromkeys(words.loads.values())),
        **_about_sending(request, view),
    )


def take_clips(request: Request, form: FormData) -> Response:
    """Keep what was sent, then say so; it is looked over next."""
    folder = case_asked(request)
    kept = keep_uploads(read_case(folder), form)
    desk_of(request).work.ask(folder, "clips")
    case = request.path_params["case"]
    return go_to(f"/case/{case}/clip/{kept[0].id}" if len(kept) == 1 else f"/case/{case}")


def show_clip(request: Request) -> Response:
    """What the gate said of a recording, and what to do next."""
    view = _view(request)
    clip = clip_view(view, request.path_params["number"])
    if clip is None:
        raise HTTPException(404, "There is no such recording in this case.")
    part = "now" in request.query_params
    return show(request, "clip_now.html" if part else "clip.html", view=view, clip=clip)


def send_sound(request: Request) -> Response:
    """The sound of a recording, to be heard again."""
    one = stored_clip(read_case(case_asked(request)), request.path_params["number"])
    if one is None:
        raise HTTPException(404, "There is no such recording in this case.")
    media_type = _TYPES.get(Path(one.path).suffix, "application/octet-stream")
    return FileResponse(one.path, media_type=media_type)


def _view(request: Request) -> CaseView:
    return read_view(desk_of(request), case_asked(request))


def _step_asked(view: CaseView, number: int) -> PlanStep:
    found = next((step for step in view.plan.steps if step.number == number), None)
    if found is None:
        raise HTTPException(
            404, "The plan has no such step any more. Look at the case for what is next."
        )
    return found


def _about_sending(request: Request, view: CaseView) -> dict[str, Any]:
    return {
        "device": request.query_params.get("device", "")[:LONGEST_DEVICE],
        "devices": device_names(view.case),
        "most_bytes": desk_of(request).settings.limits.clip_bytes,
        "most_files": MOST_FILES,
    }


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}/step/{number:int}", show_step),
    Route("/case/{case}/other", show_other),
    Route("/case/{case}/clips", takes_form(take_clips, files=MOST_FILES), methods=["POST"]),
    Route("/case/{case}/clip/{number}", show_clip),
    Route("/case/{case}/clip/{number}/sound", send_sound),
)
