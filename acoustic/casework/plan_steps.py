"""The steps of a plan: what to do, how long, with which cautions, and whether it is done."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from acoustic.casework.clip_length import recording_seconds
from acoustic.casework.plan_speeds import PlanSpeeds
from acoustic.drive.drive import Drive
from acoustic.recording.taken import Taken
from acoustic.tables.plan_words import PlanTable, StepRow

_IDLE_MARGIN = 0.05  # what idle wanders beyond the range of a warm engine
_HELD_MARGIN = 0.1
"""How far off a held speed may be and still show what it was chosen for (judgement)."""


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One step.

    Attributes
    ----------
    number : int
        From 1.
    kind : str
        Id of its row in the tables: ``"look"``, ``"hands"``, ``"idle"``, ``"held"``,
        ``"load"``, ``"point"``, ``"switch-off"``.
    title, do : str
    asks_for : Taken or None
        The recording asked for; None for a step without one.
    seconds : float
        Length of the recording. [s]
    minutes : float
        What the step takes in all. [min]
    why : tuple of str
        What it settles.
    cautions : tuple of str
    running : bool
        Whether the drive runs.
    done : bool
    """

    number: int
    kind: str
    title: str
    do: str
    asks_for: Taken | None
    seconds: float
    minutes: float
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    running: bool
    done: bool = False


@dataclass(frozen=True, slots=True)
class StepMaker:
    """Makes the steps of one drive's plan from the rows of the tables."""

    drive: Drive
    speeds: PlanSpeeds
    table: PlanTable
    done: tuple[Taken, ...]

    def checks(self, kind: str, why: Sequence[str], checks: str = "") -> PlanStep:
        """A step with nothing running and nothing recorded."""
        row = self.table.step_row(kind)
        return self._step(row, None, 0.0, why, {"checks": checks})

    def front(
        self, rpm: float, segment_turns: float, why: Sequence[str], when: Sequence[str] = ()
    ) -> PlanStep:
        """A recording in front of the drive, at idle or the held speed, all loads off."""
        row = self.table.step_row("idle" if rpm == self.speeds.idle_rpm else "held")
        said = "".join(f" {self.table.when[w].text}" for w in when if w in self.table.when)
        seconds = recording_seconds(segment_turns, rpm)
        return self._step(row, Taken(rpm=rpm), seconds, why, {"when": said})

    def load(self, switch: str, rpm: float, segment_turns: float, why: Sequence[str]) -> PlanStep:
        """A recording in front of the drive with one load on."""
        row, known = self.table.step_row("load"), self.drive.knowledge.switches[switch]
        how = self.table.load[switch].how if switch in self.table.load else known.how
        seconds = recording_seconds(segment_turns, rpm)
        step = Taken(rpm=rpm, loads=(switch,))
        return self._step(row, step, seconds, why, {"switch": switch, "how": how}, known.caution)

    def point(
        self, part: str, place: str, rpm: float, segment_turns: float, why: Sequence[str]
    ) -> PlanStep:
        """A recording at a part, the probe resting on a fixed place."""
        row = self.table.step_row("point")
        seconds = recording_seconds(segment_turns, rpm)
        wanted = Taken(point=part, contact=True, rpm=rpm)
        return self._step(row, wanted, seconds, why, {"part": part, "place": place})

    def switch_off(self, segment_turns: float, why: Sequence[str]) -> PlanStep:
        """A recording through the moment of switching off."""
        row, rpm = self.table.step_row("switch-off"), self.speeds.idle_rpm
        seconds = recording_seconds(segment_turns, rpm)
        return self._step(row, Taken(rpm=rpm, switched_off_s=seconds), seconds, why, {})

    def idle_only(self, switch: str) -> bool:
        """Whether a load must not be worked at a held speed."""
        return switch in self.table.load and self.table.load[switch].idle_only

    def _step(
        self,
        row: StepRow,
        wanted: Taken | None,
        seconds: float,
        why: Sequence[str],
        figures: dict[str, str],
        *further: str,
    ) -> PlanStep:
        motor = self.drive.engine.motor
        cautions = (*further, *self.table.cautions_of(row, motor))
        rpm = self.speeds.idle_rpm if wanted is None or wanted.rpm is None else wanted.rpm
        held = rpm > self.speeds.idle_rpm
        if held and row.running:
            cautions = tuple(dict.fromkeys((self.table.caution["held"].text, *cautions)))
        said = {
            "seconds": f"{seconds:.0f}",
            "rpm": f"{rpm:.0f}",
            "speed": _speed_words(rpm, held=held, motor=motor),
            **figures,
        }
        return PlanStep(
            number=0,
            kind=row.id,
            title=row.title.format(**said),
            do=row.do.format(**said),
            asks_for=wanted,
            seconds=seconds,
            minutes=row.minutes + seconds / 60.0,
            why=tuple(why),
            cautions=cautions,
            running=row.running,
            done=wanted is not None and self._is_done(wanted),
        )

    def _is_done(self, wanted: Taken) -> bool:
        return any(fulfils(taken, wanted, self.drive) for taken in self.done)


def fulfils(taken: Taken, wanted: Taken, drive: Drive) -> bool:
    """Whether a recording is the one a step asks for.

    Same point, loads and stage; resting on a solid part where that is asked for; at idle
    anywhere in the idle range, else within a tenth of the speed. A recording of unknown
    speed fulfils nothing: fill in the heard speed first.
    """
    if taken.rpm is None or wanted.rpm is None:
        return False
    low, high = drive.engine.idle_rpm
    if low <= wanted.rpm <= high:
        near = low * (1 - _IDLE_MARGIN) <= taken.rpm <= high * (1 + _IDLE_MARGIN)
    else:
        near = abs(taken.rpm / wanted.rpm - 1) <= _HELD_MARGIN
    return (
        near
        and taken.point == wanted.point
        and set(taken.loads) == set(wanted.loads)
        and taken.stage == wanted.stage
        and (taken.contact or not wanted.contact)
        and (taken.switched_off_s is None) == (wanted.switched_off_s is None)
    )


def still_open(
    steps: Iterable[PlanStep], done: Sequence[Taken], drive: Drive
) -> tuple[PlanStep, ...]:
    """Steps that ask for a recording which none of those taken is."""
    return tuple(
        step
        for step in steps
        if step.asks_for is not None
        and not any(fulfils(taken, step.asks_for, drive) for taken in done)
    )


def step_meant(taken: Taken, steps: Iterable[PlanStep], drive: Drive) -> PlanStep | None:
    """The step whose recording this would be at another speed, the nearest speed first.

    None for a recording of unknown speed, and where no step asks for its point and loads.
    """
    rpm = taken.rpm
    if rpm is None:
        return None
    meant = [
        (abs(math.log(rpm / step.asks_for.rpm)), step.number, step)
        for step in steps
        if step.asks_for is not None
        and step.asks_for.rpm is not None
        and fulfils(replace(taken, rpm=step.asks_for.rpm), step.asks_for, drive)
    ]
    return min(meant, key=lambda one: one[:2])[2] if meant else None


def in_order(steps: Iterable[PlanStep]) -> tuple[PlanStep, ...]:
    """Number the steps as they stand."""
    return tuple(replace(step, number=k) for k, step in enumerate(steps, start=1))


def _speed_words(rpm: float, *, held: bool, motor: bool) -> str:
    if held:
        return f"held at {rpm:.0f} rpm"
    return f"at its usual {rpm:.0f} rpm" if motor else f"at idle, about {rpm:.0f} rpm"
