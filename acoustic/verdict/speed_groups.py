"""Which recordings of a drive were taken at one speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def speed_groups(speeds_hz: Sequence[float], same_within: float) -> tuple[int, ...]:
    """Number the speeds: recordings at one speed have one number.

    Parameters
    ----------
    speeds_hz : sequence of float
        Mean speed of each recording. [rev/s]
    same_within : float
        Relative difference of what still is one speed.

    Examples
    --------
    >>> speed_groups([13.0, 30.0, 13.2], 0.03)
    (0, 1, 0)
    """
    first_hz: list[float] = []
    groups = []
    for speed_hz in speeds_hz:
        known = (n for n, hz in enumerate(first_hz) if abs(np.log(speed_hz / hz)) < same_within)
        group = next(known, len(first_hz))
        if group == len(first_hz):
            first_hz.append(speed_hz)
        groups.append(group)
    return tuple(groups)
