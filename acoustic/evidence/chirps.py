"""Chirps: tones of some hundredths of a second, as of a belt that enters a pulley askew.

A chirp stands out of its neighbours both in frequency, which a knock does not, and in
time, which a steady tone does not; and it lasts longer than a knock's ringing. The cries of
one source have one pitch, so those of the commonest pitch are taken together; how loud
they are against the whole recording says how sure it is that something chirps, unless most
of what stands out beside them is too short for a cry: then a loose part bounces.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.short_time import ShortTimePiece, ShortTimeSpectrum, over_both_sides
from acoustic.evidence.weighing import Weighing, cannot_tell, not_there
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

NOISE = "chirps"
_ANGLE_STEP_S = 0.01
_TINY = 1e-20


@dataclass(frozen=True, slots=True)
class ChirpSettings:
    """What counts as a chirp, and what chirps are worth as evidence.

    Attributes
    ----------
    band_hz : (float, float)
        Where belts cry; common practice, no source. [Hz]
    smoothing_frames : int
        Frames averaged: about the length of a chirp.
    beside_hz, guard_hz : float
        A cry is compared with what lies within `beside_hz` of it, without `guard_hz`. [Hz]
    usual_share : float
        Share of the time in which even the busiest chirp is silent; a tone that stands
        out longer is measured against itself. [-]
    least_ratio : float
        Power over that beside it. [-]
    apart_s : float
        Cries are at least this far apart. [s]
    silent_s, silent_share : (float, float), float
        At some time as far as this from its middle, on both sides, a cry is below this
        share of its power: a tone that lasts is none. [s], [-]
    about_s, shortest_cry_s : float
        Within `about_s` of its middle a cry must last so long: (∫p)²/∫p² of its power p,
        half its length for a cry that swells and dies away as a sine. [s]
    pitch_spread : float
        Cries of one source lie within this of each other, relative. [-]
    fewest : int
        Fewer cries of one pitch are chance.
    knock_weight : float
        The figure falls by so many times the level of the share that is cries, of all that
        stands out at their pitch. Fitted beside the strength on tuning scenes. [-]
    least_figure_db : float
        What is fainter is chance.
    shortest_s : float
        A shorter recording says nothing. [s]
    weighing : Weighing
        Figure: `chirp_figure`. Fitted by tests/trial/fit_noises.py.
    """

    band_hz: tuple[float, float] = (900.0, 5500.0)
    smoothing_frames: int = 3
    beside_hz: float = 560.0
    guard_hz: float = 100.0
    usual_share: float = 0.3
    least_ratio: float = 8.0
    apart_s: float = 0.025
    silent_s: tuple[float, float] = (0.04, 0.11)
    silent_share: float = 0.3
    about_s: float = 0.035
    shortest_cry_s: float = 0.0095
    pitch_spread: float = 0.04
    fewest: int = 4
    knock_weight: float = 2.0
    least_figure_db: float = 0.0
    shortest_s: float = 4.0
    weighing: Weighing = field(default_factory=lambda: Weighing(9.0, 0.42, -1.5, 4.5))


@dataclass(frozen=True, slots=True, eq=False)
class ChirpTrain:
    """The cries of one pitch in one recording.

    Attributes
    ----------
    times_s : ndarray, shape (cries,)
        Middle of each, from the recording's first sample. [s]
    turns : ndarray, shape (cries,)
        Crank angle, running on over all stretches used. [rev]
    ratio : ndarray, shape (cries,)
        Power over that beside it in frequency. [-]
    piece : ndarray of int, shape (cries,)
        Which of the stretches used each lies in.
    pitch_hz : float
        Median frequency. [Hz]
    share_of_all : float
        Power of these over that of all cries of any pitch. [-]
    others_per_s : float
        Cries of other pitches. [1/s]
    seconds, revolutions : float
        Time and turns of the crankshaft looked at. [s], [rev]
    """

    times_s: Floats
    turns: Floats
    ratio: Floats
    piece: NDArray[np.intp]
    pitch_hz: float
    share_of_all: float
    others_per_s: float
    seconds: float
    revolutions: float

    @property
    def per_second(self) -> float:
        """How many there are. [1/s]"""
        return self.times_s.size / self.seconds

    @property
    def strength_db(self) -> float:
        """Mean over the recording of the cries' power over that beside them. [dB]"""
        power = float(np.sum(self.ratio - 1.0)) / self.seconds
        return 10.0 * float(np.log10(max(power, 1e-2)))


@dataclass(frozen=True, slots=True, eq=False)
class _Cries:
    """Cries of any pitch: time, frequency, ratio and piece, each shape (cries,)."""

    times_s: Floats
    pitch_hz: Floats
    ratio: Floats
    piece: NDArray[np.intp]


