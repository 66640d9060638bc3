"""Smearing down the rows of small tables, thousands of times over with few widths."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ROWS_AT_ONCE = 32


def blurred_rows(values: Floats, sd: float, widths: float) -> Floats:
    """Gaussian mean down the rows of a table, its first and last row going on beyond it.

    As products with a band of weights, three times faster on these tables than a filter run
    along each column by itself; block by block, so that the work grows with the rows only.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
    sd : float
        Width. [rows]
    widths : float
        How many `sd` the weights reach to each side.

    Returns
    -------
    ndarray, shape (rows, columns)
    """
    band = _band_of_weights(sd, widths)
    rows, columns = values.shape
    reach = (band.shape[1] - _ROWS_AT_ONCE) // 2
    blocks = -(-rows // _ROWS_AT_ONCE)
    padded = np.empty((blocks * _ROWS_AT_ONCE + 2 * reach, columns))
    padded[:reach] = values[0]
    padded[reach : reach + rows] = values
    padded[reach + rows :] = values[-1]
    down, across = padded.strides
    # Overlapping views of it, one for each block.
    parts = as_strided(
        padded, (blocks, band.shape[1], columns), (_ROWS_AT_ONCE * down, down, across)
    )
    return np.asarray(np.matmul(band, parts).reshape(-1, columns)[:rows])


@lru_cache(maxsize=64)
def _band_of_weights(sd: float, widths: float) -> Floats:
    """Weights of each row of a block, shape (rows at once, rows at once + 2 x reach)."""
    reach = int(widths * sd + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd) ** 2)
    band = np.zeros((_ROWS_AT_ONCE, _ROWS_AT_ONCE + 2 * reach))
    for row in range(_ROWS_AT_ONCE):
        band[row, row : row + weights.size] = weights / weights.sum()
    band.flags.writeable = False
    return band
