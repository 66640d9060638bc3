"""At which speeds to record: idle, and the lowest held one that shows what can be shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.casework.telling_lines import Audible, lowest_rpm
from acoustic.drive.drive import Drive

_SPEED_STEP_RPM = 100.0
_ENOUGH = 0.9
"""Share of what the fastest permitted speed would show at which a slower one will do: noise,
heat and danger grow with the speed (judgement)."""
_LEAST_RISE = 1.5
"""Least ratio of held speed to idle: less and a tone that stays put may be taken for one that
follows (judgement)."""


@dataclass(frozen=True, slots=True)
class PlanSpeeds:
    """Speeds of the plan. [1/min]

    `held_rpm` is None where the working range leaves no room for a second speed.
    """

    idle_rpm: float
    held_rpm: float | None

    @property
    def highest_rpm(self) -> float:
        """The fastest of them."""
        return self.idle_rpm if self.held_rpm is None else self.held_rpm


def choose_speeds(drive: Drive, weighed: Sequence[tuple[Audible, float]]) -> PlanSpeeds:
    """Choose idle and a held speed for what is in question.

    Parameters
    ----------
    drive : Drive
    weighed : sequence of (Audible, float)
        Each way of each part in question with its share in the part.
    """
    engine = drive.engine
    idle = sum(engine.idle_rpm) / 2
    lowest = max(_LEAST_RISE * idle, engine.working_rpm[0])
    highest = engine.working_rpm[1]
    if highest < lowest:
        return PlanSpeeds(idle, highest if highest > engine.idle_rpm[1] else None)
    enough = _ENOUGH * shown_at(weighed, highest)
    rpm = _SPEED_STEP_RPM * -(-lowest // _SPEED_STEP_RPM)
    while rpm < highest and shown_at(weighed, rpm) < enough:
        rpm += _SPEED_STEP_RPM
    return PlanSpeeds(idle, min(rpm, highest))


def shown_at(weighed: Sequence[tuple[Audible, float]], rpm: float) -> float:
    """How many of the ways in question show a likely tone to a phone at this speed, by weight.

    A way counts by the chance that any of its tones is there. Swelling and noises are heard
    at any speed, and so do not count here.
    """
    total = 0.0
    for one, weight in weighed:
        tones = [line for line in one.clear if not line.in_envelope and rpm >= lowest_rpm(line)]
        total += weight * (1.0 - math.prod(1.0 - line.probability for line in tones))
    return total
