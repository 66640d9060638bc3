"""What the pages of a case show, gathered once for each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from acoustic.casework.case_answer import (
    checks_done,
    is_answered,
    outcomes_of,
)
from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.casework.history import (
    AnswerShown,
    Event,
    GateAnswer,
    LinkMade,
    ScreeningMade,
)
from acoustic.casework.next_checks import RankedCheck, nobody
from acoustic.casework.plan import Plan
from acoustic.casework.plan_steps import PlanStep, fulfils
from acoustic.casework.repair_choice import RepairChoice
from acoustic.drive.drive import Drive
from acoustic.output.case_text import event_text, taken_in_full
from acoustic.output.points_text import taken_text
from acoustic.output.wording import probability_text
from acoustic.recording.taken import Taken
from acoustic.verdict.belief import Belief
from acoustic.web.desk import Desk, case_key
from acoustic.web.waiting import (
    PAGE_FOLDER,
    RefusedClip,
    WaitingClip,
    clip_id,
    read_refused,
    read_waiting,
)
from acoustic.web.work import REPORT_FILE, WorkState

_MOST_RANKED = 5
_LEAST_RANKED = 0.02


@dataclass(frozen=True, slots=True)
class RankedPart:
    """A part in the ranking: how likely it is faulty, in a figure and in words."""

    name: str
    probability: float
    words: str


@dataclass(frozen=True, slots=True)
class ClipRow:
    """A recording of the case in a list: its number, name, how it was taken, what the gate said."""

    id: str
    event_id: int
    name: str
    taken: str
    stage: str
    gate: GateAnswer | None


@dataclass(frozen=True, slots=True)
class WayRecorded:
    """A way of recording used before the repair, and how many takes there are of it."""

    taken: Taken
    words: str
    before: int
    after: int

    @property
    def there(self) -> bool:
        """Whether it was used as often after the repair as before."""
        return self.after >= self.before


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """Something that happened, in a few words."""

    number: int
    time: datetime
    kind: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class CaseView:
    """A case as its pages show it.

    Attributes
    ----------
    key : str
        Of the case in addresses.
    headline : str
        Of the newest answer; empty before the first.
    ranking : tuple of RankedPart
        After the hand checks.
    trouble : str
        Why nothing is believed though it was screened; empty if all is well.
    fresh : bool
        The answer rests on the recordings there are.
    checks : int
        Hand checks entered.
    """

    key: str
    case: Case
    headline: str
    ranking: tuple[RankedPart, ...]
    ranked: tuple[RankedCheck, ...]
    choice: RepairChoice | None
    plan: Plan
    trouble: str
    fresh: bool
    checks: int
    clips: tuple[ClipRow, ...]
    waiting: tuple[WaitingClip, ...]
    refused: tuple[RefusedClip, ...]
    work: tuple[WorkState, ...]
    history: tuple[HistoryRow, ...]
    found: tuple[str, ...]
    report_made: datetime | None
    report_fresh: bool

    @property
    def next_step(self) -> PlanStep | None:
        """The first step of the plan that asks for a recording which is not there."""
        left = (s for s in self.plan.steps if s.asks_for is not None and not s.done)
        return next(left, None)

    @property
    def ways(self) -> tuple[WayRecorded, ...]:
        """Ways of recording before the repair, most takes first, to be used again after it."""
        usable = [r for r in self.case.recordings if r.added.gate is None or r.added.gate.usable]
        takes = [_as_before(one) for one in usable]
        stages = [one.taken.stage for one in usable]
        drive, ways = self.case.drive, list[Taken]()
        counted: dict[int, list[str]] = {}
        for stage in ("before", "after"):  # a way begins before the repair
            for take in (one for one, of in zip(takes, stages, strict=True) if of == stage):
                alike = (k for k, way in enumerate(ways) if _same_way(take, way, drive))
                at = next(alike, len(ways))
                if at == len(ways) and stage == "before":
                    ways.append(take)
                counted.setdefault(at, []).append(stage)
        rows = [
            WayRecorded(way, taken_text(way, way.rpm), of.count("before"), of.count("after"))
            for k, way in enumerate(ways)
            for of in [counted[k]]
        ]
        return tuple(sorted(rows, key=lambda row: (-row.before, not row.taken.contact)))

    @property
    def before_recording(self) -> tuple[PlanStep, ...]:
        """Steps without a recording: what to look at before anything runs, and by hand."""
        return tuple(s for s in self.plan.steps if s.asks_for is None)

    @property
    def usable(self) -> int:
        """How many recordings before the repair a screening can use."""
        return sum(
            one.stage == "before" and (one.gate is None or one.gate.usable) for one in self.clips
        )


def read_view(desk: Desk, folder: Path) -> CaseView:
    """Gather what the pages of a case show.

    Raises
    ------
    AcousticError
        If the case cannot be read.
    """
    # What is under way is looked at first: what is done meanwhile shows as both, never as neither.
    work, waiting = desk.work.states_of(folder), read_waiting(folder)
    thought = desk.memory.thought_of(folder)
    case, belief = thought.case, thought.belief
    report = folder / PAGE_FOLDER / REPORT_FILE
    made = datetime.fromtimestamp(report.stat().st_mtime).astimezone() if report.exists() else None
    told = [e.time for e in case.history.events if not isinstance(e.data, LinkMade | AnswerShown)]
    newest = told[-1] if told else None
    return CaseView(
        key=case_key(folder.relative_to(desk.settings.root).as_posix()),
        case=case,
        headline=_headline(case.events),
        ranking=_ranking(belief) if belief else (),
        ranked=thought.ranked,
        choice=thought.choice,
        plan=thought.plan,
        trouble=thought.trouble,
        fresh=is_answered(case),
        checks=len(checks_done(case)),
        clips=tuple(_clip_row(one) for one in reversed(case.recordings)),
        waiting=waiting,
        refused=read_refused(folder),
        work=work,
        history=tuple(_history_row(event) for event in reversed(case.events)),
        found=tuple(one.part or "no part of the layout to blame" for _, one in outcomes_of(case)),
        report_made=made,
        report_fresh=made is not None and (newest is None or made >= newest),
    )


@dataclass(frozen=True, slots=True, eq=False)
class ClipView:
    """One recording: waiting, refused or taken in; and the step of the plan it answers."""

    id: str
    name: str
    waiting: bool = False
    refused: str = ""
    row: ClipRow | None = None
    answers: PlanStep | None = None


def clip_view(view: CaseView, number: str) -> ClipView | None:
    """A recording by its number in addresses; None if there is none of it."""
    for clip in view.waiting:
        if clip.id == number:
            return ClipView(number, clip.asked.original, waiting=True)
    for recording in view.case.recordings:
        if clip_id(recording.added.sha256) == number:
            row = _clip_row(recording)
            return ClipView(number, row.name, row=row, answers=_answered(view, recording))
    for refused in view.refused:
        if refused.id == number:
            return ClipView(number, refused.original, refused=refused.why)
    return None


def stored_clip(case: Case, number: str) -> StoredRecording | None:
    """The stored recording of a number."""
    found = (one for one in case.recordings if clip_id(one.added.sha256) == number)
    return next(found, None)


def _as_before(one: StoredRecording) -> Taken:
    """How a recording was taken, with the speed that was heard; stage and number left out."""
    gate = one.added.gate
    rpm = one.taken.rpm if one.taken.rpm is not None or gate is None else gate.rpm
    return replace(one.taken, rpm=rpm, stage="before", take=1)


def _same_way(take: Taken, way: Taken, drive: Drive) -> bool:
    """Whether two recordings can be compared: place, speed, loads, hold and device."""
    held = (take.contact, take.device) == (way.contact, way.device)
    return held and fulfils(take, way, drive)


def _headline(events: Sequence[Event]) -> str:
    made = [e.data for e in events if isinstance(e.data, ScreeningMade) and not e.data.by]
    return made[-1].headline if made else ""


def _ranking(belief: Belief) -> tuple[RankedPart, ...]:
    rows = sorted(zip(belief.faulty, belief.parts, strict=True), reverse=True)
    told = [(float(p), part) for p, part in rows if p >= _LEAST_RANKED][:_MOST_RANKED]
    told.append((nobody(belief), "none of these parts"))
    return tuple(RankedPart(part, p, probability_text(p)) for p, part in told)


def _clip_row(one: StoredRecording) -> ClipRow:
    added = one.added
    return ClipRow(
        clip_id(added.sha256),
        one.event_id,
        added.original,
        taken_in_full(one.taken),
        one.taken.stage,
        added.gate,
    )


def _history_row(event: Event) -> HistoryRow:
    return HistoryRow(event.id, event.time.astimezone(), event.kind, event_text(event.data))


def _answered(view: CaseView, recording: StoredRecording) -> PlanStep | None:
    taken, gate = recording.taken, recording.added.gate
    if gate is None or not gate.usable:
        return None
    heard = taken if taken.rpm is not None else replace(taken, rpm=gate.rpm)
    asked = ((step, step.asks_for) for step in view.plan.steps)
    drive = view.case.drive
    return next(
        (step for step, one in asked if one is not None and fulfils(heard, one, drive)), None
    )
