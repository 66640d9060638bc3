"""What lasts from one recording of a drive to the next."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Chance = TypeVar("Chance", float, NDArray[np.float64])

LASTING = 0.85
"""How far it carries over that a line is there, or that a noise is made (judgement)."""


def carried_over(believed: Chance, usual: float) -> Chance:
    """Chance in the next recording of what was there in this one with the chance `believed`.

    Examples
    --------
    >>> carried_over(1.0, 0.4)
    0.91
    """
    return LASTING * believed + (1.0 - LASTING) * usual
