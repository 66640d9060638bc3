"""What whoever has a link is shown: what to record, what came of it, an answer if released.

Nothing else of the case: neither its title nor what others recorded, what is suspected, or
what happened. What is asked for follows from layout and complaint alone, not from what is
believed by now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Literal, TypeAlias

from starlette.datastructures import FormData

from acoustic.casework.case_folder import Case, read_history
from acoustic.casework.customer_links import AnswerForCustomer, CustomerLink, answer_for
from acoustic.casework.history import GateAnswer, recordings_of
from acoustic.casework.lasting_files import read_whole
from acoustic.casework.link_receipts import Receipt, read_receipts
from acoustic.casework.plan import make_plan
from acoustic.casework.plan_steps import PlanStep
from acoustic.casework.take_words import find_take_words
from acoustic.drive.layout_file import parse_drive
from acoustic.output.link_text import short_digest
from acoustic.output.wording import RUNNING_ENGINE_CAUTION
from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.tables.sound_words import Complaint
from acoustic.web.uploads import told_by
from acoustic.web.waiting import clip_id, read_refused, read_waiting

ReceiptState: TypeAlias = Literal["waiting", "usable", "unfit", "refused", "settled"]

_OTHER = "Any other recording"
_OTHER_DO = (
    "One you have already, or one of the noise when it comes at other times. Phone half a metre "
    "in front of the drive, all loads off, if you can choose. Send the original file: messengers "
    "cut away what is looked for."
)
_OTHER_SECONDS = 25.0


@dataclass(frozen=True, slots=True)
class AskedRecording:
    """A recording the customer is asked for, and whether a usable one came by the link.

    Number 0 is any other. `seconds` is its length. [s]
    """

    number: int
    title: str
    do: str
    seconds: float
    cautions: tuple[str, ...]
    taken: Taken
    came: bool = False


@dataclass(frozen=True, slots=True)
class ReceiptView:
    """What arrived, and what was said of it.

    Attributes
    ----------
    digest : str
        First digits of the SHA-256 of its content, in fours.
    said : tuple of str
        The gate's answer, or why it was not taken in.
    again : tuple of str
        What to do again.
    """

    receipt: Receipt
    digest: str
    state: ReceiptState
    said: tuple[str, ...] = ()
    again: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CustomerView:
    """Everything a link shows."""

    label: str
    until: datetime
    at_parts: bool
    asked: tuple[AskedRecording, ...]
    receipts: tuple[ReceiptView, ...]
    answer: AnswerForCustomer | None

    @property
    def next_asked(self) -> AskedRecording | None:
        """The first recording of the plan that did not come yet."""
        return next((one for one in self.asked if one.number and not one.came), None)

    @property
    def waiting(self) -> bool:
        """Whether something that arrived is still being looked over."""
        return any(one.state == "waiting" for one in self.receipts)

    def receipt(self, clip: str) -> ReceiptView | None:
        """What is known of one recording that came by this link."""
        return next((one for one in self.receipts if one.receipt.clip == clip), None)


def read_customer_view(case: Case, link: CustomerLink) -> CustomerView:
    """Gather what a link shows."""
    receipts = read_receipt_views(case, read_receipts(case.folder, link.asked.link))
    usable = {one.receipt.asked for one in receipts if one.state == "usable"}
    asked = asked_recordings(case, link.asked.at_parts)
    return CustomerView(
        label=link.asked.label,
        until=link.asked.until.astimezone(),
        at_parts=link.asked.at_parts,
        asked=tuple(replace(one, came=one.title in usable) for one in asked),
        receipts=receipts,
        answer=answer_for(case.folder, case.history, link.asked.link),
    )


def asked_recordings(case: Case, at_parts: bool) -> tuple[AskedRecording, ...]:
    """What a customer is asked to record; nothing at the parts unless that was wished."""
    layout = read_whole(case.folder / case.file.layout).decode("utf-8")
    said = case.file
    steps = _planned(layout, said.layout, tuple(said.sounds_like), tuple(said.comes_when))
    planned = [_asked(step) for step in steps if step.asks_for is not None]
    other = AskedRecording(
        0, _OTHER, _OTHER_DO, _OTHER_SECONDS, (RUNNING_ENGINE_CAUTION,), IN_FRONT
    )
    return (*(one for one in planned if at_parts or one.taken.point == ""), other)


def read_receipt_views(case: Case, receipts: Sequence[Receipt]) -> tuple[ReceiptView, ...]:
    """What was said of each recording that came, newest first."""
    # What waits is looked at first: what is taken in meanwhile is then in one of the two.
    waiting = {one.id for one in read_waiting(case.folder)}
    refused = {one.id: one.why for one in read_refused(case.folder)}
    events = recordings_of(read_history(case.folder).events)
    gates = {clip_id(added.sha256): added.gate for _, added in events}
    views = []
    for one in reversed(receipts):
        view = ReceiptView(one, short_digest(one.clip), "settled")
        if one.clip in gates:
            view = _answered(view, gates[one.clip])
        elif one.clip in waiting:
            view = replace(view, state="waiting")
        elif one.clip in refused:
            view = replace(view, state="refused", said=(refused[one.clip],))
        views.append(view)
    return tuple(views)


def taken_by(case: Case, asked: AskedRecording, form: FormData) -> Taken:
    """How a recording was taken: as it was asked for, whatever else the form may say.

    Only speed, second of switching off and device are the customer's to tell.

    Raises
    ------
    CaseError, SpeedError
        If one of them cannot be.
    """
    own = FormData(
        [(k, v) for k, v in form.multi_items() if k in {"rpm", "switched_off", "device"}]
    )
    told = told_by(own, find_take_words(case.drive))
    off = asked.taken.switched_off_s and told.switched_off_s
    return replace(
        asked.taken,
        rpm=told.rpm if isinstance(told.rpm, float) else None,
        switched_off_s=off if isinstance(off, float) else None,
        device=told.device or "",
    )


@lru_cache(maxsize=32)
def _planned(
    layout: str, name: str, sounds: tuple[str, ...], when: tuple[str, ...]
) -> tuple[PlanStep, ...]:
    """The steps of a plan; kept, for they take a tenth of a second and every page needs them."""
    words = Complaint(sounds, when) if sounds or when else None
    return make_plan(parse_drive(layout, name), words).steps


def _asked(step: PlanStep) -> AskedRecording:
    assert step.asks_for is not None  # noqa: S101 - only such steps are asked for
    return AskedRecording(
        step.number, step.title, step.do, step.seconds, step.cautions, step.asks_for
    )


def _answered(view: ReceiptView, gate: GateAnswer | None) -> ReceiptView:
    if gate is None:
        return view
    state: ReceiptState = "usable" if gate.usable else "unfit"
    return replace(view, state=state, said=gate.reasons, again=gate.again)
