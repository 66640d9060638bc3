"""Pieces of a page: elements whose texts are escaped because they are texts.

A page is a tree of elements. Whatever is a plain string in it is written escaped, so that no
name from a layout, a file or a history can become a tag, however it is spelled.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import TypeAlias

_SHORT, _LONG_WORD = 7, 24  # characters
_WITHOUT_END = frozenset({"img", "meta", "wbr"})
_UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control signs, those that turn the direction of writing, and halves of signs."""


@dataclass(frozen=True, slots=True)
class Element:
    """A tag with its attributes and what stands in it."""

    tag: str
    children: tuple[Piece, ...] = ()
    attributes: tuple[tuple[str, str], ...] = ()


Piece: TypeAlias = Element | str


def element(tag: str, *children: Piece, **attributes: str) -> Element:
    """Make an element; underscores in attribute names become hyphens, one at the end goes."""
    named = tuple((name.rstrip("_").replace("_", "-"), value) for name, value in attributes.items())
    return Element(tag, children, named)


def render(piece: Piece) -> str:
    """Write a piece as HTML.

    >>> render(element("p", "a < b", class_='"x"'))
    '<p class="&quot;x&quot;">a &lt; b</p>'
    """
    if isinstance(piece, str):
        return escape(fit_text(piece))
    said = "".join(f' {name}="{escape(fit_text(value))}"' for name, value in piece.attributes)
    if piece.tag in _WITHOUT_END:
        return f"<{piece.tag}{said}>"
    return f"<{piece.tag}{said}>{''.join(map(render, piece.children))}</{piece.tag}>"


def paragraphs(sentences: Iterable[str], class_: str = "") -> list[Piece]:
    """One paragraph for each sentence that is not empty."""
    kind = {"class_": class_} if class_ else {}
    return [element("p", one, **kind) for one in sentences if one]


def listed(entries: Sequence[Piece], tag: str = "ul") -> list[Piece]:
    """A list, or nothing where there are no entries; `tag` is ``"ul"`` or ``"ol"``."""
    return [element(tag, *(element("li", one) for one in entries))] if entries else []


def table(caption: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[Piece]:
    """A table whose first column names its rows; nothing where there are no rows."""
    if not rows:
        return []
    top = element("tr", *(element("th", cell, scope="col") for cell in head))
    body = [
        element("tr", element("th", *_breaking(first), scope="row"), *map(_cell, rest))
        for first, *rest in rows
    ]
    whole = element(
        "table", element("caption", caption), element("thead", top), element("tbody", *body)
    )
    # A table wider than a phone is moved under the thumb, and with the keyboard.
    return [element("div", whole, class_="wide", tabindex="0", role="region", aria_label=caption)]


def _breaking(text: str) -> Iterator[Piece]:
    """The text, to be broken after the underscores of a file's name."""
    *whole, last = text.split("_")
    for one in whole:
        yield f"{one}_"
        yield element("wbr")
    yield last


def _cell(text: str) -> Element:
    """A figure stays in one line; a word longer than a phone is broken anywhere."""
    if len(text) <= _SHORT:
        return element("td", text, class_="figure")
    longest = max(map(len, text.split()), default=0)
    return element("td", text, class_="long") if longest > _LONG_WORD else element("td", text)


def data_address(media_type: str, content: bytes) -> str:
    """Content as an address that needs no network (RFC 2397)."""
    return f"data:{media_type};base64,{base64.b64encode(content).decode('ascii')}"


def fit_text(text: str) -> str:
    """Text without control signs and those that turn the direction of writing."""
    return _UNFIT.sub("\ufffd", text)
