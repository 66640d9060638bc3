"""How loud the lines of a family are, segment by segment, against the engine's own firing.

For comparing recordings. A phone's automatic gain and its distance change everything
alike, so a line is never measured by itself: in each short segment its power is taken
over that of the firing orders of the same segment. What beats or knocks is measured as the
share of its band's loudness that swings with it, and needs no reference but the band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.ndimage import binary_dilation, median_filter

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.evidence.angle import AngularSound, points_per_revolution, resample_to_angle
from acoustic.evidence.engine_bins import engine_bins
from acoustic.evidence.envelope import EnvelopeSettings, TurnedStretch, band_swing
from acoustic.evidence.noise_floor import log_median_ratio
from acoustic.evidence.stretch_spectrum import StretchSpectrum
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_HANN_BINS_ALIKE = 1.94
"""Variance of a sum of neighbouring Hann bins over that of as many independent ones:
1 + 2 (4/9 + 1/36), from the window's own three coefficients."""
_HANN_NOISE_BINS = 1.5
_FLOOR_ERROR = 0.35
"""Relative sd of a median over 25 such bins for one segment: 1.25 sqrt(1.94 / 25)."""
_FOUND_SD = 2.5
_LIMIT_SD = 1.645  # one-sided 95 %
_LEAST_SHARE_SEEN = 0.6
_FEWEST_REFERENCES = 3
_HIGH_ORDER, _COARSE_TURNS = 40.0, 16


@dataclass(frozen=True, slots=True)
class LevelSettings:
    """Segments, windows and reference of a level.

    Attributes
    ----------
    turns : int
        Turns of the crankshaft in one segment; segments do not overlap.
    window_bins : int
        A line's power is summed so many bins to either side at least.
    window_share : float
        And at least so far relative to its order: slip and speed are not steady. [-]
    highest_order : float
    lowest_hz : float
        Nothing below it is measured: phones roll off. [Hz]
    firings : int
        The reference is the mean level of the first so many multiples of the firing order.
    fewest_segments : int
    """

    turns: int = 32
    window_bins: int = 2
    window_share: float = 0.002
    highest_order: float = 150.0
    lowest_hz: float = 60.0
    firings: int = 6
    fewest_segments: int = 4
    envelope: EnvelopeSettings = field(default_factory=EnvelopeSettings)


@dataclass(frozen=True, slots=True, eq=False)
class SegmentLevels:
    """Power a line would have at each bin, per segment, over the segment's reference.

    Attributes
    ----------
    excess : ndarray, shape (segments, bins)
        Power in the window about each bin, less the floor. [-]
    noise_sd : ndarray, shape (bins,)
        What chance alone does to the mean of `excess` over the segments. [-]
    floor : ndarray, shape (bins,)
        Power of the floor in the same window. [-]
    seen : ndarray of bool, shape (bins,)
        False under the engine's own lines, below 60 Hz and above the cut-off.
    turns : int
        Turns in a segment: bin b stands at order ``b / turns``.
    swings_hz : (float, float) or None
        Band whose swing this is the spectrum of; None for the sound itself. [Hz]
    """

    excess: Floats
    noise_sd: Floats
    floor: Floats
    seen: Flags
    turns: int
    swings_hz: tuple[float, float] | None = None

    def bins_at(self, orders: Floats) -> NDArray[np.intp]:
        """Bin of each order; -1 where it is not seen."""
        bins = np.rint(orders * self.turns).astype(np.intp)
        inside = (bins >= 0) & (bins < self.seen.size)
        safe = np.where(inside, bins, 0)
        return np.asarray(np.where(inside & self.seen[safe], bins, -1))


@dataclass(frozen=True, slots=True, eq=False)
class TakeLevels:
    """What is measured of one recording: the sound, and the swing of each band of it."""

    tones: SegmentLevels
    swings: tuple[SegmentLevels, ...]
    speed_hz: Floats


@dataclass(frozen=True, slots=True)
class FamilyLevel:
    """Level of some lines of a family in one recording.

    Attributes
    ----------
    power : float
        Mean over the segments of the lines' power over the reference; noise may make it
        negative. [-]
    sd : float
        Standard error of `power`, from the scatter of the segments or, where that is
        larger, from the noise under the lines. [-]
    floor : float
        Power of the floor under the lines. [-]
    noise_sd : float
        What the noise under the lines alone does to `power`. [-]
    decibels : float
        Decibels in a factor ten: 10 of power; 5 of the power of a swing, as the share of
        the band that swings goes with its root.
    """

    power: float
    sd: float
    floor: float
    noise_sd: float
    decibels: float = 10.0

    @property
    def found(self) -> bool:
        """Whether the lines stand out of the noise."""
        return self.power > _FOUND_SD * self.sd

    @property
    def level_db(self) -> float | None:
        """Level over the firing orders, or share of the band that swings; None if not found."""
        return self.decibels * float(np.log10(self.power)) if self.found else None

    @property
    def limit_db(self) -> float:
        """Level that it lies below with 95 % confidence. [dB]"""
        most = max(self.power, 0.0) + _LIMIT_SD * self.sd
        return self.decibels * float(np.log10(max(most, 1e-30)))

    @property
    def above_floor_db(self) -> float | None:
        """Level over the floor beside the lines, which a change of the engine's load leaves."""
        if not self.found:
            return None
        return self.decibels * float(np.log10(self.power / self.floor))

    @property
    def error_db(self) -> float:
        """Standard error of `level_db`. [dB]"""
        share = self.sd / max(self.power, self.sd)
        return self.decibels / float(np.log(10.0)) * share


