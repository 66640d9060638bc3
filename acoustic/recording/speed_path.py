"""The best way through scores of frames and speeds: a banded Viterbi search."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

BLOCKED = np.float32(-1e6)
REACH_SD = 4.0  # longer steps are not looked at


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
    reach = int(np.clip(np.ceil(REACH_SD * sd_cells), 1, max(1, cells - 1)))
    shift = np.arange(-reach, reach + 1, dtype=np.float64)
    penalty = np.asarray(0.5 * (shift / sd_cells) ** 2, dtype=np.float32)[:, None]
    # Row by row the best score up to each cell, with room for steps past either end;
    # `ways[f]` shows row f moved by each of the shifts without copying it.
    best = np.full((frames, cells + 2 * reach), BLOCKED, dtype=np.float32)
    inside = best[:, reach : reach + cells]
    ways = sliding_window_view(best, cells, axis=1)
    moved = np.empty((2 * reach + 1, cells), dtype=np.float32)
    inside[0] = score[0]
    for frame in range(1, frames):
        here = inside[frame]
        np.subtract(ways[frame - 1], penalty / np.float32(steps[frame - 1]), out=moved)
        np.maximum.reduce(moved, axis=0, out=here)
        here += score[frame]
    path = np.empty(frames, dtype=np.intp)
    path[-1] = int(inside[-1].argmax())
    for frame in range(frames - 1, 0, -1):
        came = best[frame - 1, path[frame] : path[frame] + 2 * reach + 1]
        step = int((came - penalty[:, 0] / np.float32(steps[frame - 1])).argmax())
        path[frame - 1] = path[frame] + step - reach
    return path, float(inside[-1].max())


def between_cells(score: NDArray[np.float32], path: NDArray[np.intp]) -> NDArray[np.float64]:
    """Path refined by a parabola through each peak and its neighbours, in cells."""
    row = np.arange(path.size)
    inner = np.clip(path, 1, score.shape[1] - 2)
    left, middle, right = (score[row, inner + k].astype(np.float64) for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    offset = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    return np.asarray(inner + np.clip(offset, -0.5, 0.5))
