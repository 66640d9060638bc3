"""Sentences of the commands as a page says them: without where the cases lie on this machine."""

from __future__ import annotations

from pathlib import Path


def without_place(said: str, root: Path) -> str:
    """A sentence in which folders are named from `root` on.

    >>> without_place("cases/bus/case.toml: is damaged.", Path("cases"))
    'bus/case.toml: is damaged.'
    """
    for place in dict.fromkeys((str(root.resolve()), str(root))):
        said = said.replace(f"{place}/", "").replace(place, root.name)
    return said
