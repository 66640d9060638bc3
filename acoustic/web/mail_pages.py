"""Cases that go and come by mail: packed to download, opened and merged as a stranger's.

The same functions as ``acoustic bundle pack``, ``open`` and ``merge``; what came from outside is
opened in a process apart.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_file import CASE_FILE
from acoustic.casework.case_folder import read_case_file
from acoustic.casework.case_mail import write_merged, write_opened_case, write_packed_case
from acoustic.errors import AcousticError, CaseError, RecordingError
from acoustic.output.case_text import event_text
from acoustic.web.apart_tasks import GIGABYTE
from acoustic.web.desk import case_asked, case_key, desk_of
from acoustic.web.new_case_pages import free_folder
from acoustic.web.pages import show, takes_form
from acoustic.web.plain_words import without_place
from acoustic.web.strangers import ApartLimits, Listener, Teller, run_apart
from acoustic.web.waiting import safe_name

OPEN_LIMITS = ApartLimits(memory_bytes=GIGABYTE, silent_s=120.0, cpu_s=120, writes=True)
_NOTHING_SENT = "No packed file was chosen. Choose the one that came by mail."


def send_packed(request: Request) -> Response:
    """The case as one file to mail; the case stays as it is."""
    desk, folder = desk_of(request), case_asked(request)
    place = Path(tempfile.mkdtemp(dir=desk.settings.state, prefix="pack-"))
    try:
        name = f"{safe_name(read_case_file(folder).title)}.zip"
        write_packed_case(folder, place / "case.zip", datetime.now(UTC))
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    gone = BackgroundTask(shutil.rmtree, place, ignore_errors=True)
    return FileResponse(
        place / "case.zip", media_type="application/zip", filename=name, background=gone
    )


def show_mail(request: Request) -> Response:
    """The form for a case that came by mail."""
    return show(request, "mail.html", key="", contents=(), title="")


def take_pack(request: Request, form: FormData) -> Response:
    """Open a packed case into a new folder, and tell what is in it."""
    root = desk_of(request).settings.root
    with _sent(request, form) as pack:
        name = pack.name.removesuffix(".zip")
        folder = free_folder(root, f"{datetime.now(UTC).astimezone():%Y-%m-%d} {name}")
        contents = _apart(open_pack, (pack, folder))
    key = case_key(folder.relative_to(root).as_posix())
    title = read_case_file(folder).title if (folder / CASE_FILE).is_file() else ""
    return show(request, "mail.html", key=key, contents=contents, title=title)


def take_answer(request: Request, form: FormData) -> Response:
    """Take an adviser's answer into the case it was given to."""
    folder = case_asked(request)
    with _sent(request, form) as pack:
        entered = _apart(merge_answer, (pack, folder))
    contents = entered or ["This answer is in the case already. Nothing was changed."]
    title = read_case_file(folder).title
    key = request.path_params["case"]
    return show(request, "mail.html", key=key, contents=contents, title=title)


def open_pack(pack: Path, folder: Path, _tell: Teller) -> tuple[str, ...]:
    """Open a packed case and say what is in it; done in a process apart."""
    return write_opened_case(pack, folder).contents


def merge_answer(pack: Path, folder: Path, _tell: Teller) -> tuple[str, ...]:
    """Merge a packed answer and say what was entered; done in a process apart."""
    _, entered = write_merged(pack, folder, datetime.now(UTC))
    return tuple(f"{event.id}: {event.kind}: {event_text(event.data)}" for event in entered)


@contextmanager
def _sent(request: Request, form: FormData) -> Iterator[Path]:
    """Give the packed file of a form, under its own name, out of the way of the cases."""
    file = form.get("pack")
    if not isinstance(file, UploadFile) or not file.filename:
        raise CaseError(_NOTHING_SENT)
    with tempfile.TemporaryDirectory(dir=desk_of(request).settings.state, prefix="mail-") as place:
        pack = Path(place) / safe_name(file.filename)
        write_sent(file, pack)
        try:
            yield pack
        except AcousticError as error:  # told without where it lay on this machine
            said = without_place(str(error), Path(place))
            raise CaseError(without_place(said, desk_of(request).settings.root)) from None


def write_sent(file: UploadFile, place: Path) -> None:
    """Keep what was sent as a file of its own."""
    file.file.seek(0)
    with place.open("wb") as kept:
        shutil.copyfileobj(file.file, kept)


def _apart(task: Callable[..., tuple[str, ...]], arguments: tuple[Any, ...]) -> list[str]:
    """Sentences of a task, which come as plain values; whatever else came is made words."""
    try:
        told = run_apart(task, arguments, OPEN_LIMITS, Listener(lambda _step: None))
        return [str(sentence) for sentence in told]
    except RecordingError:
        raise CaseError(
            "Opening it broke off: it is damaged, or needs more memory or time than is allowed "
            "here. Nothing was taken in. Ask for it again."
        ) from None


ROUTES: tuple[BaseRoute, ...] = (
    Route("/mail", show_mail),
    Route("/mail/pack", takes_form(take_pack, files=1), methods=["POST"]),
    Route("/case/{case}/packed", send_packed),
    Route("/case/{case}/pack", takes_form(take_answer, files=1), methods=["POST"]),
)
