"""Slip seen directly: all lines heard of a belt's parts sit lower than a sound belt explains.

Slip and a wrong diameter of the driving pulley give the same picture; the sentence says so.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.suspects import BeltSlip, Suspect
from acoustic.verdict.unknowns import GroupKey
from acoustic.verdict.wording import POSSIBLE

Floats = NDArray[np.float64]

_SOUND_SLIP = 0.0115
"""Slip and creep of a sound ribbed belt under load, at most (common practice, no source)."""
_MOST_SPREAD = 0.01
"""An interval wider than this is no sighting."""
_TAILS = (0.05, 0.95)


def belt_slips(
    drive: Drive, answer: JointAnswer, suspects: Sequence[Suspect]
) -> tuple[BeltSlip, ...]:
    """Belts whose parts were heard to turn slower than diameters and sound slip explain.

    A part counts if it is a possible source or better and one of its lines was heard. All
    such parts of a belt must sit low; one that does not speaks against slip of the belt.
    """
    heard = {
        s.part
        for s in suspects
        if s.source_probability >= POSSIBLE and any(e.state == "heard" for e in s.lines)
    }
    seen: dict[str, list[tuple[str, float, float, float]]] = {}
    for k, part in enumerate(answer.parts):
        (unknowns, belt) = answer.groups[answer.part_groups[k]].key
        if part in heard and belt is not None:
            low, high = _interval(answer, k)
            seen.setdefault(belt, []).append((part, low, high, _explained((unknowns, belt), drive)))
    return tuple(
        _sighting(belt, rows)
        for belt, rows in seen.items()
        if all(high < -limit and high - low < _MOST_SPREAD for _, low, high, limit in rows)
    )


def _interval(answer: JointAnswer, part: int) -> tuple[float, float]:
    """Where nine tenths of the probability of the part's offset lie."""
    offset = answer.groups[answer.part_groups[part]].offset
    total = np.cumsum(answer.result.offset_posteriors[part])
    first, last = (int(np.searchsorted(total, tail * total[-1])) for tail in _TAILS)
    return float(offset[first]), float(offset[min(last, offset.size - 1)])


def _explained(key: GroupKey, drive: Drive) -> float:
    """How low a sound belt and two standard deviations of the diameters may put a part."""
    unknowns = [(coefficient, drive.unknowns[name]) for name, coefficient in key[0]]
    variance = sum((c * u.sd) ** 2 for c, u in unknowns if u.kind in ("diameter", "ratio"))
    slips = sum(u.kind == "slip" for _, u in unknowns)
    return max(1, slips) * _SOUND_SLIP + 2 * float(np.sqrt(variance))


def _sighting(belt: str, rows: Sequence[tuple[str, float, float, float]]) -> BeltSlip:
    parts = tuple(part for part, *_ in rows)
    least, most = (
        100 * -np.expm1(edge(row[n] for row in rows)) for edge, n in ((max, 2), (min, 1))
    )
    words = (
        f"Belt {belt}: {', '.join(parts)} turn{'s' * (len(parts) == 1)} {least:.1f} to "
        f"{most:.1f} % below what the diameters make, more than a sound belt slips. A wrong "
        "diameter gives the same picture: measure the pulleys again; engine off, key out, look "
        "for glazed ribs, oil on the belt and a weak tensioner."
    )
    return BeltSlip(belt, float(least), float(most), parts, words)
