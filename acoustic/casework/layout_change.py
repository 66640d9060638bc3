"""What a changed layout means for a case that was screened with the one before."""

from __future__ import annotations

import hashlib

from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import parse_drive
from acoustic.errors import DriveError


def layout_digest(content: bytes) -> str:
    """By what a layout is known again: SHA-256 in hex digits; of nothing where there is none."""
    return hashlib.sha256(content).hexdigest()


def layout_note(old: bytes, new: Drive) -> str:
    """What the history says of a change: parts that came and went, and what to do now."""
    try:
        before = set(parse_drive(old.decode("utf-8", "replace")).parts)
    except DriveError:
        before = set(new.parts)
    changes = [
        f"{word}: {', '.join(sorted(names))}"
        for word, names in (("new", new.parts.keys() - before), ("gone", before - new.parts.keys()))
        if names
    ]
    said = f" ({'; '.join(changes)})" if changes else ""
    return (
        f"The layout was changed{said}. Answers before this rest on the layout as it was; screen "
        "the case again."
    )
