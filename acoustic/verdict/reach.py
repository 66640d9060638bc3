"""Where in a spectrum anybody looks for lines: as far as the shafts' unknowns may move them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from acoustic.verdict.line_likelihood import Reach
from acoustic.verdict.sources import Realm, Voice
from acoustic.verdict.unknowns import ShaftGroup


def own_reach(voice: Voice, offset_blur: float) -> float:
    """How far from its shaft's offset a voice's lines are looked for in one recording.

    Twice what the bearing's geometry and, from the second recording on, a change of slip allow.
    """
    return 2 * float(np.hypot(voice.own_tolerance, offset_blur))


def reach_of(
    voices: Sequence[Voice], groups: Sequence[ShaftGroup], realm: Realm, widest_blur: float
) -> Reach:
    """Where any line of any voice may lie in one realm.

    Parameters
    ----------
    widest_blur : float
        Largest relative sd by which a recording's offsets may differ from the first's.
    """
    reach = []
    for voice in voices:
        offset, beyond = groups[voice.group].offset, own_reach(voice, widest_blur)
        low, high = min(float(offset[0]), 0.0) - beyond, max(float(offset[-1]), 0.0) + beyond
        for line in voice.lines if realm == Realm.TONES else voice.envelope_lines:
            ln_order = float(np.log(line.order))
            reach.append((ln_order + low, ln_order + high))
    return reach
