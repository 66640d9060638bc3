"""Where the page is reached from a phone: the address, and a code to scan."""

from __future__ import annotations

import segno
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.web.desk import desk_of
from acoustic.web.pages import show


def show_address(request: Request) -> Response:
    """The address of the page, also as a code to scan with a phone."""
    settings = desk_of(request).settings
    drawn = ""
    if settings.address:
        made = segno.make(settings.address_with_code, error="m", micro=False)
        drawn = made.svg_data_uri(scale=6, border=4)
    return show(request, "address.html", settings=settings, drawn=drawn)


ROUTES: tuple[BaseRoute, ...] = (Route("/address", show_address),)
