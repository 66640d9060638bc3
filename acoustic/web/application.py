"""The application: all addresses, behind everything a request passes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from anyio import CapacityLimiter
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from acoustic.errors import AcousticError
from acoustic.web import (
    address_pages,
    case_pages,
    clip_pages,
    customer_pages,
    door_pages,
    events,
    finding_pages,
    layout_pages,
    link_pages,
    mail_pages,
    new_case_pages,
    sound_pages,
)
from acoustic.web.admission import Admission
from acoustic.web.case_memory import CaseMemory
from acoustic.web.desk import Desk
from acoustic.web.open_streams import OpenStreams
from acoustic.web.pages import page_templates, show_http_error, show_trouble
from acoustic.web.safety import safety_of
from acoustic.web.settings import PageSettings
from acoustic.web.work import WorkQueue

_STORED_AT_ONCE = 4
_STATIC = Path(__file__).parent / "static"


def make_app(settings: PageSettings) -> Starlette:
    """Make the page over a folder of cases.

    Parameters
    ----------
    settings : PageSettings

    Returns
    -------
    Starlette
        To be run by a server, or by a test.
    """
    admission = Admission(settings.state, settings.access_code, settings.limits.session_s)
    work = WorkQueue(settings.root)

    @asynccontextmanager
    async def working(_app: Starlette) -> AsyncIterator[None]:
        work.start()
        yield
        await run_in_threadpool(work.stop)

    app = Starlette(
        routes=[
            Mount("/static", StaticFiles(directory=_STATIC)),
            *door_pages.ROUTES,
            *address_pages.ROUTES,
            *new_case_pages.ROUTES,
            *clip_pages.ROUTES,
            *sound_pages.ROUTES,
            *finding_pages.ROUTES,
            *layout_pages.ROUTES,
            *events.ROUTES,
            *case_pages.ROUTES,
            *link_pages.ROUTES,
            *mail_pages.ROUTES,
            *customer_pages.ROUTES,
        ],
        middleware=safety_of(settings, admission),
        lifespan=working,
        exception_handlers={HTTPException: show_http_error, AcousticError: show_trouble},
    )
    app.state.desk = Desk(
        settings,
        admission,
        page_templates(),
        work,
        CaseMemory(),
        CapacityLimiter(_STORED_AT_ONCE),
        OpenStreams(),
    )
    return app