def take_levels(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    settings: LevelSettings | None = None,
    speeds_hz: tuple[float, float] = (0.0, np.inf),
) -> TakeLevels:
    """Measure one recording.

    Parameters
    ----------
    highest_hz : float
        The lowest cut-off of all recordings compared. [Hz]
    speeds_hz : (float, float)
        Only segments at these crankshaft speeds count: what two sweeps have in common. [Hz]

    Raises
    ------
    SpeedError
        If fewer than `settings.fewest_segments` segments are left.
    """
    settings = settings or LevelSettings()
    sounds = [_Sound(recording, stretch, speed, settings) for stretch in stretches.used]
    speeds = np.concatenate([np.zeros(0), *(sound.speed_hz for sound in sounds)])
    kept = (speeds >= speeds_hz[0]) & (speeds <= speeds_hz[1])
    if kept.sum() < settings.fewest_segments:
        raise SpeedError(
            f"{recording.name}: only {int(kept.sum())} stretches of {settings.turns} turns of the "
            f"engine can be compared; {settings.fewest_segments} are needed. Record 20 to 30 s "
            "at the held speed."
        )
    mean_hz = float(speeds[kept].mean())
    tones = _tone_levels(sounds, kept, engine, (mean_hz, highest_hz), settings)
    bands = [band for band in settings.envelope.carriers_hz if band[1] <= highest_hz]
    swings = tuple(_swing_levels(sounds, kept, engine, (mean_hz, band), settings) for band in bands)
    return TakeLevels(tones, swings, speeds[kept])


def family_level(levels: SegmentLevels, orders: Sequence[float] | Floats) -> FamilyLevel | None:
    """Level of the lines at these orders together; None if none of them can be seen."""
    bins = levels.bins_at(np.asarray(orders, dtype=np.float64))
    bins = np.unique(bins[bins >= 0])
    if bins.size == 0:
        return None
    each = levels.excess[:, bins].sum(axis=1)
    by_scatter = float(each.std(ddof=1)) / np.sqrt(each.size)
    by_noise = float(np.sqrt(np.sum(levels.noise_sd[bins] ** 2)))
    decibels = 10.0 if levels.swings_hz is None else 5.0
    floor = float(levels.floor[bins].sum())
    return FamilyLevel(float(each.mean()), max(by_scatter, by_noise), floor, by_noise, decibels)


