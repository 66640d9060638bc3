"""The gate at the engine: is this recording usable, and if not, what to do again.

Quick enough to be answered while the engine still runs; the close listening comes later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.drive.drive import Drive
from acoustic.listening import Clip, ListenSettings, first_look
from acoustic.recording.recording import QualityRemark

_SPEED_ASKED = 0.08
"""How far a held speed may lie from the one asked for and still answer the plan. [-]"""
_ENOUGH = 0.8
"""Share of the length asked for that is enough. [-]"""


@dataclass(frozen=True, slots=True)
class GateAnswer:
    """Whether a recording just taken may stay as it is.

    Attributes
    ----------
    usable : bool
        It can be screened.
    good : bool
        Usable, and nothing about it needs to be done again.
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
    good: bool
    headline: str
    do_again: tuple[str, ...]
    remarks: tuple[QualityRemark, ...]
    rpm: float | None
    used_s: float


def check_at_the_gate(
    clip: Clip,
    drive: Drive,
    settings: ListenSettings | None = None,
    *,
    wanted_s: float = 0.0,
    wanted_rpm: float | None = None,
) -> GateAnswer:
    """Look a recording over for what would make it useless, as soon as it is there.

    Parameters
    ----------
    clip : Clip
    drive : Drive
    settings : ListenSettings, optional
    wanted_s : float
        Length the plan asks for; 0 if there is none. [s]
    wanted_rpm : float or None
        Speed the plan asks for. [1/min]

    Raises
    ------
    SpeedError
        If a stated speed makes no sense.
    """
    look = first_look(clip, drive, settings or ListenSettings())
    heard = look.heard
    rpm = heard.speed.mean_rpm if heard.speed is not None else None
    again = [_sentence(r) for r in heard.quality if r.severity == "unfit"]
    if not look.usable and not again:
        again.append(_as_sentence(heard.speed_reason) + " Give the speed, or record it again.")
    if rpm is not None:
        again += _against_the_plan(rpm, heard.stretches.used_s, wanted_rpm, wanted_s)
    again += [_sentence(r) for r in heard.quality if r.severity == "weak"]
    good = look.usable and not again
    return GateAnswer(
        usable=look.usable,
        good=good,
        headline=_headline(look.usable, good, rpm, heard.stretches.used_s),
        do_again=tuple(dict.fromkeys(again)),
        remarks=heard.quality,
        rpm=rpm,
        used_s=heard.stretches.used_s,
    )


def _headline(usable: bool, good: bool, rpm: float | None, used_s: float) -> str:
    if not usable:
        return "Not usable: record it again while the engine is still warm."
    what = f"{used_s:.0f} s at {rpm:.0f} rpm"
    if good:
        return f"Usable: {what}."
    return f"Usable, but better taken again: {what}."


def _against_the_plan(
    rpm: float, used_s: float, wanted_rpm: float | None, wanted_s: float
) -> Sequence[str]:
    again = []
    if wanted_rpm is not None and abs(rpm / wanted_rpm - 1.0) > _SPEED_ASKED:
        again.append(
            f"It runs at {rpm:.0f} rpm, the plan asks for {wanted_rpm:.0f} rpm: hold that speed "
            "and record again."
        )
    if used_s < _ENOUGH * wanted_s:
        again.append(
            f"{used_s:.0f} s of it can be used, the plan asks for {wanted_s:.0f} s: record "
            "longer, phone still, nobody talking."
        )
    return again


def _sentence(remark: QualityRemark) -> str:
    return f"{_as_sentence(remark.message)} {_as_sentence(remark.advice)}".strip()


def _as_sentence(text: str) -> str:
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
