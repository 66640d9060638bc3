"""How many healthy parts sing on this engine, and how loudly: told by the parts together.

One recording cannot say of a lone part whether its tone is loud for a healthy one. The
other parts can: where they all sing at one level the one that stands out is the suspect,
and where they are silent a loud tone is no song.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.verdict.line_likelihood import VOICE_LEVELS_DB
from acoustic.verdict.sources import level_prior

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SongPrior:
    """What is believed of one part's healthy song before its own sound is heard.

    Attributes
    ----------
    share : float
        P(it sings).
    level : ndarray, shape (levels,)
        P(level) over `VOICE_LEVELS_DB` if it does.
    """

    share: float
    level: Floats


@dataclass(frozen=True, slots=True)
class SongSettings:
    """Priors of singing; levels are tone-to-noise ratios. [dB]

    Attributes
    ----------
    shares, share_prior : tuple of float
        Grid and prior of the share of parts that sing.
    mean_levels_db : tuple of float
        Grid of the mean level of this engine's songs.
    mean_level_db, mean_level_sd_db : float
        Prior of that mean.
    level_scatter_db : float
        Scatter of the parts about it.
    fault_above_db : float
        How much louder than its song a faulty part's natural lines must be.
    """

    shares: tuple[float, ...] = (0.03, 0.25, 0.6, 0.9)
    share_prior: tuple[float, ...] = (0.4, 0.2, 0.2, 0.2)
    mean_levels_db: tuple[float, ...] = (-32.0, -27.0, -22.0, -17.0, -12.0, -7.0, -2.0)
    mean_level_db: float = -17.0
    mean_level_sd_db: float = 7.0
    level_scatter_db: float = 5.0
    fault_above_db: float = 3.0


class SongBeliefs:
    """Shares and levels of singing for all parts, each told by the others."""

    def __init__(self, settings: SongSettings, own: Sequence[SongPrior | None]) -> None:
        self._own = own
        self._shares = np.array(settings.shares)
        means = np.array(settings.mean_levels_db)
        self._levels = np.stack([level_prior(m, settings.level_scatter_db) for m in means])
        about = np.exp(-0.5 * ((means - settings.mean_level_db) / settings.mean_level_sd_db) ** 2)
        self._prior = np.array(settings.share_prior)[:, None] * (about / about.sum())[None, :]

    def first(self, part: int) -> SongPrior:
        """Before anything is heard."""
        return self._own[part] or self._read(self._prior)

    def told_by_others(self, evidence: Sequence[Floats | None]) -> list[SongPrior]:
        """Beliefs about each part from the sound of all the others.

        Parameters
        ----------
        evidence : sequence of ndarray or None
            Per part the likelihood of its song over `VOICE_LEVELS_DB`, None for a part
            that cannot sing.
        """
        shares = self._shares[:, None]
        ln_parts = [
            np.zeros_like(self._prior)
            if sung is None or own is not None
            else np.log((1 - shares) + shares * (self._levels @ sung)[None, :])
            for sung, own in zip(evidence, self._own, strict=True)
        ]
        ln_all = np.log(self._prior) + sum(ln_parts)
        beliefs = []
        for own, ln_part in zip(self._own, ln_parts, strict=True):
            if own is not None:
                beliefs.append(own)
                continue
            ln_others = ln_all - ln_part
            weight = np.exp(ln_others - ln_others.max())
            beliefs.append(self._read(weight / weight.sum()))
        return beliefs

    def _read(self, weight: Floats) -> SongPrior:
        share = float(np.sum(self._shares[:, None] * weight))
        # The level is that of parts that do sing: weighed by their share.
        singing = (self._shares[:, None] * weight).sum(axis=0)
        return SongPrior(share, np.asarray((singing / singing.sum()) @ self._levels))


def louder_than_song(fault_level: Floats, song_level: Floats, above_db: float) -> Floats:
    """Prior level of a fault that shows in lines a healthy part has too.

    The prior `fault_level` times the chance that the song is weaker by `above_db`.
    """
    weaker = (VOICE_LEVELS_DB[:, None] - above_db >= VOICE_LEVELS_DB[None, :]) @ song_level
    level = fault_level * np.maximum(weaker, 1e-3)
    return np.asarray(level / level.sum())