class _Sound:
    """One stretch, with the mean speed of each of its whole segments."""

    def __init__(
        self, recording: Recording, stretch: Stretch, speed: SpeedTrace, settings: LevelSettings
    ) -> None:
        self.recording, self.stretch, self.speed = recording, stretch, speed
        per_turn = settings.envelope.per_revolution
        self.spectrum = TurnedStretch(StretchSpectrum(recording, stretch), speed, per_turn)
        count = int(self.spectrum.turns // settings.turns)
        edges_s = self.spectrum.time_at(settings.turns * np.arange(count + 1.0))
        self.speed_hz: Floats = settings.turns / np.diff(edges_s) if count else np.zeros(0)

    def over_angle(self, per_turn: int) -> AngularSound:
        return resample_to_angle(self.recording, self.stretch, self.speed, per_turn)


def _segment_powers(sound: AngularSound, count: int, settings: LevelSettings, top: int) -> Floats:
    """Power of each segment that does not overlap another, shape (segments, bins)."""
    points = settings.turns * sound.per_revolution
    samples = sound.samples
    if samples.size < count * points:  # a sample short where the angle was rounded
        samples = np.pad(samples, (0, count * points - samples.size), mode="edge")
    segments = samples[: count * points].reshape(count, points)
    phase = 2 * np.pi * np.arange(points, dtype=np.float32) / points
    lines = rfft(segments * (0.5 - 0.5 * np.cos(phase)), axis=1)[:, : top + 1]
    return np.asarray(np.abs(lines).astype(np.float64) ** 2)


def _tone_levels(
    sounds: Sequence[_Sound],
    kept: Flags,
    engine: Engine,
    limits_hz: tuple[float, float],
    settings: LevelSettings,
) -> SegmentLevels:
    mean_hz, highest_hz = limits_hz
    whole = [sound for sound in sounds if sound.speed_hz.size]
    spread = max(float(s.speed_hz.max()) for s in whole) / min(
        float(s.speed_hz.min()) for s in whole
    )
    highest = min(settings.highest_order, highest_hz / mean_hz)
    per_turn = points_per_revolution(highest, 1.1 * spread)
    top = int(highest * settings.turns)
    powers = np.concatenate(
        [_segment_powers(s.over_angle(per_turn), s.speed_hz.size, settings, top) for s in whole]
    )[kept]
    orders = np.arange(top + 1) / settings.turns
    powers /= _reference(powers, engine, mean_hz, settings)[:, None]
    seen = orders * mean_hz >= settings.lowest_hz
    return _levels(powers, orders, seen & ~_engine(orders, engine, settings), settings)


def _reference(powers: Floats, engine: Engine, mean_hz: float, settings: LevelSettings) -> Floats:
    """Mean level of the firing orders of each segment, as a power, shape (segments,).

    The mean of decibels, so that no single firing order and its place in the room decides.
    A motor on a bench has no firing; there the median of the whole segment stands in.
    """
    firing = engine.firing_order * settings.turns
    first = int(np.ceil(settings.lowest_hz / (engine.firing_order * mean_hz) - 1e-9))
    last = max(settings.firings, first + _FEWEST_REFERENCES - 1)
    bins = np.rint(firing * np.arange(max(1, first), last + 1)).astype(np.intp)
    reach = settings.window_bins
    bins = bins[bins + reach < powers.shape[1]]
    if engine.motor or bins.size == 0:
        return np.asarray(np.median(powers, axis=1)) + np.finfo(np.float64).tiny
    lines = sum(powers[:, bins + step] for step in range(-reach, reach + 1))
    return np.asarray(np.exp(np.log(lines + np.finfo(np.float64).tiny).mean(axis=1)))


def _swing_levels(
    sounds: Sequence[_Sound],
    kept: Flags,
    engine: Engine,
    place: tuple[float, tuple[float, float]],
    settings: LevelSettings,
) -> SegmentLevels:
    mean_hz, band_hz = place
    envelope = settings.envelope
    # The envelope of a band swings no faster than the band is wide.
    highest = min(envelope.tracking.edges_order[-1], 0.5 * (band_hz[1] - band_hz[0]) / mean_hz)
    top = int(highest * settings.turns)
    powers = np.concatenate(
        [
            _segment_powers(
                band_swing(s.spectrum, band_hz, engine, envelope), s.speed_hz.size, settings, top
            )
            for s in sounds
            if s.speed_hz.size
        ]
    )[kept]
    # A swing of amplitude 1 gives 1 in the sum over its bins.
    powers /= _HANN_NOISE_BINS * (0.25 * settings.turns * envelope.per_revolution) ** 2
    orders = np.arange(top + 1) / settings.turns
    seen = orders >= envelope.tracking.edges_order[0]
    seen &= ~_engine(orders, engine, settings)
    return _levels(powers, orders, seen, settings, band_hz)


def _engine(orders: Floats, engine: Engine, settings: LevelSettings) -> Flags:
    """Bins of the engine's own lines.

    At low orders one more to either side, as they are far louder; at high ones its firing
    multiples and the middle of the others, as half orders run together there.
    """
    low = binary_dilation(engine_bins(orders, settings.turns, engine))
    high = engine_bins(orders, _COARSE_TURNS, engine)
    return np.asarray(np.where(orders < _HIGH_ORDER, low, high))


def _levels(
    powers: Floats,
    orders: Floats,
    seen: Flags,
    settings: LevelSettings,
    swings_hz: tuple[float, float] | None = None,
) -> SegmentLevels:
    """Sum each segment over a window about every bin and take the floor off."""
    count = powers.shape[0]
    floor = _floor(powers, orders, seen)
    reach = np.maximum(settings.window_bins, settings.window_share * orders * settings.turns)
    reach = np.rint(reach).astype(np.intp)
    bins = np.arange(orders.size)
    low, high = np.maximum(bins - reach, 0), np.minimum(bins + reach + 1, orders.size)

    def summed(values: Floats) -> Floats:
        running = np.cumsum(values * seen, axis=-1)
        running = np.concatenate([np.zeros((*values.shape[:-1], 1)), running], axis=-1)
        return np.asarray(running[..., high] - running[..., low])

    under = summed(floor)
    variance = (_HANN_BINS_ALIKE * summed(floor**2) + (_FLOOR_ERROR * under) ** 2) / count
    share = summed(np.ones_like(floor)) / (2 * reach + 1)
    return SegmentLevels(
        excess=summed(powers) - under,
        noise_sd=np.sqrt(variance),
        floor=under,
        seen=share >= _LEAST_SHARE_SEEN,
        turns=settings.turns,
        swings_hz=swings_hz,
    )


def _floor(powers: Floats, orders: Floats, seen: Flags) -> Floats:
    """Running median of the mean power, wider where lines are, as a mean noise power."""
    ln_mean = np.log(np.maximum(powers.mean(axis=0), 1e-30))
    if seen.any():
        ln_mean = np.interp(orders, orders[seen], ln_mean[seen])
    narrow = median_filter(ln_mean, size=25, mode="nearest")
    wide = median_filter(ln_mean, size=61, mode="nearest")
    floor = np.where(orders < _HIGH_ORDER, narrow, wide)
    return np.asarray(np.exp(floor - log_median_ratio(2.0 * powers.shape[0])))
