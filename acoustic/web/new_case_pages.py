"""The list of cases, and a new case."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_index import read_cases
from acoustic.casework.case_writes import write_new_case
from acoustic.casework.lasting_files import write_lasting
from acoustic.errors import AcousticError, CaseError
from acoustic.tables.sound_words import Complaint, sound_words, when_words
from acoustic.web.desk import case_key, desk_of
from acoustic.web.known_layouts import read_known_layouts
from acoustic.web.pages import go_to, show, takes_form, text_field
from acoustic.web.plain_words import without_place
from acoustic.web.waiting import safe_name

_NO_TITLE = "Give the case a title to know it by, such as the customer and the vehicle."
_NO_LAYOUT = "Choose the layout of the drive, or send a layout file."


def show_cases(request: Request) -> Response:
    """All cases under the root, newest first, or those in which the words stand."""
    words = request.query_params.get("words", "")[:200]
    rows = read_cases(desk_of(request).settings.root, words)
    return show(request, "cases.html", rows=rows, words=words)


def show_new(request: Request) -> Response:
    """The form for a new case."""
    return _form(request, {}, ())


def take_new(request: Request, form: FormData) -> Response:
    """Open the case; with trouble show the form again as it was filled in."""
    root = desk_of(request).settings.root
    try:
        file = case_file_of(form)
        folder = free_folder(root, f"{file.opened.isoformat()} {file.title}")
        _write_case(folder, file, form, root)
    except AcousticError as error:
        typed = {name: form.getlist(name) for name in form}
        return _form(request, typed, without_place(str(error), root).splitlines())
    return go_to(f"/case/{case_key(folder.relative_to(root).as_posix())}")


def case_file_of(form: FormData) -> CaseFile:
    """What the form says of the case; further checked when it is written."""
    title = text_field(form, "title", 200)
    if not title:
        raise CaseError(_NO_TITLE)
    said = Complaint(_chosen(form, "sounds_like"), _chosen(form, "comes_when"))
    return CaseFile.model_construct(
        schema_="case/1",
        title=title,
        opened=datetime.now(UTC).astimezone().date(),
        complaint=text_field(form, "complaint"),
        sounds_like=list(said.sounds),
        comes_when=list(said.when),
        vehicle=text_field(form, "vehicle", 200),
        odometer_km=odometer_of(form),
    )


def odometer_of(form: FormData) -> float | None:
    """Reading of the odometer; None where it was left empty. [km]"""
    said = text_field(form, "odometer_km", 20)
    try:
        return float(said.replace(",", ".")) if said else None
    except ValueError:
        raise CaseError(f"Odometer {said!r}: give the kilometres as a number.") from None


def free_folder(root: Path, name: str) -> Path:
    """A folder for a new case that does not exist yet."""
    plain = safe_name(name.replace("/", "-").replace("\\", "-")).replace(".", "-")
    place, number = root / plain, 2
    while place.exists():
        place, number = root / f"{plain} {number}", number + 1
    return place


def _write_case(folder: Path, file: CaseFile, form: FormData, root: Path) -> None:
    sent = form.get("layout_file")
    if isinstance(sent, UploadFile) and sent.filename:
        with tempfile.TemporaryDirectory() as place:
            layout = Path(place) / safe_name(sent.filename)
            write_lasting(layout, sent.file.read())
            write_new_case(folder, file, layout)
        return
    chosen = text_field(form, "layout", 16)
    found = next((one for one in read_known_layouts(root) if one.id == chosen), None)
    if found is None:
        raise CaseError(_NO_LAYOUT)
    write_new_case(folder, file, found.path)


def _form(request: Request, typed: Mapping[str, object], trouble: object) -> Response:
    return show(
        request,
        "new.html",
        400 if trouble else 200,
        typed=typed,
        trouble=trouble,
        layouts=read_known_layouts(desk_of(request).settings.root),
        sounds=sound_words().values(),
        whens=when_words().values(),
    )


def _chosen(form: FormData, name: str) -> tuple[str, ...]:
    return tuple(str(one) for one in form.getlist(name) if one)


ROUTES: tuple[BaseRoute, ...] = (
    Route("/", show_cases),
    Route("/new", show_new),
    Route("/new", takes_form(take_new, files=1), methods=["POST"]),
)