def find_chirps(
    spectrum: ShortTimeSpectrum,
    swift: ShortTimeSpectrum,
    speed: SpeedTrace,
    settings: ChirpSettings | None = None,
) -> ChirpTrain | None:
    """Find the cries of the pitch that stands out most; None where none are or could be found.

    Parameters
    ----------
    spectrum, swift : ShortTimeSpectrum
        The same sound in frames of about 0.02 s and of about 0.005 s.
    speed : SpeedTrace
    settings : ChirpSettings, optional
    """
    settings = settings or ChirpSettings()
    if not _can_tell(spectrum, settings):
        return None
    cries = _that_last(_all_cries(spectrum, settings), swift, settings)
    if cries.times_s.size < settings.fewest:
        return None
    near = np.abs(np.log(cries.pitch_hz[:, None] / cries.pitch_hz)) < settings.pitch_spread
    chosen = near[np.argmax(near @ (cries.ratio - 1.0))]
    if np.count_nonzero(chosen) < settings.fewest:
        return None
    turns, revolutions = _crank_angle(spectrum, speed, cries)
    power = cries.ratio - 1.0
    return ChirpTrain(
        times_s=cries.times_s[chosen],
        turns=turns[chosen],
        ratio=cries.ratio[chosen],
        piece=cries.piece[chosen],
        pitch_hz=float(np.median(cries.pitch_hz[chosen])),
        share_of_all=float(power[chosen].sum() / power.sum()),
        others_per_s=float(np.count_nonzero(~chosen)) / spectrum.seconds,
        seconds=spectrum.seconds,
        revolutions=revolutions,
    )


def _can_tell(spectrum: ShortTimeSpectrum, settings: ChirpSettings) -> bool:
    """Whether cries could have shown: sound enough, and some of it where they lie."""
    band = spectrum.bins(*settings.band_hz)
    short = spectrum.seconds < settings.shortest_s or spectrum.silent
    return not short and band.stop > band.start


def _all_cries(spectrum: ShortTimeSpectrum, settings: ChirpSettings) -> _Cries:
    """Cries of every pitch in all pieces."""
    columns: list[tuple[Floats, Floats, Floats, NDArray[np.intp]]] = []
    for number, piece in enumerate(spectrum.pieces):
        times_s, pitch_hz, ratio = _cries_of(piece, spectrum, settings)
        columns.append((times_s, pitch_hz, ratio, np.full(times_s.size, number, np.intp)))
    if not columns:
        nothing = np.empty(0)
        return _Cries(nothing, nothing, nothing, np.empty(0, np.intp))
    times, pitches, ratios, pieces = zip(*columns, strict=True)
    return _Cries(
        np.concatenate(times),
        np.concatenate(pitches),
        np.concatenate(ratios),
        np.concatenate(pieces),
    )


def _cries_of(
    piece: ShortTimePiece, spectrum: ShortTimeSpectrum, settings: ChirpSettings
) -> tuple[Floats, Floats, Floats]:
    """Time, frequency and ratio of the cries in one piece."""
    inside = spectrum.bins(*settings.band_hz)
    power = uniform_filter1d(piece.power, settings.smoothing_frames, axis=0, mode="nearest")
    ratio = over_both_sides(power, inside, spectrum, settings.beside_hz, settings.guard_hz)
    if not ratio.size:
        return np.empty(0), np.empty(0), np.empty(0)
    frequency_hz = np.arange(inside.start, inside.stop) * spectrum.spacing_hz
    usual = np.quantile(ratio, settings.usual_share, axis=0)
    # Noise alone lies near 0.7 at that share: a mean of few frames is skew.
    ratio /= np.maximum(usual / 0.7, 1.0)
    pitch = np.argmax(ratio, axis=1)
    loudest = ratio[np.arange(pitch.size), pitch]
    apart = 2 * round(settings.apart_s / spectrum.hop_s) + 1
    cry = loudest >= np.maximum(maximum_filter1d(loudest, apart), settings.least_ratio)
    at = np.flatnonzero(cry)
    at = at[_dies_away(power[:, inside], at, pitch[at], spectrum.hop_s, settings)]
    return (
        _middle_s(piece, ratio, at, pitch[at]),
        frequency_hz[pitch[at]],
        loudest[at].astype(np.float64),
    )


def _dies_away(
    power: NDArray[np.float32],
    at: NDArray[np.intp],
    pitch: NDArray[np.intp],
    hop_s: float,
    settings: ChirpSettings,
) -> NDArray[np.bool_]:
    """Whether each cry was silent shortly before and is so shortly after."""
    near, far = (round(edge_s / hop_s) for edge_s in settings.silent_s)
    about = np.clip(pitch[:, None] + np.arange(-1, 2), 0, power.shape[1] - 1)[:, None, :]
    least = np.zeros(at.size, np.float32)
    for side in (-1, 1):
        frames = np.clip(at[:, None] + side * np.arange(near, far + 1), 0, power.shape[0] - 1)
        level = power[frames[:, :, None], about].max(axis=2)
        least = np.maximum(least, level.min(axis=1))
    return np.asarray(least < settings.silent_share * power[at, pitch])


