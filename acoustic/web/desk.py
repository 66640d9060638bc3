"""What all pages share: settings, admission, templates; and how a case is named in an address."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from anyio import CapacityLimiter
from jinja2 import Environment
from starlette.exceptions import HTTPException
from starlette.requests import Request

from acoustic.casework.case_file import CASE_FILE
from acoustic.web.admission import Admission
from acoustic.web.case_memory import CaseMemory
from acoustic.web.open_streams import OpenStreams
from acoustic.web.settings import PageSettings
from acoustic.web.work import WorkQueue

_PLAIN = re.compile(r"[^A-Za-z0-9_-]")
_CODED = re.compile(r"~([0-9a-f]{2})")
_NO_CASE = "There is no such case here. It may have been moved or renamed."


@dataclass(frozen=True, slots=True)
class Desk:
    """Everything the pages work with; made once by the application.

    `storing` is how many uploads are put on the disk at a time, so that those who only look
    at a page never wait behind them.
    """

    settings: PageSettings
    admission: Admission
    templates: Environment
    work: WorkQueue
    memory: CaseMemory
    storing: CapacityLimiter
    streams: OpenStreams


def desk_of(request: Request) -> Desk:
    """The desk of the application a request came to."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)  # noqa: S101 - tells the type checker
    return desk


def case_key(folder: str) -> str:
    """A case's folder, from the root, as one piece of an address.

    >>> case_key("2026/bus 7")
    '2026~2fbus~207'
    """
    return _PLAIN.sub(lambda sign: "".join(f"~{b:02x}" for b in sign[0].encode()), folder)


def case_place(root: Path, key: str) -> Path:
    """Folder of the case an address names, which lies under the root and nowhere else.

    Raises
    ------
    HTTPException
        404 if there is none.
    """
    try:
        coded = _CODED.sub(lambda pair: chr(int(pair[1], 16)), key)
        folder = coded.encode("latin-1").decode("utf-8")
    except UnicodeError:
        raise HTTPException(404, _NO_CASE) from None
    names = folder.split("/")
    if case_key(folder) != key or any(not n or n[0] == "." or "\0" in n for n in names):
        raise HTTPException(404, _NO_CASE)
    place = root.joinpath(*names)
    inside = place.resolve().is_relative_to(root.resolve())
    if not inside or not (place / CASE_FILE).is_file():
        raise HTTPException(404, _NO_CASE)
    return place


def case_asked(request: Request) -> Path:
    """Folder of the case that the address of a request names; 404 if there is none."""
    return case_place(desk_of(request).settings.root, request.path_params["case"])
