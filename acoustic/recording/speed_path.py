"""The best way through scores of frames and speeds: a banded Viterbi search."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

BLOCKED = np.float32(-1e6)


def best_path(
    score: NDArray[np.float32], steps: NDArray[np.float64], sd_cells: float
) -> tuple[NDArray[np.intp], float]:
    """Path of the highest summed score less the penalty on its steps.

    Parameters
    ----------
    score : ndarray of float32, shape (frames, cells)
        Cells on a grid even in ln(speed).
    steps : ndarray, shape (frames - 1,)
        Hops between a frame and the next: 1, or more across a gap.
    sd_cells : float
        Standard deviation of a step over one hop, in cells.

    Returns
    -------
    path : ndarray of int, shape (frames,)
    total : float
        Its summed score, penalties taken off.
    """
    frames, cells = score.shape
    reach = int(np.clip(np.ceil(4.0 * sd_cells), 1, max(1, cells - 1)))
    shift = np.arange(-reach, reach + 1, dtype=np.float32)
    came = np.zeros((frames, cells), dtype=np.int16)
    column = np.arange(cells)
    padded = np.full(cells + 2 * reach, BLOCKED, dtype=np.float32)
    best = score[0].copy()
    for frame in range(1, frames):
        penalty = 0.5 * (shift / sd_cells) ** 2 / max(1.0, float(steps[frame - 1]))
        padded[reach : reach + cells] = best
        ways = sliding_window_view(padded, cells) - penalty[:, None].astype(np.float32)
        step = ways.argmax(axis=0)
        came[frame] = step - reach
        best = ways[step, column] + score[frame]
    path = np.empty(frames, dtype=np.intp)
    path[-1] = int(best.argmax())
    for frame in range(frames - 1, 0, -1):
        path[frame - 1] = path[frame] + came[frame, path[frame]]
    return path, float(best.max())


def between_cells(score: NDArray[np.float32], path: NDArray[np.intp]) -> NDArray[np.float64]:
    """Path refined by a parabola through each peak and its neighbours, in cells."""
    row = np.arange(path.size)
    inner = np.clip(path, 1, score.shape[1] - 2)
    left, middle, right = (score[row, inner + k].astype(np.float64) for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    offset = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    return np.asarray(inner + np.clip(offset, -0.5, 0.5))
