"""Flutter: loudness that swings at a rate fixed in Hz, as when a free span of belt flaps.

A span swings as a string does, at a rate set by its tension; what turns swings at a rate
set by the speed. So the spectrum of the loudness is taken over Hz, what lies on the
engine's own half orders is left out, and it is asked whether the swing is sharp over
orders, as that of a shaft is, or neither there nor sharper there than over Hz.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.short_time import ShortTimePiece, ShortTimeSpectrum
from acoustic.evidence.weighing import Weighing, cannot_tell
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NOISE = "flutter"
_TINY = 1e-20


@dataclass(frozen=True, slots=True)
class FlutterSettings:
    """Bands, rates, and what a swing is worth.

    Attributes
    ----------
    carriers_hz : tuple of (float, float)
        Bands of the sound whose loudness is followed. [Hz]
    rates_hz : (float, float)
        Free spans of accessory belts; common practice, no source. [Hz]
    segment_s : float
        Length of a segment of the loudness. [s]
    mean_s : float
        Running mean that takes out automatic gain and slow changes. [s]
    limits : (float, float)
        Relative swing is clipped here, so that single knocks do not rule.
    floor_hz : float
        The floor is the median over this many Hz. [Hz]
    cycle_points, cycle_spread : int, float
        Crank angles in a working cycle at which the engine's own swing is taken, and over
        how many cycles it is averaged (sd).
    comb_gap_hz : float
        What lies nearer to a half order, the wander of the speed added, cannot be told
        from what is left of the engine's own. [Hz]
    fewest_segments : int
    longest_s : float
        Of the loudness whose sharpness is looked at. [s]
    near_share, beside_share : float
        A swing is looked for within `near_share` of its rate, the floor within
        `beside_share`. [-]
    least_excess_db : float
        What stands out less is chance.
    sharp_db : float
        Decibels by which the figure falls from a swing not sharp over orders to one that
        is so twice: by itself, and more so than over Hz.
    weighing : Weighing
        Figure: excess less `sharp_db` times `Flutter.turning`. [dB] Fitted by
        tests/trial/fit_noises.py.
    """

    carriers_hz: tuple[tuple[float, float], ...] = (
        (150.0, 600.0),
        (500.0, 1500.0),
        (1200.0, 4000.0),
    )
    rates_hz: tuple[float, float] = (8.0, 60.0)
    segment_s: float = 4.0
    mean_s: float = 0.5
    limits: tuple[float, float] = (-1.0, 4.0)
    floor_hz: float = 8.0
    cycle_points: int = 48
    cycle_spread: float = 4.0
    comb_gap_hz: float = 0.7
    fewest_segments: int = 3
    longest_s: float = 30.0
    near_share: float = 0.03
    beside_share: float = 0.15
    least_excess_db: float = 6.0
    sharp_db: float = 4.8
    weighing: Weighing = field(default_factory=lambda: Weighing(6.1, 0.5, -2.0, 4.5))


@dataclass(frozen=True, slots=True)
class Flutter:
    """The swing of loudness that stands out most away from the engine's half orders.

    Attributes
    ----------
    rate_hz : float
    excess_db : float
        Over the floor of the loudness spectrum. [dB]
    sharp_over_orders, sharp_over_hz : float
        Share of its power in the three bins that hold most, over orders and over Hz. [-]
    depth : float
        Relative amplitude of the swing. [-]
    low_hz, high_hz : float
        Band of the sound in which it swings. [Hz]
    """

    rate_hz: float
    excess_db: float
    sharp_over_orders: float
    sharp_over_hz: float
    depth: float
    low_hz: float
    high_hz: float

    @property
    def turning(self) -> float:
        """0 for a swing that is sharper over Hz than over orders, 1 and more for a shaft's.

        A shaft's swing is sharp over orders; where the speed was steady it is so over Hz too.
        """
        return max(0.0, 2.0 * self.sharp_over_orders - self.sharp_over_hz)


def find_flutter(
    spectrum: ShortTimeSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: FlutterSettings | None = None,
) -> Flutter | None:
    """Find the swing that stands out most; None where too little can be looked at.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        Frames of about 0.005 s.
    speed : SpeedTrace
    engine : Engine
    settings : FlutterSettings, optional
    """
    settings = settings or FlutterSettings()
    if spectrum.silent:
        return None
    found = [
        flutter
        for limits_hz in settings.carriers_hz
        if (flutter := _in_band(spectrum, limits_hz, speed, engine, settings)) is not None
    ]
    return max(
        found,
        key=lambda one: one.excess_db - settings.sharp_db * one.turning,
        default=None,
    )


def _in_band(
    spectrum: ShortTimeSpectrum,
    limits_hz: tuple[float, float],
    speed: SpeedTrace,
    engine: Engine,
    settings: FlutterSettings,
) -> Flutter | None:
    """The strongest swing of one band."""
    inside = spectrum.bins(*limits_hz)
    if inside.stop - inside.start < 2 or limits_hz[1] > spectrum.highest_hz:
        return None
    swings = [
        _swing(piece, inside, spectrum.hop_s, speed, engine, settings) for piece in spectrum.pieces
    ]
    points = int(settings.segment_s / spectrum.hop_s)
    over_hz = _mean_spectrum(swings, points)
    if over_hz is None or over_hz[1] < settings.fewest_segments:
        return None
    rates_hz = np.arange(over_hz[0].size) / (points * spectrum.hop_s)
    excess = _excess(over_hz[0], rates_hz, settings)
    speeds = np.concatenate([speed.at(piece.time_s[::16]) for piece in spectrum.pieces])
    open_to_view = _open_rates(rates_hz, speeds, engine, settings)
    if not open_to_view.any():
        return None
    peak = int(np.argmax(np.where(open_to_view, excess, -np.inf)))
    excess_db, rate_hz = float(excess[peak]), float(rates_hz[peak])
    over_orders, over_hz_too = _sharpness(spectrum, swings, speed, rate_hz, settings)
    near = slice(max(0, peak - 1), peak + 2)
    # Hann: half the amplitude of a line goes to its bin, and power is the half of its square.
    depth = float(np.sqrt(np.sum(over_hz[0][near]) * 2.0 / 1.5))
    return Flutter(rate_hz, excess_db, over_orders, over_hz_too, depth, *limits_hz)


def _swing(
    piece: ShortTimePiece,
    inside: slice,
    hop_s: float,
    speed: SpeedTrace,
    engine: Engine,
    settings: FlutterSettings,
) -> Floats:
    """Relative swing of a band's power without what repeats every cycle, shape (frames,)."""
    power = piece.power[:, inside].sum(axis=1, dtype=np.float64)
    mean = uniform_filter1d(power, max(1, round(settings.mean_s / hop_s)))
    relative = power / np.maximum(mean, _TINY)
    place = np.cumsum(speed.at(piece.time_s)) * (hop_s * engine.order_step * settings.cycle_points)
    points = settings.cycle_points
    count = int(place[-1] / points) + 1
    at = np.arange(count * points)
    table = np.minimum(np.interp(at, place, relative), 10.0).reshape(count, points)
    usual = gaussian_filter1d(table, settings.cycle_spread, axis=0, mode="nearest")
    usual = np.maximum(gaussian_filter1d(usual, 1.0, axis=1, mode="wrap"), 0.05)
    relative /= np.interp(place, at, usual.ravel())
    return np.asarray(np.clip(relative - 1.0, *settings.limits))


