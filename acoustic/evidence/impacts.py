"""Short knocks: moments at which a band is far louder than is usual at that crank angle.

Near an engine every band swells with each firing, and injectors and valves tick in step.
A threshold over the plain level would follow that: it would call the ticks knocks, and
hear a rattle only in the quiet angles between two firings, where it then seems to be in
step with them. So each moment is compared with the same angle of the other working
cycles: with their median, in units of their own scatter.

A short cry, as of a belt, stands out of its angle as a knock does. What is known to be a
cry is therefore marked: it is no knock, though it shows what it keeps step with.

References
----------
.. [1] J. Antoni, Cyclostationarity by examples, Mechanical Systems and Signal Processing
   23 (2009) 987-1036 (from memory): what repeats with the cycle, and what is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.evidence.chirps import ChirpTrain
from acoustic.evidence.engine_phase import CrankAngle, PhaseSettings, crank_angle
from acoustic.evidence.stretch_spectrum import StretchSpectrum, spectra_of
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

CYCLE_TURNS = 2.0  # a two-stroke repeats twice in it
_DB = 10 / np.log(10)


@dataclass(frozen=True, slots=True)
class ImpactSettings:
    """Bands, and what counts as a knock.

    Attributes
    ----------
    bands_hz : tuple of (float, float)
        Where knocks are looked for. [Hz]
    smoothing_s : float
        The power is averaged over about this long. [s]
    points : int
        Crank angles in a working cycle of two turns at which the band is looked at.
    level_turns : float
        Turns over which the slow level (automatic gain, a moving hand) is followed.
    threshold : float
        Knocks stand this many scatters over the median of their angle.
    least_db : float
        And at least this far over it. [dB]
    most_scatter : float
        An angle may scatter at most this much more than the calm quarter of angles, so
        that a rattle in most cycles does not raise its own threshold.
    loudest_db : float
        Louder knocks weigh no more than this: a few bumps are no rattle. [dB]
    dead_s : float
        What follows within this time belongs to the same knock. [s]
    fewest_cycles : int
        Shorter stretches say too little about what is usual.
    cry_s : float
        What lies this close to the middle of a cry is part of it: half of the longest. [s]
    few_knocks : float
        Knocks that a sound engine leaves: so many more or less say nothing.
    """

    bands_hz: tuple[tuple[float, float], ...] = (
        (800.0, 1600.0),
        (1400.0, 2800.0),
        (2400.0, 4800.0),
        (4000.0, 8000.0),
    )
    smoothing_s: float = 0.0025
    points: int = 128
    level_turns: float = 6.0
    threshold: float = 3.5
    least_db: float = 4.0
    most_scatter: float = 1.5
    loudest_db: float = 18.0
    dead_s: float = 0.008
    fewest_cycles: int = 12
    cry_s: float = 0.03
    few_knocks: float = 3.0
    phase: PhaseSettings = field(default_factory=PhaseSettings)


@dataclass(frozen=True, slots=True, eq=False)
class ImpactTrain:
    """The knocks of one band of one recording.

    Attributes
    ----------
    times_s : ndarray, shape (knocks,)
        Seconds from the first sample of the recording. [s]
    turns : ndarray, shape (knocks,)
        Crank angle, running on over all stretches used. [rev]
    strength_db : ndarray, shape (knocks,)
        Over the median of the same crank angle. [dB]
    level_db : ndarray, shape (knocks,)
        Over the usual level of the band, the mean over the cycle. [dB]
    needed_db : ndarray, shape (points,)
        What a knock must reach at each angle of the working cycle, as `level_db`. [dB]
    piece : ndarray of int, shape (knocks,)
        Which of the stretches used each knock lies in.
    cry : ndarray of bool, shape (knocks,)
        What is part of a cry: no knock, but it keeps step with what makes it cry.
    low_hz, high_hz : float
        The band. [Hz]
    seconds, revolutions : float
        Time and turns of the crankshaft looked at. [s], [rev]
    excess : float
        Power of the knocks, without cries, over what is usual in the band, each taken to
        last as long as the power is averaged and to be no louder than
        `ImpactSettings.loudest_db`. [-]
    """

    times_s: Floats
    turns: Floats
    strength_db: Floats
    level_db: Floats
    needed_db: Floats
    piece: NDArray[np.intp]
    cry: NDArray[np.bool_]
    low_hz: float
    high_hz: float
    seconds: float
    revolutions: float
    excess: float

    @property
    def knocks(self) -> int:
        """How many there are that are no cries."""
        return int(np.count_nonzero(~self.cry))


def find_impacts(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    settings: ImpactSettings | None = None,
    cries: ChirpTrain | None = None,
) -> ImpactTrain | None:
    """Find the knocks in the band where most stand out, and furthest, in dB all told.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
    speed : SpeedTrace
    engine : Engine
    highest_hz : float
        Codec's or microphone's cut-off. [Hz]
    settings : ImpactSettings, optional
    cries : ChirpTrain, optional
        Short cries of the same recording.

    Returns
    -------
    ImpactTrain or None
        None where no band or no stretch is fit to look at.
    """
    return most_knocks(
        band_trains(recording, stretches, speed, engine, highest_hz, settings, cries)
    )


def most_knocks(trains: Sequence[ImpactTrain]) -> ImpactTrain | None:
    """The train whose knocks stand out furthest, in dB all told; None of none."""
    return max(trains, key=lambda one: float(one.strength_db[~one.cry].sum()), default=None)


def share_in_cries(
    trains: Sequence[ImpactTrain], cries: ChirpTrain | None, settings: ImpactSettings | None = None
) -> float:
    """Share of what stands out in the bands of a cry's pitch that is part of the cry.

    A belt that cries leaves nearly all of it in cries; where a loose part bounces, a few of
    its knocks ring on long enough to be taken for cries, and the others say so.

    Returns
    -------
    float
        1 where nothing else stands out, or there are no cries.
    """
    settings = settings or ImpactSettings()
    if cries is None:
        return 1.0
    own = [one.cry for one in trains if one.low_hz <= cries.pitch_hz <= one.high_hz]
    inside, everything = (sum(map(count, own)) for count in (np.count_nonzero, np.size))
    return float((inside + settings.few_knocks) / (everything + settings.few_knocks))


def band_trains(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    settings: ImpactSettings | None = None,
    cries: ChirpTrain | None = None,
) -> tuple[ImpactTrain, ...]:
    """Knocks of every band that lies mostly below `highest_hz`. Arguments as `find_impacts`."""
    settings = settings or ImpactSettings()
    bands = [
        (low, min(high, highest_hz))
        for low, high in settings.bands_hz
        if min(high, highest_hz) > low + 0.6 * (high - low)
    ]
    pieces: list[list[_Piece]] = [[] for _ in bands]
    turned = 0.0
    for sound in spectra_of(recording, stretches):
        angle = crank_angle(sound, speed, engine, settings.phase)
        cycles = int(angle.turns[-1] / CYCLE_TURNS)
        if cycles < settings.fewest_cycles:
            continue
        for found, limits_hz in zip(pieces, bands, strict=True):
            found.append(_look_at(sound, angle, turned, limits_hz, settings))
        turned += cycles * CYCLE_TURNS
    return tuple(
        _joined(found, limits_hz, settings, cries)
        for found, limits_hz in zip(pieces, bands, strict=True)
        if found
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """Knocks of one band in one stretch; fields as in `ImpactTrain`."""

    times_s: Floats
    turns: Floats
    strength_db: Floats
    level_db: Floats
    needed_db: Floats
    seconds: float
    revolutions: float


def _look_at(
    sound: StretchSpectrum,
    angle: CrankAngle,
    turned: float,
    limits_hz: tuple[float, float],
    settings: ImpactSettings,
) -> _Piece:
    """Knocks of one band in one stretch; `turned` is the crank angle at its start."""
    points = settings.points
    cycles = int(angle.turns[-1] / CYCLE_TURNS)
    per_turn = points / CYCLE_TURNS
    turns = np.asarray((np.arange(cycles * points) + 0.5) / per_turn, dtype=np.float64)
    times_s = np.interp(turns, angle.turns, angle.time_s)
    level = _log_power(sound, times_s, limits_hz, settings)
    spread = round(settings.level_turns * points / CYCLE_TURNS)
    level -= uniform_filter1d(level, spread, mode="reflect")
    usual, needed = _usual_and_needed(level.reshape(cycles, points), settings)
    per_second = level.size / (times_s[-1] - times_s[0])
    over = level - np.tile(needed, cycles)
    knock = _separate_peaks(over, round(settings.dead_s * per_second))
    mean = 10 * np.log10(np.exp(usual).mean())
    strength = level[knock] - np.tile(usual, cycles)[knock]
    return _Piece(
        times_s=times_s[knock],
        turns=turned + turns[knock],
        strength_db=_DB * strength,
        level_db=_DB * level[knock] - mean,
        needed_db=_DB * needed - mean,
        seconds=float(times_s[-1] - times_s[0]),
        revolutions=cycles * CYCLE_TURNS,
    )


def _log_power(
    sound: StretchSpectrum,
    times_s: Floats,
    limits_hz: tuple[float, float],
    settings: ImpactSettings,
) -> Floats:
    """Logarithm of a band's short-time power at the times wanted. [nat]"""
    signal, rate_hz = sound.band(*limits_hz)
    power = signal.real**2 + signal.imag**2
    power = uniform_filter1d(power, max(1, round(settings.smoothing_s * rate_hz)), mode="reflect")
    place = np.minimum(((times_s - sound.start_s) * rate_hz).astype(np.intp), power.size - 1)
    return np.asarray(np.log(np.maximum(power[place], 1e-20).astype(np.float64)))


