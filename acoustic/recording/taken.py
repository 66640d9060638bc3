"""How a recording was taken: where the phone was, how fast, with which loads on, when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LOWEST_RPM, HIGHEST_RPM = 50.0, 20000.0
"""Speeds that any engine known here may turn at. [1/min]"""

Stage = Literal["before", "after", "healthy"]
"""Before the repair, after it, or a sound drive recorded as a reference."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What a person knows of a recording that its samples do not tell.

    Attributes
    ----------
    point : str
        Part of the layout the phone or probe was at; empty is one place in front of the
        drive.
    contact : bool
        Resting on a solid part, not held in the air.
    rpm : float or None
        Crankshaft speed as stated; None to have it heard. [1/min]
    loads : tuple of str
        Ids of the loads that were switched on (``[[switch]]`` of the tables), sorted.
    stage : str
        ``"before"`` the repair, ``"after"`` it, or of a drive known to be ``"healthy"``.
    take : int
        Which of several alike, from 1.
    device : str
        What it was recorded with; empty if not said.
    switched_off_s : float or None
        Second of the clip at which the engine is switched off. [s]
    """

    point: str = ""
    contact: bool = False
    rpm: float | None = None
    loads: tuple[str, ...] = ()
    stage: Stage = "before"
    take: int = 1
    device: str = ""
    switched_off_s: float | None = None


IN_FRONT = Taken()
"""One place in front of the drive, no loads switched on: what is not said."""
