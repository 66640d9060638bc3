"""Smearing along a line of places where only some of them are wanted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

Floats = NDArray[np.float64]

_WIDTHS = 4.0


class ChosenBlur:
    """Gaussian mean over places, worked out at chosen ones only.

    Parameters
    ----------
    chosen : ndarray of bool, shape (places,)
    sd : float
        Width. [places]
    """

    def __init__(self, chosen: NDArray[np.bool_], sd: float) -> None:
        self._sd, self.size = sd, int(np.count_nonzero(chosen))
        reach = int(_WIDTHS * sd + 0.5)
        # What lies within reach of a chosen place is kept, so pieces can be run together.
        near = maximum_filter1d(chosen.astype(np.uint8), 2 * reach + 1)
        self._near = np.flatnonzero(near)
        self._chosen = np.flatnonzero(chosen[self._near])

    def blurred(self, values: Floats, visible: NDArray[np.bool_]) -> Floats:
        """Values smeared along their last axis, 0 where not visible, shape (..., chosen).

        Parameters
        ----------
        values : ndarray, shape (..., places)
        visible : ndarray of bool, shape (places,)
        """
        near = gaussian_filter1d(
            values[..., self._near], self._sd, axis=-1, mode="nearest", truncate=_WIDTHS
        )
        near *= visible[self._near].astype(np.float64)
        return np.asarray(near[..., self._chosen])
