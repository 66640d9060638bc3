"""What is gathered while a layout is read through: links, unknowns, pulley sizes, notes."""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.drive.drive import SharedUnknown
from acoustic.drive.faults import Faults
from acoustic.drive.layout import Layout
from acoustic.drive.places import Places
from acoustic.drive.shafts import Link
from acoustic.tables.knowledge import Knowledge


@dataclass(frozen=True, slots=True)
class PulleySize:
    """Pitch diameter of a pulley and how sure it is."""

    pitch_mm: float
    tolerance: float
    measured: str
    line_slope: float
    """d(ln pitch diameter) per relative error of the line differential."""


@dataclass(slots=True)
class Linking:
    """Gathers links and unknowns while a layout is read through."""

    layout: Layout
    places: Places
    knowledge: Knowledge
    faults: Faults
    links: list[Link]
    unknowns: dict[str, SharedUnknown]
    sizes: dict[str, PulleySize]
    notes: list[str]

    def know(self, unknown: SharedUnknown) -> str:
        """Keep an unknown; returns its name."""
        return self.unknowns.setdefault(unknown.name, unknown).name
