"""The gate at the engine: is this recording usable, and if not, what to do again.

Quick enough to be answered while the engine still runs; the close listening comes later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from acoustic.drive.drive import Drive
from acoustic.listening import Clip, ListenSettings, first_look
from acoustic.recording.recording import QualityRemark
from acoustic.recording.remarks import make_remark
from acoustic.recording.same_sound import Sketch, holder_of, sketch_of

_SPEED_ASKED = 0.05
"""How far a speed may lie from the one asked for: as far as the plan lets idle wander. [-]"""
_ENOUGH = 0.8
"""Share of the length asked for that is enough (judgement). [-]"""


@dataclass(frozen=True, slots=True)
class TakeCheck:
    """Whether a recording just taken may stay as it is.

    Attributes
    ----------
    usable : bool
        It can be screened.
    headline : str
        The answer in one sentence.
    do_again : tuple of str
        What to do about it at the engine, the gravest first; empty if it is good.
    remarks : tuple of QualityRemark
        Everything that was found wrong with it.
    rpm : float or None
        Mean crankshaft speed, None if it could not be told. [1/min]
    used_s : float
        How much of it can be used. [s]
    """

    usable: bool
    headline: str
    do_again: tuple[str, ...]
    remarks: tuple[QualityRemark, ...]
    rpm: float | None
    used_s: float

    @property
    def good(self) -> bool:
        """Usable, and nothing about it needs to be done again."""
        return self.usable and not self.do_again


def check_take(
    clip: Clip,
    drive: Drive,
    settings: ListenSettings | None = None,
    earlier: Sequence[Sketch] = (),
) -> TakeCheck:
    """Look a recording over for what would make it useless, as soon as it is there.

    `earlier` are those taken in before: the same sound over again is no second take.

    Raises
    ------
    SpeedError
        If a stated speed makes no sense.
    """
    look = first_look(clip, drive, settings or ListenSettings())
    heard, usable = look.heard, look.usable
    same_as = holder_of(sketch_of(clip.recording), earlier) if earlier else None
    if same_as is not None:
        usable = False
        remark = make_remark("same_sound", "unfit", other=same_as.name)
        heard = replace(heard, quality=(*heard.quality, remark))
    rpm = heard.speed.mean_rpm if heard.speed is not None else None
    again = [_sentence(r) for r in heard.quality if r.severity == "unfit"]
    if not usable and not again:
        further = " Correct the speed, or record it again." if heard.speed is not None else ""
        again.append(_as_sentence(heard.speed_reason) + further)
    again += [_sentence(r) for r in heard.quality if r.severity == "weak"]
    used_s = heard.stretches.used_s
    return TakeCheck(
        usable=usable,
        headline=_headline(usable, not again, rpm, used_s),
        do_again=tuple(dict.fromkeys(again)),
        remarks=heard.quality,
        rpm=rpm,
        used_s=used_s,
    )


def held_against(check: TakeCheck, wanted_s: float, wanted_rpm: float | None = None) -> TakeCheck:
    """Hold a usable recording against the step of the plan it answers: long and fast enough?

    Parameters
    ----------
    check : TakeCheck
    wanted_s : float
        Length asked for. [s]
    wanted_rpm : float or None
        Speed asked for. [1/min]
    """
    if not check.usable or check.rpm is None:
        return check
    again = list(check.do_again)
    if wanted_rpm is not None and abs(check.rpm / wanted_rpm - 1.0) > _SPEED_ASKED:
        again.append(
            f"It runs at {check.rpm:.0f} rpm, the plan asks for {wanted_rpm:.0f} rpm: hold that "
            "speed and record again."
        )
    if check.used_s < _ENOUGH * wanted_s:
        again.append(
            f"{check.used_s:.0f} s of it can be used, the plan asks for {wanted_s:.0f} s: record "
            "longer, phone still, nobody talking."
        )
    headline = _headline(True, not again, check.rpm, check.used_s)
    return replace(check, do_again=tuple(again), headline=headline)


def turned_away(check: TakeCheck, why: str) -> TakeCheck:
    """The same recording, unfit for a reason that its samples need not show.

    Parameters
    ----------
    check : TakeCheck
    why : str
        What is wrong and what to do again, as sentences.
    """
    again = tuple(dict.fromkeys((why, *check.do_again)))
    headline = _headline(False, False, check.rpm, check.used_s)
    return replace(check, usable=False, do_again=again, headline=headline)


def _headline(usable: bool, good: bool, rpm: float | None, used_s: float) -> str:
    if not usable:
        return "Not usable: record it again while the engine is still warm."
    what = f"{used_s:.0f} s at {rpm:.0f} rpm"
    if good:
        return f"Usable: {what}."
    return f"Usable, but better taken again: {what}."


def _sentence(remark: QualityRemark) -> str:
    return f"{_as_sentence(remark.message)} {_as_sentence(remark.advice)}".strip()


def _as_sentence(text: str) -> str:
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
