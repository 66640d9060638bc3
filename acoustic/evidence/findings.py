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


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopeBand:
    """Order spectra of the envelope of one frequency band of the sound.

    `low_hz` to `high_hz` is the band whose loudness swings; `bands` are spectra over the
    order of that swing, exactly as those of the sound itself. [Hz]
    """

    low_hz: float
    high_hz: float
    bands: tuple[OrderBand, ...]


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopeSpectrum:
    """What beats, knocks or swells, and how often per turn, in several bands of the sound.

    The last of `carriers` is the mean swing of all bands together; `order_step` is the
    spacing of the engine's own lines.
    """

    carriers: tuple[EnvelopeBand, ...]
    mean_speed_hz: float
    order_step: float


@dataclass(frozen=True, slots=True)
class SwellingLine:
    """An order at which the loudness of a band of the sound swells and falls.

    No tone: nothing need sound at `frequency_hz`, which says how often it swells.

    Attributes
    ----------
    order, order_sd : float
        Swells per crankshaft turn and their standard deviation.
    frequency_hz : float
        Swells a second at the recording's mean speed. [Hz]
    excess_db : float
        Over the local floor of the band's envelope spectrum. [dB]
    p_value : float
        Chance of one such line in a recording where nothing swells (whole recording).
    persistence : float
        Share of the recording in which it is there. [-]
    low_hz, high_hz : float
        The band in which it stands out most; the whole sound where only all bands
        together show it. [Hz]
    bands : int
        In how many of the bands listened to it shows; neighbours overlap by half.
    """

    order: float
    order_sd: float
    frequency_hz: float
    excess_db: float
    p_value: float
    persistence: float
    low_hz: float
    high_hz: float
    bands: int


@dataclass(frozen=True, slots=True)
class NoiseFinding:
    """How far a recording speaks for one noise that is not a family of lines.

    Attributes
    ----------
    noise : str
        Id of the noise in the tables, such as ``"hiss"``.
    ln_ratio : float
        ln p(what was measured | it is there) - ln p(the same | it is not). Negative
        where it should have shown and did not; 0 where it could not have shown. [nat]
    level_db : float or None
        Its level against everything else in its band. [dB]
    low_hz, high_hz : float or None
        The band it was found in. [Hz]
    share : float
        Share of the recording in which it is there. [-]
    words : str
        What was measured, for people, one short clause.
    """

    noise: str
    ln_ratio: float
    level_db: float | None
    low_hz: float | None
    high_hz: float | None
    share: float
    words: str