def _mean_spectrum(swings: list[Floats], points: int) -> tuple[Floats, int] | None:
    """Mean power of Hann segments at half overlap, one for a line of amplitude sqrt(2)."""
    window = np.hanning(points + 1)[:-1]
    powers = []
    for swing in swings:
        if swing.size >= points:
            segments = np.lib.stride_tricks.sliding_window_view(swing, points)[:: points // 2]
            lines = rfft(segments * window, axis=1)
            powers.append((lines.real**2 + lines.imag**2) * (2.0 / window.sum() ** 2))
    if not powers:
        return None
    every = np.concatenate(powers)
    return every.mean(axis=0), every.shape[0]


def _excess(power: Floats, rates: Floats, settings: FlutterSettings) -> Floats:
    """Level over the running median, three bins together. [dB]"""
    smooth = uniform_filter1d(power, 3) + _TINY
    width = 2 * round(0.5 * settings.floor_hz / rates[1]) + 1
    return np.asarray(10 * np.log10(smooth / (median_filter(smooth, width) + _TINY)))


def _open_rates(
    rates_hz: Floats, speeds_hz: Floats, engine: Engine, settings: FlutterSettings
) -> Flags:
    """Rates that are looked at: in range and off the engine's comb at the usual speed."""
    low, high = settings.rates_hz
    step_hz = float(np.median(speeds_hz)) * engine.order_step
    gap_hz = settings.comb_gap_hz + rates_hz * float(np.std(speeds_hz) / np.mean(speeds_hz))
    off = np.abs(rates_hz - step_hz * np.round(rates_hz / step_hz)) > gap_hz
    return np.asarray((rates_hz >= low) & (rates_hz <= high) & off)


def _sharpness(
    spectrum: ShortTimeSpectrum,
    swings: list[Floats],
    speed: SpeedTrace,
    rate_hz: float,
    settings: FlutterSettings,
) -> tuple[float, float]:
    """Sharpness of a swing over orders and over Hz, in the longest stretch."""
    longest = int(np.argmax([swing.size for swing in swings]))
    count = min(swings[longest].size, int(settings.longest_s / spectrum.hop_s))
    swing, time_s = swings[longest][:count], spectrum.pieces[longest].time_s[:count]
    speed_hz = speed.at(time_s)
    turns = np.concatenate([[0.0], np.cumsum(speed_hz[:-1]) * spectrum.hop_s])
    # At equal angles, as far apart as frames are at the median speed: one axis for both.
    step = spectrum.hop_s * float(np.median(speed_hz))
    angular = np.interp(np.arange(0.0, turns[-1], step), turns, swing)
    over_orders, over_hz = (
        _concentration(one, spectrum.hop_s, rate_hz, settings) for one in (angular, swing)
    )
    return over_orders, over_hz


def _concentration(
    swing: Floats, step_s: float, rate_hz: float, settings: FlutterSettings
) -> float:
    """Share of the power near a rate, floor taken off, that lies in three bins. [-]"""
    lines = rfft((swing - swing.mean()) * np.hanning(swing.size))
    power = lines.real**2 + lines.imag**2
    rates_hz = np.arange(power.size) / (swing.size * step_s)
    away = np.abs(rates_hz - rate_hz)
    near = away < max(settings.near_share * rate_hz, 8 * rates_hz[1])
    beside = (away < max(settings.beside_share * rate_hz, 24 * rates_hz[1])) & ~near
    # The median of noise power is ln 2 of its mean (exponential).
    line = np.maximum(power[near] - np.median(power[beside]) / np.log(2.0), 0.0)
    most = float(np.convolve(line, np.ones(3), "same").max())
    return most / max(float(line.sum()), _TINY)


def flutter_ln_ratio(excess_db: float, turning: float, settings: FlutterSettings) -> float:
    """How far a swing speaks for flutter: less where it turns with a shaft. [nat]"""
    if excess_db <= settings.least_excess_db:
        return settings.weighing.least
    return settings.weighing.ln_ratio(excess_db - settings.sharp_db * turning)


def flutter_finding(
    spectrum: ShortTimeSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: FlutterSettings | None = None,
) -> NoiseFinding:
    """How far a recording speaks for a flutter. Arguments as `find_flutter`."""
    settings = settings or FlutterSettings()
    flutter = find_flutter(spectrum, speed, engine, settings)
    if flutter is None:
        return cannot_tell(NOISE, "too short to tell")
    ln_ratio = flutter_ln_ratio(flutter.excess_db, flutter.turning, settings)
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=ln_ratio,
        level_db=flutter.excess_db,
        low_hz=flutter.low_hz,
        high_hz=flutter.high_hz,
        share=1.0 if ln_ratio > 0 else 0.0,
        words=f"loudness swings {flutter.rate_hz:.1f} times a second, off the engine's orders",
    )
