"""Squeal: a loud tone with a will of its own, as of a slipping belt.

Much that whines near an engine is loud too, but follows the speed (pumps, gears,
generators) or stays put (mains, electronics, a horn of a resonance). A squeal drifts
without the speed, or starts and stops. So tones that last are traced, those of one pitch
taken together, and it is asked whether their pitch wanders by itself, and whether they
come and go.

References
----------
The variance of a slow drift under measuring noise is read from the covariance of the pitch
with itself a little later, which noise that is new each time does not enter (derived).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import find_objects, label

from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.short_time import Powers, ShortTimePiece, ShortTimeSpectrum, over_both_sides
from acoustic.evidence.weighing import Weighing, cannot_tell, not_there
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

NOISE = "squeal"
_TINY = 1e-20
_LOUD_ENOUGH_DB = 15.0


@dataclass(frozen=True, slots=True)
class SquealSettings:
    """What counts as a lasting tone, when it has a will of its own, and what that is worth.

    Attributes
    ----------
    band_hz : (float, float)
        Where belts squeal; common practice, no source. [Hz]
    averaged_frames : int
        Frames taken together, half of them new each time.
    beside_hz, guard_hz : float
        A tone is compared with what lies within `beside_hz` of it, without `guard_hz`. [Hz]
    least_ratio : float
        Power over that beside it. [-]
    least_unbroken : float
        Least power of a frame over the mean of those taken together: noise in a
        resonance, and cries that follow each other closely, have gaps. [-]
    shortest_s : float
        A shorter tone is a cry. [s]
    pitch_spread : float
        Tones of one source lie within this of each other, relative. [-]
    lag_s : float
        Pitch is compared with itself so much later. [s]
    drift : float
        A pitch that wanders this much by itself (rms) is half of full weight. [-]
    contrast_db : (float, float)
        Tone against the same place while it is silent: nothing, and full weight. [dB]
    fewest_silent : int
        Fewer blocks of silence say nothing of what it is like.
    switched_weight : float
        Of a tone that comes and goes, but follows the speed while it is there.
    least_weight : float
        Of a tone that follows the speed or never moves. [-]
    least_figure_db : float
        What is fainter or less of its own will is chance.
    least_recording_s : float
        A shorter recording says nothing. [s]
    weighing : Weighing
        Figure: that of `Squeal`. Fitted by tests/trial/fit_noises.py.
    """

    band_hz: tuple[float, float] = (650.0, 8000.0)
    averaged_frames: int = 4
    beside_hz: float = 260.0
    guard_hz: float = 70.0
    least_ratio: float = 7.0
    least_unbroken: float = 0.3
    shortest_s: float = 0.3
    pitch_spread: float = 0.08
    lag_s: float = 0.15
    drift: float = 0.012
    contrast_db: tuple[float, float] = (5.0, 9.0)
    fewest_silent: int = 8
    switched_weight: float = 0.2
    least_weight: float = 0.001
    least_figure_db: float = -12.0
    least_recording_s: float = 4.0
    weighing: Weighing = field(default_factory=lambda: Weighing(-7.3, 0.43, -2.0, 4.5))


@dataclass(frozen=True, slots=True, eq=False)
class Squeal:
    """The lasting tone of a recording that has most of a will of its own.

    Attributes
    ----------
    pitch_hz : float
        Median. [Hz]
    share : float
        Share of the recording in which it sounds. [-]
    strength_db : float
        Mean over the recording of its power over that beside it. [dB]
    drift : float
        Rms wander of its pitch that does not follow the speed. [-]
    contrast_db : float
        Its level over that of the same place while it is silent. [dB]
    weight : float
        How far it has a will of its own, 0 to 1. [-]
    """

    pitch_hz: float
    share: float
    strength_db: float
    drift: float
    contrast_db: float
    weight: float

    @property
    def figure(self) -> float:
        """What is weighed: strength, less what it lacks of a will of its own. [dB]

        However loud, a tone without any is worth no more.
        """
        return min(self.strength_db, _LOUD_ENOUGH_DB) + 10.0 * float(np.log10(self.weight))


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    """Blocks of one stretch: power over both sides, and where anything like a tone is.

    Shape (blocks, bins) both.
    """

    ratio: NDArray[np.float32]
    taken: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Trace:
    """One tone while it lasts: time, pitch and power over both sides, shape (blocks,).

    It lies in `rows` of `blocks` and is loudest in the bin `column`.
    """

    time_s: Floats
    pitch_hz: Floats
    ratio: Floats
    blocks: _Blocks
    rows: slice
    column: int


def find_squeal(
    spectrum: ShortTimeSpectrum, speed: SpeedTrace, settings: SquealSettings | None = None
) -> Squeal | None:
    """Find the lasting tone with most of a will of its own; None where no tone lasts.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        Frames of about 0.04 s.
    speed : SpeedTrace
    settings : SquealSettings, optional
    """
    settings = settings or SquealSettings()
    traces = [t for piece in spectrum.pieces for t in _traces(piece, spectrum, settings)]
    found = None
    while traces:
        loudest = max(traces, key=lambda trace: float(np.sum(trace.ratio)))
        pitch = np.median(loudest.pitch_hz)
        one: list[_Trace] = []
        others: list[_Trace] = []
        for trace in traces:
            near = abs(np.log(np.median(trace.pitch_hz) / pitch)) < settings.pitch_spread
            (one if near else others).append(trace)
        squeal = _judge(one, spectrum, speed, settings)
        if found is None or squeal.figure > found.figure:
            found = squeal
        traces = others
    return found


def _traces(
    piece: ShortTimePiece, spectrum: ShortTimeSpectrum, settings: SquealSettings
) -> list[_Trace]:
    """Every tone of one stretch that lasts."""
    count, hop = settings.averaged_frames, settings.averaged_frames // 2
    inside = spectrum.bins(*settings.band_hz)
    if inside.stop - inside.start < 4 or piece.time_s.size < 2 * count:
        return []
    power = _over_frames(piece.power, count, np.add)
    power /= np.float32(count)
    least = _over_frames(piece.power[:, inside], count, np.minimum)
    ratio = over_both_sides(power, inside, spectrum, settings.beside_hz, settings.guard_hz)
    time_s = piece.time_s[hop::hop]
    frequency_hz = np.arange(inside.start, inside.stop) * spectrum.spacing_hz
    labels, _ = label(ratio > settings.least_ratio, np.ones((3, 3)))
    blocks = _Blocks(ratio, labels > 0)
    traces = []
    for number, (rows, columns) in enumerate(find_objects(labels), start=1):
        if (rows.stop - rows.start) * hop * spectrum.hop_s < settings.shortest_s:
            continue
        there = labels[rows, columns] == number
        weight = np.where(there, ratio[rows, columns], 0.0).astype(np.float64)
        loudest = (np.arange(rows.start, rows.stop), columns.start + np.argmax(weight, axis=1))
        unbroken = least[loudest] / np.maximum(power[:, inside][loudest], _TINY)
        if np.median(unbroken) < settings.least_unbroken:
            continue
        pitch = weight @ frequency_hz[columns] / weight.sum(axis=1)
        column = columns.start + int(np.argmax(weight.sum(axis=0)))
        loudness = weight.max(axis=1)
        traces.append(_Trace(time_s[rows], pitch, loudness, blocks, rows, column))
    return traces


def _over_frames(power: Powers, count: int, combine: np.ufunc) -> Powers:
    """So many frames put together, half of them on; the last frame goes on beyond the end.

    Frame by frame of a window for all windows at once: a running filter would work out
    every place, and half of them and more are not wanted.
    """
    middles = np.arange(count // 2, power.shape[0], count // 2)
    last = power.shape[0] - 1
    together = power[middles - count // 2]
    for later in range(1, count):
        combine(together, power[np.minimum(middles - count // 2 + later, last)], out=together)
    return together


def _judge(
    traces: list[_Trace],
    spectrum: ShortTimeSpectrum,
    speed: SpeedTrace,
    settings: SquealSettings,
) -> Squeal:
    """Tones of one pitch together."""
    time_s, pitch_hz, ratio = (
        np.concatenate([getattr(trace, name) for trace in traces])
        for name in ("time_s", "pitch_hz", "ratio")
    )
    block_s = (settings.averaged_frames // 2) * spectrum.hop_s
    lag = max(1, round(settings.lag_s / block_s))
    speed_moves = np.log(speed.at(time_s))
    drifts = []
    for follows in (0.0, 1.0):
        own = np.log(pitch_hz) - follows * speed_moves
        drifts.append(_drift(own, [trace.time_s.size for trace in traces], lag))
    drift = min(drifts)
    follows_speed = drifts[1] < 0.6 * drifts[0]
    sizes = np.array([trace.ratio.sum() for trace in traces])
    contrasts = [_contrast_db(trace, traces, settings) for trace in traces]
    contrast = float(np.average(contrasts, weights=sizes))
    low, high = settings.contrast_db
    comes_and_goes = float(np.clip((contrast - low) / (high - low), 0, 1))
    if follows_speed:
        comes_and_goes *= settings.switched_weight
    wanders = 1.0 - 2.0 ** -((drift / settings.drift) ** 4)
    return Squeal(
        pitch_hz=float(np.median(pitch_hz)),
        share=min(1.0, time_s.size * block_s / spectrum.seconds),
        strength_db=10 * float(np.log10(np.sum(ratio - 1.0) * block_s / spectrum.seconds)),
        drift=drift,
        contrast_db=contrast,
        weight=max(settings.least_weight, comes_and_goes, wanders),
    )


def _contrast_db(trace: _Trace, together: list[_Trace], settings: SquealSettings) -> float:
    """Level of a tone over that of its place while none of its pitch sounds, at least 0. [dB]"""
    silent = np.ones(trace.blocks.ratio.shape[0], dtype=bool)
    for other in together:
        if other.blocks is trace.blocks:
            silent[other.rows] = False
    beside = slice(max(0, trace.column - 1), trace.column + 2)
    silent &= ~trace.blocks.taken[:, beside].any(axis=1)
    if np.count_nonzero(silent) < settings.fewest_silent:
        return 0.0
    quiet = float(np.median(trace.blocks.ratio[silent, trace.column]))
    return max(0.0, 10 * float(np.log10(np.median(trace.ratio) / max(quiet, 0.3))))


def _drift(own: Floats, sizes: list[int], lag: int) -> float:
    """Rms of the slow part of a quantity that is measured with noise, gaps between traces."""
    apart = own - np.median(own)
    parts = np.split(apart, np.cumsum(sizes)[:-1])
    products = [part[lag:] * part[:-lag] for part in parts if part.size > lag]
    if not products:
        return 0.0
    return float(np.sqrt(max(0.0, float(np.mean(np.concatenate(products))))))


def squeal_finding(
    spectrum: ShortTimeSpectrum, speed: SpeedTrace, settings: SquealSettings | None = None
) -> NoiseFinding:
    """How far a recording speaks for a squeal. Arguments as `find_squeal`."""
    settings = settings or SquealSettings()
    band = spectrum.bins(*settings.band_hz)
    short = spectrum.seconds < settings.least_recording_s or spectrum.silent
    if short or band.stop - band.start < 4:
        return cannot_tell(NOISE, "too short to tell")
    squeal = find_squeal(spectrum, speed, settings)
    if squeal is None or squeal.figure <= settings.least_figure_db:
        return not_there(NOISE, settings.weighing, "no tone lasts")
    spread = settings.pitch_spread * squeal.pitch_hz
    comes = "comes and goes" if squeal.contrast_db > settings.contrast_db[0] else "stays"
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=settings.weighing.ln_ratio(squeal.figure),
        level_db=squeal.strength_db,
        low_hz=squeal.pitch_hz - spread,
        high_hz=squeal.pitch_hz + spread,
        share=squeal.share,
        words=(
            f"a tone near {squeal.pitch_hz:.0f} Hz that {comes} and wanders by "
            f"{100 * squeal.drift:.1f} % apart from the speed"
        ),
    )
