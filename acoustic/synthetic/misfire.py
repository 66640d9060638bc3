"""Misfire: which firings of a recording are weak, and how weak.

One cylinder misses in every working cycle or in a share of them, or all cylinders miss now
and then as on a lean mixture. The comb and the combustion noise of one recording are made
from the same firings.

One firing of amplitude a among N - 1 sound ones leaves (1 - a)/(N - 1 + a) of the firing order
at the half orders (derived: N alike pulses cancel there). Of four that is -10 dB for a dead
cylinder, -15 dB at the planted level of 0 dB and -22 dB at -6 dB; sound engines have -11 to
-23 dB. So 0 dB is a cylinder that still burns in part; one that does not burn at all, which
is what engine diagnostics call a misfire (from memory), lies at +8 dB. The dip of the crank's
speed after a weak firing is not made.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.made_noise import of_this_recording
from acoustic.synthetic.random_curves import Floats, draw

# Common practice, no source, for all of these.
AMPLITUDE_AT_0_DB = 0.4  # of a weak firing against a sound one
AMPLITUDE_PER_DB = -0.05
EVERY_CYCLE_CHANCE = 0.5
SHARE_ONE_CYLINDER = (0.3, 1.0)  # of its cycles, where not every one
SHARE_ALL_CYLINDERS = (0.15, 0.4)  # of all firings
LOSS_SCATTER = 0.2  # relative sd of what is lost, from weak firing to weak firing


def weak_amplitude(level_db: float) -> float:
    """Amplitude of a weak firing for a planted level: .7, .4 and .1 at -6, 0 and +6 dB.

    A missing firing is no power over a rest in a band. Its level says how plain it is: 0 dB
    is a misfire anybody hears, +6 dB a cylinder as good as dead, -6 dB a slight one.

    >>> [round(weak_amplitude(level_db), 6) for level_db in (-6.0, 0.0, 6.0, 20.0)]
    [0.7, 0.4, 0.1, 0.0]
    """
    return min(max(AMPLITUDE_AT_0_DB + AMPLITUDE_PER_DB * level_db, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class Misfire:
    """How an engine misfires, the same in every recording of a scene.

    Attributes
    ----------
    cylinder : int or None
        Place in the firing sequence, from 0; None is all cylinders at random.
    amplitude : float
        Of a weak firing against a sound one. [-]
    share : float
        Share of the cylinder's firings (of all firings) that are weak. [-]
    seed : int
        Of which firings are weak; they are others in every recording.
    """

    cylinder: int | None
    amplitude: float
    share: float
    seed: int

    def amplitudes(self, crank: CrankTurning, cycles: int, firings: int) -> Floats:
        """Amplitude of every firing of one recording, 1 where it is sound.

        Shape (cycles, firings); the first cycles are the same however many are asked for.
        """
        rng = of_this_recording(np.random.default_rng(self.seed), crank)
        drawn = rng.uniform(size=(cycles, 2, firings))
        weak = drawn[:, 0] < self.share
        spread = 1.0 + LOSS_SCATTER * math.sqrt(12.0) * (drawn[:, 1] - 0.5)
        if self.cylinder is not None:
            weak &= np.arange(firings) == self.cylinder % firings
        left = np.maximum(1.0 - (1.0 - self.amplitude) * spread, 0.0)
        return np.where(weak, left, 1.0)


def draw_misfire(
    level_db: float, firings: int, rng: np.random.Generator, *, one_cylinder: bool
) -> Misfire:
    """Draw which cylinder misfires, and how often.

    Parameters
    ----------
    level_db : float
        See `weak_amplitude`. [dB]
    firings : int
        In a working cycle.
    one_cylinder : bool
        Else all cylinders misfire at random.
    """
    seed, cylinder = int(rng.integers(2**63)), int(rng.integers(firings))
    amplitude = weak_amplitude(level_db)
    if not one_cylinder:
        return Misfire(None, amplitude, draw(rng, SHARE_ALL_CYLINDERS), seed)
    share = 1.0 if rng.uniform() < EVERY_CYCLE_CHANCE else draw(rng, SHARE_ONE_CYLINDER)
    return Misfire(cylinder, amplitude, share, seed)
