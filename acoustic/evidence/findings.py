"""What the sound shows: the order spectrum and the findings drawn from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class OrderBand:
    """One band of the order spectrum, with its own resolution.

    Attributes
    ----------
    orders : ndarray, shape (bins,)
        Centre of each bin, per crankshaft turn.
    revolutions : int
        Turns of the crankshaft in one segment; bin width is ``1 / revolutions``.
    level_db : ndarray, shape (bins,)
        Mean power, each segment normalised by its own median in the band. [dB]
    floor_db : ndarray, shape (bins,)
        Greater-of median noise floor on the same scale. [dB]
    excess : ndarray, shape (bins,)
        ln(power / floor), unbiased by the median ratio. [nat]
    engine : ndarray of bool, shape (bins,)
        Bins that belong to the engine's own comb.
    visible : ndarray of bool, shape (bins,)
        Bins above the phone's high-pass, below the codec's cut-off and not engine.
    segments : int
    freedom : float
        Degrees of freedom of the mean power, ``2 K_e``.
    persistence : ndarray, shape (bins,)
        Share of segments with the bin above twice the floor. [-]
    """

    orders: Floats
    revolutions: int
    level_db: Floats
    floor_db: Floats
    excess: Floats
    engine: Flags
    visible: Flags
    segments: int
    freedom: float
    persistence: Floats


@dataclass(frozen=True, slots=True, eq=False)
class OrderSpectrum:
    """Order spectrum of one recording in bands of falling resolution."""

    bands: tuple[OrderBand, ...]
    mean_speed_hz: float
    highest_hz: float
    lowest_hz: float
    revolutions_used: float


@dataclass(frozen=True, slots=True)
class Tone:
    """A line that stands out of the floor.

    Attributes
    ----------
    order, order_sd : float
        Position per crankshaft turn and its standard deviation.
    frequency_hz : float
        At the recording's mean speed. [Hz]
    excess_db : float
        Over the local floor. [dB]
    tone_to_noise_db : float
        Tone-to-noise ratio in the critical band (ECMA-418-1). [dB]
    prominent : bool
        Whether ECMA-418-1 would call it prominent, that is plainly audible.
    p_value : float
        Chance of one such line in a fault-free recording (whole recording).
    persistence : float
        Share of the recording in which it is there. [-]
    kind : str
        ``"follows speed"``, ``"fixed frequency"`` or ``"cannot tell"``.
    on_comb : bool
        True for a line on the engine's comb that is too loud for its neighbours.
    """

    order: float
    order_sd: float
    frequency_hz: float
    excess_db: float
    tone_to_noise_db: float
    prominent: bool
    p_value: float
    persistence: float
    kind: Literal["follows speed", "fixed frequency", "cannot tell"]
    on_comb: bool = False
