"""What a layout's text looks like: drawn if it holds, else what is to be mended and where."""

from __future__ import annotations

import functools
import re
import threading
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from markupsafe import Markup

from acoustic.drive.drive import Drive
from acoustic.drive.faults import Fault, KeyPath, sentence_of
from acoustic.drive.layout_file import check_layout
from acoustic.errors import DriveError
from acoustic.output.page_pieces import render
from acoustic.output.report_pictures import drive_picture, picture_figure
from acoustic.web.layout_fields import FormGroup, marks_in

_LINE = re.compile(r":(\d+):")
_DRAWING = threading.Lock()  # styles and fonts of pictures are shared by the whole process


@dataclass(frozen=True, slots=True)
class Mend:
    """One thing to mend: the sentence, and the mark of the field it concerns."""

    sentence: str
    mark: str
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Look:
    """A layout's text looked at.

    Attributes
    ----------
    drawing : Markup
        The drive as a figure; empty if something is to be mended first.
    notes : tuple of str
        What could be predicted if more were known.
    mends : tuple of Mend
        In the order of the file.
    said : mapping of str to tuple of str
        The same by mark, as said beside the field.
    """

    drawing: Markup = field(default_factory=Markup)
    notes: tuple[str, ...] = ()
    mends: tuple[Mend, ...] = ()
    said: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def count_under(self, mark: str) -> int:
        """How much is to be mended at a mark and below it."""
        return sum(one.mark == mark or one.mark.startswith(f"{mark}/") for one in self.mends)


def look_at_text(text: str, name: str) -> Look:
    """Look at a text as a text: what is to be mended is told by its line."""
    try:
        checked = check_layout(text, name)
    except DriveError as error:
        return Look(mends=tuple(_mend_of_line(line) for line in str(error).splitlines()))
    if checked.drive is not None:
        return _drawn(text)
    return Look(mends=tuple(_mend_of_line(line) for line in checked.report(name).splitlines()))


def look_at_form(
    text: str, form: FormGroup, also: Iterable[Fault] = (), quiet: KeyPath = ()
) -> Look:
    """Look at a text as a form: what is to be mended is told by its field.

    Parameters
    ----------
    text : str
        TOML.
    form : FormGroup
        The form of it.
    also : iterable of Fault
        Told beside what is wrong with the layout.
    quiet : tuple
        Place of a row just added, of which nothing is told yet.
    """
    checked = check_layout(text, "layout")
    faults = [*also, *checked.faults]
    if checked.drive is not None and not faults:
        return _drawn(text)
    marks = dict(marks_in(form))
    told = [one for one in faults if not quiet or one.path[: len(quiet)] != quiet]
    placed = [(fault, _nearest(fault, marks)) for fault in told]
    said: dict[str, tuple[str, ...]] = {}
    for fault, mark in placed:
        own = marks.get(_whole(fault)) == mark
        sentence = fault.message if own else sentence_of(fault)
        said[mark] = (*said.get(mark, ()), sentence)
    drawn = _drawn(text) if checked.drive is not None else Look()
    mends = tuple(Mend(sentence_of(fault), mark) for fault, mark in placed)
    return Look(drawn.drawing, drawn.notes, mends, said)


def is_toml(text: str) -> bool:
    """Whether a form can be made of a text at all."""
    try:
        tomllib.loads(text)
    except (ValueError, RecursionError):
        return False
    return True


def _whole(fault: Fault) -> KeyPath:
    return (*fault.path, fault.missing) if fault.missing else fault.path


def _nearest(fault: Fault, marks: Mapping[KeyPath, str]) -> str:
    path = _whole(fault)
    while path not in marks:
        path = path[:-1]
    return marks[path]


def _mend_of_line(sentence: str) -> Mend:
    line = _LINE.search(sentence)
    return Mend(sentence, "text", int(line[1]) if line else None)


@functools.lru_cache(maxsize=32)
def _drawn(text: str) -> Look:
    drive = check_layout(text, "layout").drive
    assert drive is not None  # noqa: S101 - the caller looked
    return Look(_drawing_of(drive), drive.notes)


def _drawing_of(drive: Drive) -> Markup:
    with _DRAWING:
        picture = drive_picture(drive, ())
    return Markup(render(picture_figure(picture)))  # noqa: S704 - escaped by its pieces
