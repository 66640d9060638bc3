"""Sums over the places that cannot be told apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def windowed_sum(values: Floats, half_window: NDArray[np.intp]) -> Floats:
    """Sum over ± half_window places.

    Only ever added up: the values reach 1e40, where differences of a running sum would
    leave nothing of their small neighbours.
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
        total[start:end] = _sums_of_width(padded, 2 * half + 1)
        start = end
    return total


def _sums_of_width(values: Floats, width: int) -> Floats:
    """Sum of every run of `width` values, shape (values - width + 1,).

    Cut into blocks as long as the window, so that each window is the end of one block and
    the start of the next: two sums for each place, however wide the window is.
    """
    blocks = np.pad(values, (0, -values.size % width)).reshape(-1, width)
    from_start = np.cumsum(blocks, axis=1).ravel()
    to_end = np.cumsum(blocks[:, ::-1], axis=1)[:, ::-1]
    to_end[:, 0] = 0.0  # a window that is one whole block counts once
    count = values.size - width + 1
    return np.asarray(from_start[width - 1 :][:count] + to_end.ravel()[:count])
