"""Which parts the recordings cannot tell apart, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily, ExpectedLine
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.line_likelihood import LineTable

_SHARE_OF_TOP = 0.3
"""Every part with this share of the leader's probability stays in its group: on made scenes
for tuning that kept the true part in nearly every group at about 1.5 parts at two speeds;
``tests/trial`` counts it on others."""
_SAME_ORDER = 0.01
_SAME_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class SuspectGroup:
    """Leading parts that cannot be separated, best first, and the reason in words."""

    parts: tuple[int, ...]
    reason: str


def leading_group(
    drive: Drive, families: Sequence[ExpectedFamily], answer: JointAnswer
) -> SuspectGroup:
    """The parts within reach of the leader."""
    faulty = answer.result.faulty
    ranked = np.argsort(-faulty, kind="stable")
    if ranked.size == 0:
        return SuspectGroup((), "")
    top = float(faulty[ranked[0]])
    # Beyond what the leader leaves, another part's probability is that of both being faulty.
    instead = np.minimum(faulty, 1.0 - top)
    instead[ranked[0]] = top
    members = tuple(int(k) for k in ranked if instead[k] >= _SHARE_OF_TOP * top)
    if len(members) < 2 or top < 0.02:
        return SuspectGroup(members[:1], "")
    return SuspectGroup(members, _reason(drive, families, answer, members))


def _reason(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    answer: JointAnswer,
    members: tuple[int, ...],
) -> str:
    names = [answer.parts[k] for k in members]
    shafts = {drive.parts[n].shaft for n in names if n in drive.parts}
    lines = [_orders(families, name) for name in names]
    alike = all(_overlap(lines[0], other) >= _SAME_SHARE for other in lines[1:])
    if alike and len(shafts) == 1:
        return f"they turn on one shaft ({shafts.pop()}) and make the same orders"
    if alike:
        return "their orders agree within what is known of the pulleys"
    if _contest(answer, members):
        return "the same tone fits each of them within what is known of pulleys and slip"
    return "too little was heard to choose between them"


def _orders(families: Sequence[ExpectedFamily], part: str) -> np.ndarray:
    return np.array([line.order for f in families if f.part == part for line in f.lines])


def _overlap(first: np.ndarray, second: np.ndarray) -> float:
    """Share of the first's orders that the second has too, within 1 %."""
    if not first.size or not second.size:
        return 0.0
    apart = np.abs(np.log(first[:, None] / second[None, :])).min(axis=1)
    return float(np.mean(apart < _SAME_ORDER))


def _contest(answer: JointAnswer, members: tuple[int, ...]) -> bool:
    """Whether two of them claim one tone, neither with little right."""
    own = answer.result.tone_shares[list(members)]
    return bool(np.any((own > 0.1).sum(axis=0) > 1))


def unseen_parts(answer: JointAnswer) -> tuple[str, ...]:
    """Parts that have lines, none of which could be seen in any recording."""
    swings = [one.table for one in answer.envelope]
    unseen = []
    for k, part in enumerate(answer.parts):
        own = [voice for voice in answer.voices if voice.part == k]
        lined = any(voice.lines or (swings and voice.envelope_lines) for voice in own)
        if lined and not any(
            _is_seen(voice.lines, answer.groups[voice.group].offset, answer.tables)
            or _is_seen(voice.envelope_lines, answer.groups[voice.group].offset, swings)
            for voice in own
        ):
            unseen.append(part)
    return tuple(unseen)


def _is_seen(
    lines: Sequence[ExpectedLine], offset: NDArray[np.float64], tables: Sequence[LineTable]
) -> bool:
    """Whether any of the lines could be seen in any table, wherever its shaft may put it."""
    return any(
        bool(table.visible[table.place_of(np.log(line.order) + offset)].any())
        for table in tables
        for line in lines
    )
