"""Layouts a new case may start from: a folder of layouts, the newest cases', the samples."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from acoustic.casework.case_file import LAYOUT_FILE
from acoustic.casework.case_index import read_cases
from acoustic.casework.lasting_files import read_whole
from acoustic.web.shipped_layouts import read_shipped_layouts

LAYOUTS_FOLDER = "layouts"
"""Folder beside the cases for layouts to start from."""

_MOST_CASES = 50
_MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class KnownLayout:
    """A layout file there is: a number for forms, its own name, where it was met."""

    id: str
    name: str
    met: str
    path: Path


def read_known_layouts(root: Path) -> tuple[KnownLayout, ...]:
    """List the layouts there are under a folder of cases, each content once."""
    known: dict[str, KnownLayout] = {}
    for path, met in _places(root):
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            continue
        content = read_whole(path)
        number = hashlib.sha256(content).hexdigest()[:16]
        if number not in known:
            known[number] = KnownLayout(number, _name_of(content) or path.name, met, path)
    return tuple(known.values())


def _places(root: Path) -> Iterator[tuple[Path, str]]:
    folder = root / LAYOUTS_FOLDER
    for path in sorted(folder.glob("*.toml")) if folder.is_dir() else []:
        yield path, path.name
    for row in read_cases(root)[:_MOST_CASES]:
        if not row.problem:
            yield root / row.folder / LAYOUT_FILE, row.title
    for shipped in read_shipped_layouts():
        yield shipped.path, "sample that comes with the program"


def _name_of(content: bytes) -> str:
    try:
        return str(tomllib.loads(content.decode("utf-8")).get("name", ""))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        return ""
