"""Layouts that come with the program, to begin from."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from pathlib import Path

from acoustic.casework.lasting_files import read_whole

# In a wheel the samples lie beside this module; in a checkout they are where people look.
_PACKED = Path(__file__).parent / "layouts"
_SAMPLES = Path(__file__).parents[2] / "samples" / "layouts"

BLANK = """\
# Engine off, key out. Note which pulley the belt comes to next, beginning at the one that
# drives it; measure each pulley; look up or count what turns inside. Whatever is not known
# is left out: less will be predicted, nothing will be guessed.

schema = "drive-layout/1"

[engine]

[[belt]]
name = "main"

[[pulley]]
name = "crank pulley"
on = "crankshaft"

[[component]]
"""
"""A layout with everything still to be filled in."""


@dataclass(frozen=True, slots=True)
class ShippedLayout:
    """A layout to begin from: a word for addresses, its own name, its text, its file."""

    id: str
    name: str
    text: str
    path: Path


@functools.cache
def read_shipped_layouts() -> tuple[ShippedLayout, ...]:
    """All of them, by name of their files."""
    folder = _PACKED if _PACKED.is_dir() else _SAMPLES
    texts = [(path, read_whole(path).decode("utf-8")) for path in sorted(folder.glob("*.toml"))]
    return tuple(
        ShippedLayout(path.stem, tomllib.loads(text)["name"], text, path) for path, text in texts
    )
