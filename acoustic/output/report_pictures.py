"""The pictures of a report: drawn once, packed small, each with its words."""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from acoustic.drive.drive import Drive
from acoustic.output.change_picture import draw_change
from acoustic.output.drive_drawing import draw_drive
from acoustic.output.knock_picture import draw_knocks, find_knock_view
from acoustic.output.page_pieces import Element, data_address, element
from acoustic.output.palette import picture_style
from acoustic.output.picture import draw_screening, panel_edges
from acoustic.output.picture_words import (
    change_picture_words,
    drive_words,
    knock_words,
    orders_words,
    parts_words,
    points_words,
    sound_words,
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
    from PIL.Image import Image

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


def screening_pictures(screening: Screening, drive: Drive) -> tuple[ReportPicture, ...]:
    """The recording that says most: its sound, its orders, the parts compared.

    Drawn once and cut, so that each stands on paper in full width beside its own words.
    """
    if not screening.heard:
        return ()
    said = (
        (sound_words(screening), "The recording that says most. Ticks at the right edge stand "
         "where lines of a part must be, a letter for each part as below."),
        (orders_words(screening), "Level over the noise beside each line, which is the zero line; "
         "below it, where lines of each part must be."),
        (parts_words(screening), "The parts with the strongest sign for (+) and against (\u2212)."),
    )  # fmt: skip
    whole = _drawn(draw_screening(screening, drive))
    first, second = (round(share * whole.height) for share in panel_edges(screening, drive))
    edges = (0, first, second, whole.height)
    return tuple(
        _packed(whole.crop((0, top, whole.width, bottom)), words, caption)
        for (top, bottom), (words, caption) in zip(pairwise(edges), said, strict=True)
    )


def swelling_picture(screening: Screening) -> ReportPicture | None:
    """Where the sound swells with the leading suspect; None where it was not heard to."""
    view = find_swelling_view(screening)
    if view is None:
        return None
    caption = "The loudness of one band of the sound: how often it comes and goes."
    return _png(draw_swelling(view), swelling_words(view), caption)


def knock_picture(screening: Screening, drive: Drive) -> ReportPicture | None:
    """When in the engine cycle it knocks; None where no knocks are plainly there."""
    view = find_knock_view(screening, drive)
    if view is None:
        return None
    caption = "Knocks over one working cycle of the engine, further out the louder."
    return _png(draw_knocks(view), knock_words(view), caption)


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
    return _packed(_drawn(figure), alt, caption)


def _drawn(figure: Figure) -> Image:
    """The dots of a figure, in all colours; as raw bytes, which spares a detour over PNG."""
    from PIL.Image import frombytes

    raw = io.BytesIO()
    with picture_style():
        figure.savefig(raw, format="rgba", dpi=PAGE_DPI)
    width = int(figure.get_figwidth() * PAGE_DPI)
    size = (width, len(raw.getvalue()) // (4 * width))
    return frombytes("RGBA", size, raw.getvalue()).convert("RGB")


def _packed(dots: Image, alt: str, caption: str) -> ReportPicture:
    """Dots in as many colours as the eye needs here: a third of the room of all colours.

    As lines (SVG) each of these pictures took more room: their letters are outlines.
    """
    from PIL.Image import Dither, Quantize

    content = io.BytesIO()
    # An octree keeps the few colours of the drawing apart, and is the quickest way.
    few = dots.quantize(_COLOURS, Quantize.FASTOCTREE, dither=Dither.NONE)
    few.save(content, format="PNG")
    return ReportPicture(alt, caption, content.getvalue())
