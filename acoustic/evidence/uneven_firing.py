"""Uneven firing: one cylinder that is weaker than the others, or all of them at times.

Cylinders that fire alike sound at the firing order and its multiples. A weak one adds what
repeats only once a working cycle: half orders in a four-stroke. It also makes one firing
interval of each cycle softer than the others, always the same; a misfire of all cylinders
makes now this, now that one softer. No healthy engine is quite even, and how far it may be
off was taken from recordings of ordinary engines.

Intervals of one firing each are measured without knowing where in the crank's turn they
begin: the loudness of a whole interval hardly depends on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import NoiseFinding, OrderSpectrum
from acoustic.evidence.short_time import ShortTimePiece, ShortTimeSpectrum
from acoustic.evidence.weighing import cannot_tell
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

NOISE = "uneven firing"
_TINY = 1e-20


@dataclass(frozen=True, slots=True)
class UnevenWeights:
    """``ln_ratio = constant + Σ weight * figure`` over the figures of `Unevenness`. [nat]"""

    constant: float
    weakest: float = 0.0
    strongest: float = 0.0
    skewness: float = 0.0
    half: float = 0.0


@dataclass(frozen=True, slots=True)
class UnevenSettings:
    """Bands, and what unevenness is worth.

    Attributes
    ----------
    bands_hz : tuple of (float, float)
        Where the loudness of each firing is measured, each band counting alike: high
        enough for the noise of one firing to have died away before the next.
    cycles : int
        Working cycles over which a pattern is taken together: a speed wrong by 0.1 %
        is off by less than a quarter of an interval at the end.
    before : float
        Share of an interval that lies before the middle of its firing's loudness.
    highest_order, lowest_hz : float
        Half orders are looked at up to this order and from this frequency.
    fewest_cylinders : int
        Fewer firings a cycle have no pattern to speak of.
    one_weak, all_at_times : UnevenWeights
        Of a weak cylinder, and of weak firings of all cylinders at random. Fitted by
        tests/trial/fit_noises.py.
    limits : (float, float)
        Least and most it may weigh: what the recordings fitted to can bear out. [nat]
    """

    bands_hz: tuple[tuple[float, float], ...] = (
        (1300.0, 2100.0),
        (2100.0, 3400.0),
        (3400.0, 5500.0),
    )
    cycles: int = 16
    before: float = 0.35
    highest_order: float = 8.0
    lowest_hz: float = 30.0
    fewest_cylinders: int = 3
    one_weak: UnevenWeights = UnevenWeights(1.2, weakest=2.2, strongest=-4.2, half=0.04)
    all_at_times: UnevenWeights = UnevenWeights(0.57, skewness=-11.0, half=0.05)
    limits: tuple[float, float] = (-1.0, 3.5)


@dataclass(frozen=True, slots=True)
class Unevenness:
    """How unlike the firings of one engine are.

    Attributes
    ----------
    weakest_db, strongest_db : float
        How far the weakest firing of a cycle stands below the middle one, and the
        strongest above it, in the mean of many cycles. [dB]
    scatter_db : float
        Rms difference from cycle to cycle. [dB]
    skewness : float
        Of that difference: negative where single firings fall short now and then. [-]
    half_db : float
        Half orders against the firing multiples about them, mean. [dB]
    """

    weakest_db: float
    strongest_db: float
    scatter_db: float
    skewness: float
    half_db: float


def find_unevenness(
    spectrum: ShortTimeSpectrum,
    orders: OrderSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: UnevenSettings | None = None,
) -> Unevenness | None:
    """Measure how unlike the firings are; None where that cannot be told.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        Frames of about 0.005 s.
    orders : OrderSpectrum
    speed : SpeedTrace
    engine : Engine
        One that fires at uneven angles has strong half orders when it is sound.
    settings : UnevenSettings, optional
    """
    settings = settings or UnevenSettings()
    per_cycle = round(engine.firing_order / engine.order_step)
    alike = not engine.odd_fire and not engine.motor and per_cycle >= settings.fewest_cylinders
    if not alike or spectrum.silent:
        return None
    tables = [
        table
        for piece in spectrum.pieces
        for table in _tables_of_firings(piece, spectrum, speed, engine, settings)
    ]
    half_db = _half_orders_db(orders, engine, settings)
    if half_db is None or not tables:
        return None
    means = [table.mean(axis=0) for table in tables]
    middles = [np.median(mean) for mean in means]
    apart = [table - mean for table, mean in zip(tables, means, strict=True)]
    variance = float(np.mean([np.mean(part**2) for part in apart]))
    third = float(np.mean([np.mean(part**3) for part in apart]))
    return Unevenness(
        weakest_db=float(np.mean([m - x.min() for x, m in zip(means, middles, strict=True)])),
        strongest_db=float(np.mean([x.max() - m for x, m in zip(means, middles, strict=True)])),
        scatter_db=float(np.sqrt(variance)),
        skewness=third / max(variance, _TINY) ** 1.5,
        half_db=half_db,
    )


def _tables_of_firings(
    piece: ShortTimePiece,
    spectrum: ShortTimeSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: UnevenSettings,
) -> list[Floats]:
    """Level of each firing, shape (cycles, firings per cycle), half overlapping parts. [dB]"""
    bands = [spectrum.bins(*limits_hz) for limits_hz in settings.bands_hz]
    powers = [
        piece.power[:, band].sum(axis=1, dtype=np.float64) + _TINY
        for band in bands
        if band.stop - band.start > 2
    ]
    if not powers:
        return []
    per_cycle = round(engine.firing_order / engine.order_step)
    size = settings.cycles * per_cycle
    firings = np.concatenate([[0.0], np.cumsum(speed.at(piece.time_s)) * spectrum.hop_s])
    firings *= engine.firing_order
    loudness = np.sum([power / power.mean() for power in powers], axis=0)
    count = np.arange(firings.size)
    energies = [np.concatenate([[0.0], np.cumsum(power)]) for power in powers]
    tables = []
    for start in np.arange(1.0, firings[-1] - size - 1.0, size / 2):
        edges = _start_of_firing(loudness, firings, start, start + size, settings)
        places = edges + np.arange(size + 1)
        frames = np.interp(places, firings, count)
        levels = [_level_between(energy, frames, 4 * per_cycle) for energy in energies]
        tables.append(np.mean(levels, axis=0).reshape(settings.cycles, per_cycle))
    return tables


def _start_of_firing(
    loudness: Floats, firings: Floats, start: float, end: float, settings: UnevenSettings
) -> float:
    """First place at or after `start` where an interval begins, from where loudness swells."""
    first, last = np.searchsorted(firings, (start, end))
    place = 0.5 * (firings[first:last] + firings[first + 1 : last + 1])
    swelling = np.sum(loudness[first:last] * np.exp(-2j * np.pi * place))
    middle = -float(np.angle(swelling)) / (2 * np.pi)
    return float(start + (middle - settings.before - start) % 1.0)


def _level_between(energy: Floats, frames: Floats, trend: int) -> Floats:
    """Mean power between places counted in frames, slow changes taken out. [dB]

    `energy` is the running sum of the power, from 0 before the first frame.
    """
    first = max(0, int(frames[0]) - 1)
    part = energy[first : int(frames[-1]) + 2]
    within = np.diff(np.interp(frames - first, np.arange(part.size), part))
    level = 10 * np.log10(within / np.maximum(np.diff(frames), _TINY))
    return np.asarray(level - uniform_filter1d(level, trend, mode="reflect"))


def _half_orders_db(
    orders: OrderSpectrum, engine: Engine, settings: UnevenSettings
) -> float | None:
    """Mean level of half orders against the firing multiples about them. [dB]"""
    if not orders.bands:
        return None
    band, step = orders.bands[0], engine.order_step
    top = min(float(band.orders[-1]), max(settings.highest_order, 2.5 * engine.firing_order))
    lines = np.arange(1, int(top / step) + 1) * step
    lines = lines[lines > band.orders[0] + 2 / band.revolutions]
    centre = np.round((lines - band.orders[0]) * band.revolutions).astype(int)
    reach = np.clip(centre[:, None] + np.arange(-1, 2), 0, band.orders.size - 1)
    power = np.sum(10 ** (band.level_db[reach] / 10), axis=1)
    noise = reach.shape[1] * 10 ** (band.floor_db[reach[:, 1]] / 10)
    level_db = 10 * np.log10(np.maximum(power - noise, 0.1 * noise))
    count = np.round(lines / step).astype(int)
    firing = count % round(engine.firing_order / step) == 0
    # Once a cycle and its odd multiples: half orders of a four-stroke.
    odd = (count % 2 == 1) & ~firing & (lines * orders.mean_speed_hz > settings.lowest_hz)
    if not odd.any() or np.count_nonzero(firing) < 2:
        return None
    about = np.interp(lines, lines[firing], level_db[firing])
    return float(np.mean((level_db - about)[odd]))


def uneven_ln_ratio(unevenness: Unevenness, settings: UnevenSettings) -> float:
    """How far the figures speak for either kind of misfire, both equally likely. [nat]"""
    one, all_ = (
        weights.constant
        + weights.weakest * unevenness.weakest_db
        + weights.strongest * unevenness.strongest_db
        + weights.skewness * unevenness.skewness
        + weights.half * unevenness.half_db
        for weights in (settings.one_weak, settings.all_at_times)
    )
    either = float(np.logaddexp(one, all_) - np.log(2.0))
    return float(np.clip(either, *settings.limits))


def uneven_finding(
    spectrum: ShortTimeSpectrum,
    orders: OrderSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: UnevenSettings | None = None,
) -> NoiseFinding:
    """How far a recording speaks for uneven firing. Arguments as `find_unevenness`."""
    settings = settings or UnevenSettings()
    unevenness = find_unevenness(spectrum, orders, speed, engine, settings)
    if unevenness is None:
        return cannot_tell(NOISE, "evenness of firing cannot be told")
    ln_ratio = uneven_ln_ratio(unevenness, settings)
    now_and_then = "some fall short now and then" if unevenness.skewness < -0.15 else "evenly"
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=ln_ratio,
        level_db=unevenness.half_db,
        low_hz=settings.bands_hz[0][0],
        high_hz=settings.bands_hz[-1][1],
        share=1.0 if ln_ratio > 0 else 0.0,
        words=(
            f"weakest firing {unevenness.weakest_db:.1f} dB under the middle one; cycles differ "
            f"by {unevenness.scatter_db:.1f} dB, {now_and_then}; half orders "
            f"{unevenness.half_db:+.0f} dB against the firing"
        ),
    )
