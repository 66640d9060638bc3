"""The event stream of a case: says that something changed, so that an open page can look again."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path

from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_folder import HISTORY_FILE
from acoustic.web.desk import Desk, case_asked, desk_of

_LOOK_EVERY_S = 0.4
_RECONNECT_MS = 2000


async def stream_events(request: Request) -> Response:
    """Send ``changed`` when the case or its work does, with the steps being done.

    A browser that lost the connection comes back by itself and gets the present state first,
    so that nothing is missed in between.
    """
    folder = await run_in_threadpool(case_asked, request)
    return EventSourceResponse(_changes(request, desk_of(request), folder), ping=15)


async def _changes(request: Request, desk: Desk, folder: Path) -> AsyncIterator[ServerSentEvent]:
    told: tuple[int, tuple[int, int]] | None = None
    while not await request.is_disconnected():
        now = (desk.work.version_of(folder), history_stamp(folder))
        if now != told:
            told = now
            yield ServerSentEvent(_steps(desk, folder), event="changed", retry=_RECONNECT_MS)
        await asyncio.sleep(_LOOK_EVERY_S)


def _steps(desk: Desk, folder: Path) -> str:
    """What is being done now, for those who only show the step."""
    states = [one for one in desk.work.states_of(folder) if one.under_way]
    return json.dumps([{"kind": one.kind, "step": one.step} for one in states])


def history_stamp(folder: Path) -> tuple[int, int]:
    """What changes when anybody else, such as a command, adds to the case."""
    try:
        state = (folder / HISTORY_FILE).stat()
    except OSError:
        return 0, 0
    return state.st_mtime_ns, state.st_size


ROUTES: tuple[BaseRoute, ...] = (Route("/case/{case}/events", stream_events),)
