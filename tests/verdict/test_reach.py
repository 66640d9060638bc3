"""Where in a spectrum anybody looks for lines."""

import numpy as np
import pytest

from acoustic.verdict.reach import own_reach, reach_of
from acoustic.verdict.sources import Realm, part_voices
from acoustic.verdict.unknowns import (
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)


def test_a_line_is_looked_for_as_far_as_its_shaft_may_move(family, drive_with) -> None:
    """A pump at order 17.3: its whole offset lattice, 0 too, and twice its own width beyond."""
    pump = family("pump", [17.3])
    shared = shared_unknowns([pump], "main")
    drive = drive_with(slip=0.02, pump=0.003)
    group = shaft_group(drive, group_key(pump), (0, belt_offset(drive, "main", shared)), shared)
    (voice,) = [one for one in part_voices([pump], 0, {group_key(pump): 0}) if not one.healthy]
    ((low, high),) = set(reach_of([voice], [group], Realm.TONES, 0.003))
    beyond = 2 * np.hypot(voice.own_tolerance, 0.003)
    assert own_reach(voice, 0.003) == pytest.approx(beyond)
    assert low == pytest.approx(np.log(17.3) + min(group.offset[0], 0.0) - beyond)
    assert high == pytest.approx(np.log(17.3) + max(group.offset[-1], 0.0) + beyond)
    assert reach_of([voice], [group], Realm.ENVELOPE, 0.003) == []
