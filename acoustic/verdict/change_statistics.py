"""How sure a change is: intervals, two one-sided tests, many families at once.

References
----------
.. [1] D. J. Schuirmann, A comparison of the two one-sided tests procedure and the power
   approach for assessing the equivalence of average bioavailability, J. Pharmacokinetics
   and Biopharmaceutics 15 (1987) 657-680 (from memory).
.. [2] S. Holm, A simple sequentially rejective multiple test procedure, Scandinavian
   Journal of Statistics 6 (1979) 65-70 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from acoustic.evidence.family_levels import FamilyLevel
from acoustic.verdict.change_values import ChangeSettings, TakeScatter

Floats = NDArray[np.float64]

_FEWEST_TAKES = 3
_INDEPENDENT_FAMILIES = 1
"""Families scatter together: by the firing they are measured against, by the phone's place."""
_FOUND_SD = 2.5
_LIMIT_SD = 1.645


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """Adjust p-values for their number, step down [2]_; order kept.

    >>> [round(p, 3) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    p = np.asarray(p_values, dtype=np.float64)
    rising = np.argsort(p)
    adjusted = np.minimum(1.0, np.maximum.accumulate(p[rising] * np.arange(p.size, 0, -1)))
    out = np.empty_like(p)
    out[rising] = adjusted
    return tuple(float(value) for value in out)


@dataclass(frozen=True, slots=True)
class SideLevel:
    """Level of a family over all takes of one side.

    `error_db` is the standard error without the scatter of takes, `level_db` the best
    estimate (of no use where not `found`), `limit_db` what it lies below, `noise_db` what it
    would lie below if nothing were there. [dB]
    """

    found: bool
    level_db: float
    error_db: float
    limit_db: float
    noise_db: float
    takes: int


def side_level(takes: Sequence[FamilyLevel]) -> SideLevel:
    """Put the takes of one side together.

    Where each shows the lines the mean is of decibels, as placement moves them; where some do
    not it is that of powers.
    """
    decibels = takes[0].decibels
    power = float(np.mean([take.power for take in takes]))
    sd = float(np.sqrt(np.sum([take.sd**2 for take in takes]))) / len(takes)
    limit_db = decibels * float(np.log10(max(power, 0.0) + _LIMIT_SD * sd + 1e-30))
    noise = float(np.sqrt(np.sum([take.noise_sd**2 for take in takes]))) / len(takes)
    noise_db = decibels * float(np.log10(_LIMIT_SD * noise + 1e-30))
    each = [take.level_db for take in takes]
    known = [level for level in each if level is not None]
    if len(known) == len(takes):
        errors = np.array([take.error_db for take in takes])
        error_db = float(np.sqrt(np.sum(errors**2))) / len(takes)
        return SideLevel(True, float(np.mean(known)), error_db, limit_db, noise_db, len(takes))
    level_db = decibels * float(np.log10(max(power, 1e-30)))
    error_db = decibels / float(np.log(10.0)) * sd / max(power, sd)
    return SideLevel(power > _FOUND_SD * sd, level_db, error_db, limit_db, noise_db, len(takes))


@dataclass(frozen=True, slots=True)
class Difference:
    """Change of a family with its interval and the three tests.

    `p_lower`, `p_higher`: chance of the data if it were not lower (higher) than the margin;
    `p_alike`: if it were outside the margin [1]_.
    """

    change_db: float | None
    low_db: float
    high_db: float
    p_lower: float
    p_higher: float
    p_alike: float


def difference(
    before: SideLevel, after: SideLevel, scatter: TakeScatter, settings: ChangeSettings
) -> Difference:
    """After less before, with the scatter of takes in the interval.

    Found on one side only it is known on one side only: the limit of the other stands in.
    """
    placement = scatter.sd_db**2 * (1.0 / before.takes + 1.0 / after.takes)
    errors = [side.error_db if side.found else 0.0 for side in (before, after)]
    inflated = settings.segment_inflation**2 * sum(error**2 for error in errors)
    sd, freedom = float(np.sqrt(inflated + placement)), scatter.freedom
    reach = float(stdtrit(freedom, 1.0 - settings.error_rate)) * sd
    levels = [side.level_db if side.found else side.limit_db for side in (before, after)]
    change = levels[1] - levels[0]
    margin = settings.margin_db
    p_lower = float(stdtr(freedom, (change + margin) / sd)) if before.found else 1.0
    p_higher = float(stdtr(freedom, (margin - change) / sd)) if after.found else 1.0
    both = before.found and after.found
    p_alike = 1.0
    if both:
        inside = max(
            float(stdtr(freedom, (change - margin) / sd)),
            float(stdtr(freedom, (-margin - change) / sd)),
        )
        p_alike = inside
    low = change - reach if after.found else -np.inf
    high = change + reach if before.found else np.inf
    return Difference(change if both else None, low, high, p_lower, p_higher, p_alike)


def take_scatter(
    families: Sequence[tuple[Sequence[FamilyLevel], Sequence[FamilyLevel]]],
    contact: bool,
    settings: ChangeSettings,
) -> TakeScatter:
    """Sd from take to take: the usual one, or what three takes or more show if that is larger.

    Takes of one afternoon by one hand do not show how far those of another day lie, so few
    that agree do not make the interval narrower.

    Parameters
    ----------
    families : sequence of (takes before, takes after)
        Families found in every take.
    """
    usual_db = settings.contact_sd_db if contact else settings.hand_held_sd_db
    how = "a marked contact point" if contact else "a phone held in the hand"
    squares, freedom, counted = 0.0, 0.0, 0
    for sides in families:
        own = [_own_scatter(side, settings) for side in sides if len(side) >= _FEWEST_TAKES]
        squares += sum(one[0] for one in own)
        freedom += sum(one[1] for one in own)
        counted += bool(own)
    if not counted:
        return TakeScatter(usual_db, settings.assumed_freedom, f"usual for {how}; not measured")
    share = min(1.0, _INDEPENDENT_FAMILIES / counted)
    squares, freedom = squares * share, freedom * share
    total = settings.assumed_freedom + freedom
    variance = (settings.assumed_freedom * usual_db**2 + max(squares, 0.0)) / total
    basis = f"from the takes of {counted} families and what is usual for {how}"
    return TakeScatter(max(usual_db, float(np.sqrt(variance))), total, basis)


def _own_scatter(side: Sequence[FamilyLevel], settings: ChangeSettings) -> tuple[float, float]:
    """Sum of squares beyond what the segments explain, and its degrees of freedom. [dB²]"""
    levels = np.array([take.level_db for take in side], dtype=np.float64)
    freedom = levels.size - 1.0
    noise = float(np.mean([take.error_db**2 for take in side])) * settings.segment_inflation**2
    return float(np.sum((levels - levels.mean()) ** 2)) - freedom * noise, freedom
