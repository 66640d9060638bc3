"""Sums over the places that cannot be told apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def windowed_sum(values: Floats, half_window: NDArray[np.intp]) -> Floats:
    """Sum over ± half_window places.

    Added up place by place: the values reach 1e40, where differences of a running sum
    would leave nothing of their small neighbours.
    """
    total = np.empty_like(values)
    start = 0
    while start < values.size:
        half = int(half_window[start])
        # Windows shrink slowly with order: one width serves while it is within a tenth.
        alike = np.abs(half_window[start:] - half) <= max(0.1 * half, 0.5)
        end = start + (alike.size if alike.all() else int(np.argmin(alike)))
        first, last = max(0, start - half), min(values.size, end + half)
        padded = np.pad(values[first:last], (first - (start - half), (end + half) - last))
        windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
        total[start:end] = windows.sum(axis=1)
        start = end
    return total
