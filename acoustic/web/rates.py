"""How often one address may ask: so many a minute, counted in memory."""

from __future__ import annotations

import time
from collections import OrderedDict

_MOST_KNOWN = 10_000
_MINUTE_S = 60.0


class RateLimit:
    """A full measure of so many requests, refilled evenly over a minute.

    Parameters
    ----------
    per_minute : int
    """

    def __init__(self, per_minute: int) -> None:
        self._most = float(per_minute)
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, who: str) -> float:
        """Count one request of `who`: 0 if it may pass, else the time until one may. [s]"""
        now = time.monotonic()
        left, last = self._left.pop(who, (self._most, now))
        left = min(self._most, left + (now - last) * self._most / _MINUTE_S)
        wait = 0.0 if left >= 1.0 else (1.0 - left) * _MINUTE_S / self._most
        self._left[who] = (left if wait else left - 1.0, now)
        if len(self._left) > _MOST_KNOWN:
            self._left.popitem(last=False)
        return wait
