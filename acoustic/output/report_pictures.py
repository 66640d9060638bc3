"""The pictures of a report: drawn once, packed small, each with its words."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from acoustic.drive.drive import Drive
from acoustic.output.change_picture import draw_change
from acoustic.output.drive_drawing import draw_drive
from acoustic.output.page_pieces import Element, data_address, element
from acoustic.output.palette import picture_style
from acoustic.output.picture import draw_screening
from acoustic.output.picture_words import (
    change_picture_words,
    drive_words,
    points_words,
    screening_words,
    swelling_words,
)
from acoustic.output.points_picture import draw_points
from acoustic.output.swelling_picture import draw_swelling, find_swelling_view
from acoustic.verdict.by_recording import by_recording
from acoustic.verdict.change_values import Change
from acoustic.verdict.suspects import Screening

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

PAGE_DPI = 165
"""4.4 in become 726 dots: two for each point of a phone 380 wide, 150 an inch on paper."""
_COLOURS = 256


@dataclass(frozen=True, slots=True)
class ReportPicture:
    """A picture as it goes into the page.

    Attributes
    ----------
    alt : str
        What it shows, in words.
    caption : str
    content : bytes
        PNG.
    """

    alt: str
    caption: str
    content: bytes


def screening_picture(screening: Screening, drive: Drive) -> ReportPicture | None:
    """The recording that says most: its sound, its orders, the parts compared."""
    if not screening.heard:
        return None
    caption = (
        "Sound, orders and parts of the recording that says most. Ticks at the right edge and "
        "in the rows below stand where lines of a part must be."
    )
    words = screening_words(screening)
    return _png(draw_screening(screening, drive), words, caption)


def swelling_picture(screening: Screening) -> ReportPicture | None:
    """Where the sound swells with the leading suspect; None where it was not heard to."""
    view = find_swelling_view(screening)
    if view is None:
        return None
    caption = "The loudness of one band of the sound: how often it comes and goes."
    return _png(draw_swelling(view), swelling_words(view), caption)


def points_picture(screening: Screening) -> ReportPicture | None:
    """Recordings against suspects; None where there are not two recordings to compare."""
    rows = by_recording(screening)
    if not rows or len(rows[0].each) < 2:
        return None
    caption = "What each recording says of each suspect."
    return _png(draw_points(screening), points_words(screening), caption)


def change_picture(change: Change) -> ReportPicture:
    """What the repair changed, family by family."""
    return _png(draw_change(change), change_picture_words(change), "Before and after.")


def drive_picture(drive: Drive, suspects: Sequence[str]) -> ReportPicture:
    """The drive with its suspects hatched."""
    words = drive_words(drive, suspects)
    return _png(draw_drive(drive, suspects), words, "The drive as the layout gives it.")


def picture_figure(picture: ReportPicture) -> Element:
    """The picture as an element of the page."""
    address = data_address("image/png", picture.content)
    return element(
        "figure",
        element("img", src=address, alt=picture.alt),
        element("figcaption", picture.caption),
    )


def _png(figure: Figure, alt: str, caption: str) -> ReportPicture:
    """Dots in as many colours as the eye needs here: a third of the room of all colours.

    As lines (SVG) each of these pictures took more room: their letters are outlines.
    """
    from PIL import Image
    from PIL.PngImagePlugin import PngImageFile

    drawn, content = io.BytesIO(), io.BytesIO()
    with picture_style():
        figure.savefig(drawn, format="png", dpi=PAGE_DPI, pil_kwargs={"compress_level": 0})
    drawn.seek(0)
    dots = PngImageFile(drawn).convert("RGB")
    # An octree keeps the few colours of the drawing apart, and is the quickest way.
    dots.quantize(_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
        content, format="PNG"
    )
    return ReportPicture(alt, caption, content.getvalue())
