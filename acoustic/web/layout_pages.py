"""The layout of a case: one to begin from is picked, a form or the text is filled in, saved.

The text of the layout file travels with the form, so nothing is kept between two requests
and nothing is written before "Save".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import unquote

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_folder import read_case_file
from acoustic.casework.case_writes import write_layout
from acoustic.casework.lasting_files import read_whole
from acoustic.casework.layout_change import layout_digest
from acoustic.drive.faults import Fault, KeyPath
from acoustic.drive.toml_edits import EditError, with_row, without_row
from acoustic.drive.typed_file import text_of
from acoustic.errors import CaseError, DriveError
from acoustic.tables.knowledge import Knowledge, load_knowledge
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.known_layouts import read_known_layouts
from acoustic.web.layout_fields import FormGroup, FormRows, form_of, mark_of, rows_in
from acoustic.web.layout_look import is_toml, look_at_form, look_at_text
from acoustic.web.layout_typed import with_typed
from acoustic.web.pages import go_to, show, takes_form
from acoustic.web.shipped_layouts import BLANK, read_shipped_layouts

_MOST_FIELDS = 5000
_LONGEST_FORM = 30_000  # signs; longer ones are edited as text
_LEFT = (
    "was left as it was: there are comments in it that a form would lose. Change it in the text."
)
_NO_TEXT = "The layout could not be read, so this begins with an empty one. {reason}"
_NO_FORM = "This cannot be shown as a form: mend the text first."
_TOO_LONG = "This layout is too long for a form. Change it in the text."


@dataclass(frozen=True, slots=True)
class Sheet:
    """A layout on its way through the pages.

    Attributes
    ----------
    text : str
        Of the layout file, as edited so far.
    seen : str
        Digest of the case's own layout when the editing began.
    as_text : bool
        Shown as text, not as a form.
    begun_from : str
        Name of the layout picked to begin from; empty for the case's own.
    remark : str
        Something to say at the top.
    also : tuple of Fault
        Told beside what is wrong with the layout.
    quiet : tuple
        Place of a row just added.
    focus : str
        Mark of what the cursor goes to.
    """

    text: str
    seen: str
    as_text: bool = False
    begun_from: str = ""
    remark: str = ""
    also: tuple[Fault, ...] = ()
    quiet: KeyPath = ()
    focus: str = ""


def show_layout(request: Request) -> Response:
    """The case's own layout, or the one picked to begin from."""
    place, asked = case_asked(request), request.query_params
    sheet = _own_sheet(place)
    if "from" in asked:
        name, text = _picked(desk_of(request).settings.root, asked["from"])
        sheet = replace(sheet, text=text, begun_from=name, remark="")
    if asked.get("saved"):
        sheet = replace(sheet, remark=_saved(asked["saved"]))
    return _page(request, place, replace(sheet, as_text=asked.get("as") == "text"))


def take_layout(request: Request, form: FormData) -> Response:
    """Whatever was pressed: draw, save, add or take out a row, change to text or form."""
    place = case_asked(request)
    typed = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    sheet = _sheet_of(typed)
    do = typed.get("do", "draw")
    if do == "save":
        return _save(request, place, sheet)
    if do in {"text", "form"}:
        return _page(request, place, replace(sheet, as_text=do == "text"))
    if do.startswith(("add ", "remove ")):
        sheet = _with_rows(sheet, do)
    return _page(request, place, sheet)


# ------------------------------------------------------------------ from request to sheet


def _own_sheet(place: Path) -> Sheet:
    path = place / read_case_file(place).layout
    seen = layout_digest(read_whole(path))
    try:
        text = _text_in(path)
    except DriveError as error:
        return Sheet(BLANK, seen, remark=_NO_TEXT.format(reason=error))
    if not text.strip():
        return Sheet(BLANK, seen, remark=_NO_TEXT.format(reason="It is missing or empty."))
    return Sheet(text, seen)


def _text_in(path: Path) -> str:
    try:
        return text_of(read_whole(path), path.name, "layout")
    except ValueError as error:
        raise DriveError(str(error)) from None


def _picked(root: Path, id_: str) -> tuple[str, str]:
    """Name and text of a layout to begin from; none is found by a path."""
    if id_ == "blank":
        return "an empty layout", BLANK
    for shipped in read_shipped_layouts():
        if shipped.id == id_:
            return shipped.name, shipped.text
    for known in read_known_layouts(root):
        if known.id == id_:
            return known.name, _text_in(known.path)
    raise HTTPException(404, "There is no such layout to begin from.")


def _picks(request: Request, seen: str) -> list[tuple[str, str]]:
    """Address and words of each layout to begin from, where one is asked for."""
    if request.method != "GET":
        return []
    root = desk_of(request).settings.root
    known = [one for one in read_known_layouts(root) if one.id != seen[: len(one.id)]]
    return [
        ("blank", "An empty layout"),
        *((one.id, f"Sample: {one.name}") for one in read_shipped_layouts()),
        *((one.id, f"{one.met}: {one.name}") for one in known),
    ]


