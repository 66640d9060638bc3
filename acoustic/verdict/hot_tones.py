"""Places of a recording where some tone is, whoever makes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.verdict.line_likelihood import LATTICE_STEP, LineTable

_HOT_RATIO = 2.5
_CLEAR_STRENGTH = 0.03


@dataclass(frozen=True, slots=True)
class HotTone:
    """A place where some tone clearly is, whoever makes it.

    `first` to `last` are lattice places that cannot be told from its peak `place`.
    `strength` is the likelihood of a stranger's tone there at the first rate.
    """

    place: int
    first: int
    last: int
    ln_order: float
    strength: float

    @property
    def clear(self) -> bool:
        """Whether the tone stands out enough to expect companions of it."""
        return self.strength > _CLEAR_STRENGTH

    @property
    def place_sd(self) -> float:
        """How uncertain its ln(order) is."""
        return place_sd(self.last - self.first)

    @property
    def certainty(self) -> float:
        """Chance that anything is there at all, strangers being as common as at first."""
        return self.strength / (1.0 + self.strength) if self.strength > 0 else 0.0


def hot_tones(table: LineTable) -> tuple[HotTone, ...]:
    """Places where some tone may be, one per window, in rising order.

    Weak ones too: whatever speaks for a line at all must not speak for two parts.
    """
    stray = table.stray
    loud = np.maximum(stray, table.weak_stray)
    candidates = np.flatnonzero(
        (loud > _HOT_RATIO)
        & (loud >= np.roll(loud, 1))
        & (loud > np.roll(loud, -1))
        & table.visible
    )
    tones: list[HotTone] = []
    taken = np.zeros(stray.size, dtype=bool)
    for place in candidates[np.argsort(-loud[candidates])]:
        if taken[place]:
            continue
        half = int(table.half_window[place])
        first, last = max(0, place - half), min(stray.size - 1, place + half)
        strength = (
            table.strangers.first_rate * LATTICE_STEP * float(np.sum(stray[first : last + 1] - 1.0))
        )
        taken[first : last + 1] = True
        tones.append(HotTone(int(place), first, last, float(table.ln_order[place]), strength))
    return tuple(sorted(tones, key=lambda tone: tone.place))


def place_sd(window: int) -> float:
    """Standard deviation of a tone's ln(order), from the width of its window."""
    return window * LATTICE_STEP / 12 + 1.5e-4