def _middle_s(
    piece: ShortTimePiece,
    ratio: NDArray[np.float32],
    at: NDArray[np.intp],
    pitch: NDArray[np.intp],
) -> Floats:
    """Centre of gravity in time of each cry. [s]"""
    near = np.clip(at[:, None] + np.arange(-3, 4), 0, piece.time_s.size - 1)
    weight = np.maximum(ratio[near, pitch[:, None]].astype(np.float64) - 1.0, 0.0)
    return np.asarray(
        np.sum(weight * piece.time_s[near], axis=1) / np.maximum(weight.sum(axis=1), _TINY)
    )


def _that_last(cries: _Cries, swift: ShortTimeSpectrum, settings: ChirpSettings) -> _Cries:
    """Leave out the ringing of knocks, which is over too soon."""
    lasts = np.zeros(cries.times_s.size, dtype=bool)
    reach = round(settings.about_s / swift.hop_s)
    for piece in swift.pieces:
        inside = (cries.times_s >= piece.time_s[0]) & (cries.times_s <= piece.time_s[-1])
        frames = np.round((cries.times_s[inside] - piece.time_s[0]) / swift.hop_s).astype(np.intp)
        frames = np.clip(frames[:, None] + np.arange(-reach, reach + 1), 0, piece.time_s.size - 1)
        column = np.round(cries.pitch_hz[inside] / swift.spacing_hz).astype(np.intp)
        column = np.clip(column, 1, piece.power.shape[1] - 2)[:, None]
        power = sum(piece.power[frames, column + side].astype(np.float64) for side in (-1, 0, 1))
        power = np.maximum(power - np.median(power, axis=1, keepdims=True), 0.0)
        squares = np.maximum(np.sum(power**2, axis=1), _TINY**2)
        lasts[inside] = power.sum(axis=1) ** 2 / squares * swift.hop_s >= settings.shortest_cry_s
    return _Cries(
        cries.times_s[lasts], cries.pitch_hz[lasts], cries.ratio[lasts], cries.piece[lasts]
    )


def _crank_angle(
    spectrum: ShortTimeSpectrum, speed: SpeedTrace, cries: _Cries
) -> tuple[Floats, float]:
    """Crank angle of each cry, running on over the pieces, and turns in all. [rev]"""
    turns, turned = np.empty(cries.times_s.size), 0.0
    for number, piece in enumerate(spectrum.pieces):
        start, end = piece.time_s[0], piece.time_s[-1] + spectrum.hop_s
        time_s = np.arange(start, end + _ANGLE_STEP_S, _ANGLE_STEP_S)
        hz = speed.at(time_s)
        angle = np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1]) * _ANGLE_STEP_S)])
        here = cries.piece == number
        turns[here] = turned + np.interp(cries.times_s[here], time_s, angle)
        turned += float(angle[-1])
    return turns, turned


def chirp_finding(
    spectrum: ShortTimeSpectrum,
    train: ChirpTrain | None,
    share_of_knocks: float = 1.0,
    settings: ChirpSettings | None = None,
) -> NoiseFinding:
    """How far a recording speaks for something that chirps.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        As for `find_chirps`.
    train : ChirpTrain or None
        What `find_chirps` found in it.
    share_of_knocks : float
        From `acoustic.evidence.impacts.share_in_cries`. [-]
    settings : ChirpSettings, optional
    """
    settings = settings or ChirpSettings()
    if not _can_tell(spectrum, settings):
        return cannot_tell(NOISE, "too short to tell")
    if train is None:
        return not_there(NOISE, settings.weighing, "no short cries")
    figure = chirp_figure(train, share_of_knocks, settings)
    if figure <= settings.least_figure_db:
        return not_there(NOISE, settings.weighing, "no short cries of their own")
    spread = settings.pitch_spread * train.pitch_hz
    busy_s = train.times_s.size * settings.smoothing_frames * spectrum.hop_s
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=settings.weighing.ln_ratio(figure),
        level_db=train.strength_db,
        low_hz=train.pitch_hz - spread,
        high_hz=train.pitch_hz + spread,
        share=min(1.0, busy_s / train.seconds),
        words=f"{train.per_second:.1f} short cries a second near {train.pitch_hz:.0f} Hz",
    )


def chirp_figure(
    train: ChirpTrain, share_of_knocks: float = 1.0, settings: ChirpSettings | None = None
) -> float:
    """The figure that is weighed. [dB]

    Strength, less where cries of other pitches are as loud, or where most of what stands out
    at their pitch is no cry.
    """
    weight = (settings or ChirpSettings()).knock_weight
    share = train.share_of_all * share_of_knocks**weight
    return train.strength_db + 10.0 * float(np.log10(share))