def _usual_and_needed(table: Floats, settings: ImpactSettings) -> tuple[Floats, Floats]:
    """Median at each angle of the cycle, and what a knock must reach there. [nat]

    The scatter is read below the median: knocks lie above it.
    """
    low, median = np.quantile(table, (0.1587, 0.5), axis=0)
    usual = gaussian_filter1d(median, 1.0, mode="wrap")
    scatter = gaussian_filter1d(median - low, 2.0, mode="wrap")
    scatter = np.minimum(scatter, settings.most_scatter * np.quantile(scatter, 0.25))
    return usual, usual + np.maximum(settings.threshold * scatter, settings.least_db / _DB)


def _separate_peaks(over: Floats, apart: int) -> NDArray[np.intp]:
    """Places where `over` is above 0 and the largest within `apart` to both sides."""
    peak = (over > 0) & (over == maximum_filter1d(over, 2 * apart + 1, mode="constant", cval=-1.0))
    return np.flatnonzero(peak)


def _part_of_cries(
    times_s: Floats,
    limits_hz: tuple[float, float],
    cries: ChirpTrain | None,
    settings: ImpactSettings,
) -> NDArray[np.bool_]:
    """Whether each moment lies within a cry whose pitch is in the band."""
    if cries is None or not limits_hz[0] <= cries.pitch_hz <= limits_hz[1]:
        return np.zeros(times_s.size, dtype=np.bool_)
    middle = np.sort(cries.times_s)
    first, last = (
        np.searchsorted(middle, times_s + side * settings.cry_s, "left" if side < 0 else "right")
        for side in (-1, 1)
    )
    return np.asarray(last > first)


def _joined(
    pieces: list[_Piece],
    limits_hz: tuple[float, float],
    settings: ImpactSettings,
    cries: ChirpTrain | None,
) -> ImpactTrain:
    counts = [piece.times_s.size for piece in pieces]
    times_s = np.concatenate([p.times_s for p in pieces])
    cry = _part_of_cries(times_s, limits_hz, cries, settings)
    level_db = np.concatenate([p.level_db for p in pieces])
    seconds = sum(p.seconds for p in pieces)
    power = np.sum(10 ** (np.minimum(level_db[~cry], settings.loudest_db) / 10))
    return ImpactTrain(
        times_s=times_s,
        turns=np.concatenate([p.turns for p in pieces]),
        strength_db=np.concatenate([p.strength_db for p in pieces]),
        level_db=level_db,
        needed_db=np.stack([p.needed_db for p in pieces]),
        piece=np.repeat(np.arange(len(pieces)), counts),
        cry=cry,
        low_hz=limits_hz[0],
        high_hz=limits_hz[1],
        seconds=seconds,
        revolutions=sum(p.revolutions for p in pieces),
        excess=float(power) * settings.smoothing_s / seconds,
    )
