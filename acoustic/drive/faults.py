"""Faults of a layout, gathered so that all are told at once, with their place.

A fault knows its place as the keys that lead to it, so that whoever read the file can
add the line number.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field

KeyPath = tuple[str | int, ...]
LAYOUT_KEYS = frozenset({"name", "note", "schema"})
"""Keys at the top of a layout that are values, not tables."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a layout.

    `path` leads to the key: ``("pulley", 1, "diameter_mm")``. `message` is one or more
    sentences: what is wrong and what to do next. `missing` is a key that should stand in the
    table at `path` and does not.
    """

    path: KeyPath
    message: str
    missing: str = ""


@dataclass(slots=True)
class Faults:
    """A growing list of faults; `add` never raises, so that work can go on."""

    found: list[Fault] = field(default_factory=list)

    def add(self, path: KeyPath, message: str) -> None:
        """Note a fault once."""
        fault = Fault(path, message)
        if fault not in self.found:
            self.found.append(fault)


def place_of(path: KeyPath, values: Collection[str] = LAYOUT_KEYS) -> str:
    """Name a place as a person finds it: ``[pulley 2] diameter_mm``.

    `values` are the keys at the top of the file that are no tables.

    Examples
    --------
    >>> place_of(("pulley", 1, "diameter_mm"))
    '[pulley 2] diameter_mm'
    >>> place_of(("component", 0, "bearings", 1, "designation"))
    '[component 1] bearings 2 designation'
    """
    if not path:
        return ""
    words = [str(key + 1) if isinstance(key, int) else key for key in path]
    if path[0] in values:
        return " ".join(words)
    head = 2 if len(path) > 1 and isinstance(path[1], int) else 1
    return " ".join([f"[{' '.join(words[:head])}]", *words[head:]])


def report_of(
    faults: Iterable[Fault],
    where: str,
    line_of: Callable[[KeyPath], int | None],
    values: Collection[str] = LAYOUT_KEYS,
) -> str:
    """All faults as text, one line each, in the order of the file.

    A message that begins with ``= value`` follows its key directly. `values` as in
    `place_of`.
    """
    placed = [(line_of(fault.path), fault) for fault in faults]
    placed.sort(key=lambda pair: (pair[0] is None, pair[0] or 0))
    return "\n".join(
        f"{where if line is None else f'{where}:{line}'}: {sentence_of(fault, values)}"
        for line, fault in placed
    )


def sentence_of(fault: Fault, values: Collection[str] = LAYOUT_KEYS) -> str:
    """A fault with its place in front, as a person reads it.

    >>> sentence_of(Fault(("pulley", 1, "diameter_mm"), "= -5: must be greater than 0."))
    '[pulley 2] diameter_mm = -5: must be greater than 0.'
    """
    place = place_of(fault.path, values)
    join = " " if fault.message.startswith("= ") else ": "
    return f"{place}{join}{fault.message}" if place else fault.message


def did_you_mean(name: str, known: Iterable[str], also: Iterable[str] = ()) -> str:
    """End of a sentence about an unknown name: the nearest known one, or all of them.

    Names of `also` may be the nearest, but are not listed.

    Examples
    --------
    >>> did_you_mean("altenator", ["alternator", "idler"])
    "Did you mean 'alternator'?"
    """
    known = sorted(known)
    near = difflib.get_close_matches(name, [*known, *also], n=1, cutoff=0.6)
    if near:
        return f"Did you mean {near[0]!r}?"
    return f"Known: {', '.join(known) or 'none'}."
