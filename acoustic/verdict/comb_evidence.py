"""Evidence from lines on the engine's own comb, for gears and chains locked to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedLine
from acoustic.evidence.comb import CombLevels

Floats = NDArray[np.float64]

_ON_COMB_ORDER = 0.02
_MOST_FOR_NAT = 1.0
_MOST_AGAINST_NAT = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class CombEvidence:
    """Comb lines of one recording as evidence for locked families."""

    levels: CombLevels

    def factor(self, line: ExpectedLine, levels_db: Floats) -> Floats:
        """Likelihood ratio "extra line of this level" against "engine alone".

        Parameters
        ----------
        line : ExpectedLine
        levels_db : ndarray, shape (levels,)
            Family levels as tone-to-noise ratio. [dB]

        Returns
        -------
        ndarray, shape (levels,)
            1 where the comb says nothing. Bounded: engines have resonances of their
            own, and one loud comb line proves little.
        """
        orders = self.levels.orders
        if orders.size == 0:
            return np.ones(levels_db.shape)
        nearest = int(np.argmin(np.abs(orders - line.order)))
        if abs(orders[nearest] - line.order) > _ON_COMB_ORDER:
            return np.ones(levels_db.shape)
        scatter = self.levels.scatter_db[nearest]
        above = self.levels.above_neighbours_db[nearest]
        over_engine_db = levels_db + line.relative_level_db
        over_engine_db = over_engine_db - self.levels.neighbour_tone_to_noise_db[nearest]
        expected = 10 * np.log10(1.0 + 10 ** (over_engine_db / 10))
        # The line's own level scatters by some 3 dB, felt as far as it stands out at all.
        felt = 10 ** (over_engine_db / 10) / (1.0 + 10 ** (over_engine_db / 10))
        spread = np.hypot(scatter, 3.0 * felt)
        ln_ratio = (
            -0.5 * ((above - expected) / spread) ** 2
            - np.log(spread)
            + 0.5 * (above / scatter) ** 2
            + np.log(scatter)
        )
        bounded = np.clip(ln_ratio, -_MOST_AGAINST_NAT, _MOST_FOR_NAT)
        return np.asarray(1.0 + line.probability * (np.exp(bounded) - 1.0))
