"""What came by a customer's link: one line for each recording, on the disk before it is told.

The lines stand in ``links/NAME.jsonl`` of the case. How much may come by one link is counted
here, while nobody else sends by it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pydantic import AwareDatetime, TypeAdapter, ValidationError

from acoustic.casework.case_folder import LINKS
from acoustic.casework.lasting_files import read_whole, write_locked
from acoustic.errors import CaseError

MOST_CLIPS = 60
"""Recordings taken by one link: five times the longest plan."""

MOST_BYTES = 2_000_000_000
"""All recordings of one link together. [byte]"""

_NAME = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True, slots=True)
class Receipt:
    """One recording that came by a link.

    Attributes
    ----------
    clip : str
        First 16 hex digits of the SHA-256 of its content.
    original : str
        Name of the file as it came.
    size_bytes : int
    time : datetime
        When it was kept.
    asked : str
        Title of the step of the plan it was sent for; empty for any other.
    """

    clip: str
    original: str
    size_bytes: int
    time: AwareDatetime
    asked: str = ""


def is_link_name(name: str) -> bool:
    """Whether a link may be called so, and files after it."""
    return _NAME.fullmatch(name) is not None


def read_receipts(folder: Path, link: str) -> tuple[Receipt, ...]:
    """What came by a link, oldest first; a line that a cut left half written is left out."""
    found = []
    for line in read_whole(_place(folder, link)).split(b"\n"):
        try:
            found.append(TypeAdapter(Receipt).validate_json(line))
        except ValidationError:
            continue  # never told to anybody: it is told only when the line is whole
    return tuple(found)


def write_receipt(
    folder: Path, link: str, size_bytes: int, keep: Callable[[], Receipt]
) -> tuple[Receipt, bool]:
    """Keep a recording that came by a link, and a receipt of it.

    Parameters
    ----------
    folder : Path
        Of the case.
    link : str
        Name of the link.
    size_bytes : int
        Of the recording.
    keep : callable
        Keeps the recording itself; its receipt is written after it.

    Returns
    -------
    receipt : Receipt
    again : bool
        True if the same recording had come by this link before.

    Raises
    ------
    CaseError
        If no more is taken by this link. Nothing was kept then.
    """
    place = _place(folder, link)
    with write_locked(place) as file:
        before = read_receipts(folder, link)
        _require_room(before, size_bytes)
        new = keep()
        for one in before:
            if one.clip == new.clip:
                file.write_through()
                return one, True
        torn = read_whole(place)[-1:] not in {b"", b"\n"}
        line = TypeAdapter(Receipt).dump_json(new, ensure_ascii=True)
        file.write_added((b"\n" if torn else b"") + line + b"\n")
    return new, False


def _require_room(before: tuple[Receipt, ...], size_bytes: int) -> None:
    if len(before) >= MOST_CLIPS:
        raise CaseError(
            f"{len(before)} recordings came by this link, and no more are taken. Ask whoever sent "
            "you the link for a new one."
        )
    if sum(one.size_bytes for one in before) + size_bytes > MOST_BYTES:
        raise CaseError(
            f"More than {MOST_BYTES / 1e9:.0f} GB would have come by this link, and no more is "
            "taken. Send the sound alone instead of videos, or ask for a new link."
        )


def _place(folder: Path, link: str) -> Path:
    if not is_link_name(link):
        raise ValueError(f"no name of a link: {link!r}")
    return folder / LINKS / f"{link}.jsonl"