def _saved(how: str) -> str:
    if how == "noted":
        return (
            "Saved, and noted in the history: what was screened before rests on the layout as it "
            "was. Screen the case again."
        )
    return "Saved."


def _sheet_of(typed: Mapping[str, str]) -> Sheet:
    """The sheet with everything typed in its text."""
    base = typed.get("base", "").replace("\r\n", "\n")
    begun_from, seen = typed.get("begun_from", "")[:200], typed.get("seen", "")
    if typed.get("mode") == "text" or not is_toml(base):
        text = typed.get("text", base).replace("\r\n", "\n")
        return Sheet(text, seen, as_text=True, begun_from=begun_from)
    if len(base) > _LONGEST_FORM:
        return Sheet(base, seen, as_text=True, begun_from=begun_from, remark=_TOO_LONG)
    edited = with_typed(base, typed, load_knowledge())
    also = tuple(Fault(path, _LEFT) for path in edited.refused)
    return Sheet(edited.text, seen, begun_from=begun_from, also=also)


def _with_rows(sheet: Sheet, do: str) -> Sheet:
    """The sheet with a row more or less; or, where a comment would be lost, as it was."""
    word, _, mark = do.partition(" ")
    lists = rows_in(form_of(sheet.text, load_knowledge()))
    path = tuple(int(key) if key.isdigit() else unquote(key) for key in mark.split("/")[1:])
    try:
        if word == "add" and path in lists:
            row = (*path, len(lists[path].rows))
            text = with_row(sheet.text, path)
            return replace(sheet, text=text, quiet=row, focus=mark_of(row))
        if word == "remove" and path in {row.path for one in lists.values() for row in one.rows}:
            text = without_row(sheet.text, path)
            return replace(sheet, text=text, focus=f"add {mark_of(path[:-1])}")
    except EditError:
        return replace(sheet, also=(*sheet.also, Fault(path, _LEFT)))
    raise HTTPException(400, "There is no such row in this layout. Load the page again.")


def _save(request: Request, place: Path, sheet: Sheet) -> Response:
    if sheet.also:
        return _page(request, place, sheet, 422)
    try:
        event = write_layout(place, sheet.text, sheet.seen, datetime.now(UTC))
    except DriveError:
        return _page(request, place, sheet, 422)
    except CaseError as error:
        return _page(request, place, replace(sheet, remark=str(error)), 409)
    word = "noted" if event is not None else "yes"
    kept = "&as=text" if sheet.as_text else ""
    return go_to(f"/case/{request.path_params['case']}/layout?saved={word}{kept}")


# ------------------------------------------------------------------ from sheet to page


def _page(request: Request, place: Path, sheet: Sheet, status: int = 200) -> Response:
    knowledge, file = load_knowledge(), read_case_file(place)
    if not sheet.as_text and (len(sheet.text) > _LONGEST_FORM or not is_toml(sheet.text)):
        said = _NO_FORM if not is_toml(sheet.text) else _TOO_LONG
        sheet = replace(sheet, as_text=True, remark=sheet.remark or said)
    form = None if sheet.as_text else form_of(sheet.text, knowledge)
    look = (
        look_at_text(sheet.text, file.layout)
        if form is None
        else look_at_form(sheet.text, form, sheet.also, sheet.quiet)
    )
    return show(
        request, "layout.html" if form else "layout_text.html", status,
        address=f"/case/{request.path_params['case']}", title=file.title, file=file.layout,
        sheet=sheet, look=look, form=form, opened=_opened(look.said, sheet.focus),
        suggested=_suggested(form, knowledge), picks=_picks(request, sheet.seen),
        refused=status != 200,
    )  # fmt: skip


def _opened(said: Mapping[str, object], focus: str) -> frozenset[str]:
    """Marks of what must not be folded away: what is to be mended and what was just added."""
    marks = [*said, focus]
    return frozenset(
        "/".join(mark.split("/")[:end]) for mark in marks for end in range(1, mark.count("/") + 2)
    )


def _suggested(form: FormGroup | None, knowledge: Knowledge) -> dict[str, list[str]]:
    """Words to choose from where a name is asked for."""
    names = [] if form is None else _names(form, {"shaft", "pulley", "component"})
    pulleys = [] if form is None else _names(form, {"pulley"})
    if form is not None:
        pulleys += _names(form, {"component"}, with_pulley=True)
    return {
        "names": ["crankshaft", *names],
        "pulleys": pulleys,
        "bearings": sorted(knowledge.bearings),
    }


def _names(form: FormGroup, lists: set[str], with_pulley: bool = False) -> list[str]:
    found = []
    for item in form.items:
        if isinstance(item, FormRows) and item.path[-1] in lists:
            for row in item.rows:
                fields = {one.path[-1]: one for one in row.items}
                own = fields.get("pulley")
                if with_pulley and not (isinstance(own, FormGroup) and own.there):
                    continue
                name = getattr(fields.get("name"), "text", "")
                found += [name] if name else []
    return found


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}/layout", show_layout),
    Route("/case/{case}/layout", takes_form(take_layout, fields=_MOST_FIELDS), methods=["POST"]),
)
