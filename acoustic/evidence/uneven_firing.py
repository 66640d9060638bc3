"""Uneven firing: one cylinder that is weaker than the others, or all of them at times.

Each firing's noise swells and dies away again over a floor of all else. What stands over
that floor, cylinder by cylinder and in the mean of all working cycles, is lower for a
cylinder that fires weakly, and so in every band; sound cylinders differ too, but differently
from band to band, as the ways from them to the phone do. A misfire of all cylinders makes
now this, now that firing softer: single firings fall short further than others stand out.
How far sound engines go in both was taken from made ones and from recordings of ordinary
engines.

One dead cylinder of N leaves half orders of a four-stroke 1/(N - 1) as high as the firing
order (derived: N alike pulses cancel there, N - 1 do not): -10 dB for four, -14 dB for six.
Sound engines have as much, so half orders are told but not weighed.

The dip of the crank's speed behind a weak firing was tried and is not used: firings made
late by 2 % of an interval (time bent in sound recordings, as no scene makes the dip) were
told from sound ones, by the rms lateness of the cylinders' pulses, in 5 of 100 at 5 of 100
false, on 20 made and on 22 phone recordings. Pulses of the ordinary engines in the latter
lie 2.6 % (median) off even spacing as it is.

Firings are followed by their own loudness without knowing where in the crank's turn they
begin, so that a speed trace a little wrong does not change one cylinder for the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import NoiseFinding, OrderSpectrum
from acoustic.evidence.short_time import ShortTimePiece, ShortTimeSpectrum
from acoustic.evidence.weighing import cannot_tell
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

NOISE = "uneven firing"
_TINY = 1e-20
_PARTS = 3  # of a firing interval: the softest is taken for the floor
_RATIO_LIMITS = (-0.3, 3.0)  # of a cylinder's pulse to the mean one: noise makes it any
_LEAST_PULSE = 0.1  # of the mean one; less is as good as none
_CYCLES_AROUND = 4
_TAIL = 0.1  # share of firings in each tail


@dataclass(frozen=True, slots=True)
class UnevenWeights:
    """``ln_ratio = constant + Σ weight * figure`` over the figures of `Unevenness`. [nat]"""

    constant: float
    gap: float = 0.0
    disagreement: float = 0.0
    shortfall: float = 0.0


@dataclass(frozen=True, slots=True)
class UnevenSettings:
    """Bands, and what unevenness is worth.

    Attributes
    ----------
    bands_hz : tuple of (float, float)
        Where the loudness of each firing is measured: high enough for the noise of one
        firing to have died away before the next.
    pattern_hz : (float, float)
        Bands in here tell cylinders apart. Below, the noise of one firing rings on into
        the next; above, valves and injectors tick as loudly on a cylinder that does not
        burn. [Hz]
    cycles : int
        Working cycles over which the firings' place is taken together: a speed wrong by
        0.1 % is off by a small part of an interval at the end.
    fewest_cycles : int
        Fewer say nothing.
    before : float
        Share of an interval that lies before the middle of its firing's loudness.
    least_share, largest_error : float
        A band tells cylinders apart if firings make up that share of its power, and the
        standard error of a cylinder's pulse is no more than this share of the mean one.
    highest_order, lowest_hz : float
        Half orders are looked at up to this order and from this frequency.
    fewest_cylinders : int
        Fewer firings a cycle have no pattern to speak of.
    one_weak, all_at_times : UnevenWeights
        Of a weak cylinder, and of weak firings of all cylinders at random. Fitted by
        tests/trial/fit_noises.py.
    limits : (float, float)
        Least and most either may weigh: what the recordings fitted to can bear out. [nat]
    """

    bands_hz: tuple[tuple[float, float], ...] = (
        (1300.0, 2100.0),
        (2100.0, 3400.0),
        (3400.0, 5500.0),
        (5500.0, 9000.0),
    )
    pattern_hz: tuple[float, float] = (2100.0, 5500.0)
    cycles: int = 8
    fewest_cycles: int = 16
    before: float = 0.35
    least_share: float = 0.05
    largest_error: float = 0.2
    highest_order: float = 8.0
    lowest_hz: float = 30.0
    fewest_cylinders: int = 3
    one_weak: UnevenWeights = UnevenWeights(-2.22, gap=3.11, disagreement=-1.21)
    all_at_times: UnevenWeights = UnevenWeights(-0.57, shortfall=18.8)
    limits: tuple[float, float] = (-1.5, 4.0)


@dataclass(frozen=True, slots=True)
class Unevenness:
    """How unlike the firings of one engine are.

    Attributes
    ----------
    gap : float or None
        ln of the second weakest cylinder's pulse over the weakest's, in the mean of all
        cycles and bands; None where no band tells cylinders apart. [nat]
    disagreement : float or None
        Rms difference of single bands from that mean, against the mean pulse. [-]
    shortfall_db : float
        How much further the softest firings lie below the middle one than the loudest lie
        above, each cylinder against its own middle one. [dB]
    scatter_db : float
        Rms difference from cycle to cycle. [dB]
    half_db : float or None
        Half orders against the firing multiples about them, mean. [dB]
    """

    gap: float | None
    disagreement: float | None
    shortfall_db: float
    scatter_db: float
    half_db: float | None

    @property
    def weakest_db(self) -> float | None:
        """How far the weakest cylinder's pulse is below the second weakest. [dB]"""
        return None if self.gap is None else float(10 / np.log(10) * self.gap)


@dataclass(frozen=True, slots=True, eq=False)
class _Firings:
    """Power of every third of every firing interval, slow changes taken out.

    Shape of `power`: (bands, cycles, cylinders, thirds); `bands_hz` are those looked at.
    """

    power: Floats
    bands_hz: tuple[tuple[float, float], ...]

    @property
    def floor(self) -> Floats:
        """Power between firings in the mean, shape (bands,)."""
        return np.asarray(self.power.mean(axis=(1, 2)).min(axis=1))

    @property
    def share(self) -> Floats:
        """Share of the power that stands over the floor, shape (bands,)."""
        return np.asarray(1.0 - self.floor / self.power.mean(axis=(1, 2, 3)))


def find_unevenness(
    spectrum: ShortTimeSpectrum,
    orders: OrderSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: UnevenSettings | None = None,
) -> Unevenness | None:
    """Measure how unlike the firings are; None where that cannot be told.

    The longest stretch is looked at: which firing is which is not known from one to the
    next.

    Parameters
    ----------
    spectrum : ShortTimeSpectrum
        Frames of about 0.005 s.
    orders : OrderSpectrum
    speed : SpeedTrace
    engine : Engine
        One that fires at uneven angles has unlike intervals when it is sound.
    settings : UnevenSettings, optional
    """
    settings = settings or UnevenSettings()
    per_cycle = round(engine.firing_order / engine.order_step)
    alike = not engine.odd_fire and not engine.motor and per_cycle >= settings.fewest_cylinders
    if not alike or spectrum.silent:
        return None
    piece = max(spectrum.pieces, key=lambda one: one.time_s.size)
    firings = _firings(piece, spectrum, speed, engine, settings)
    if firings is None:
        return None
    gap, disagreement = _pattern(firings, settings)
    apart = _apart_db(firings)
    low, middle, high = np.quantile(apart, (_TAIL, 0.5, 1.0 - _TAIL))
    return Unevenness(
        gap=gap,
        disagreement=disagreement,
        shortfall_db=float(2.0 * middle - low - high),
        scatter_db=float(np.std(apart)),
        half_db=_half_orders_db(orders, engine, settings),
    )


def _firings(
    piece: ShortTimePiece,
    spectrum: ShortTimeSpectrum,
    speed: SpeedTrace,
    engine: Engine,
    settings: UnevenSettings,
) -> _Firings | None:
    """Cut a stretch into firings; None where it holds too few cycles or bands."""
    wide = {limits: spectrum.bins(*limits) for limits in settings.bands_hz}
    bands = {limits: bins for limits, bins in wide.items() if bins.stop - bins.start > 2}
    per_cycle = round(engine.firing_order / engine.order_step)
    turns = np.concatenate([[0.0], np.cumsum(speed.at(piece.time_s)) * spectrum.hop_s])
    counted = turns * engine.firing_order
    if not bands or counted[-1] < (settings.fewest_cycles + 2) * per_cycle:
        return None
    # Gains change slowly: what lasts over some cycles is no firing.
    slow = round(_CYCLES_AROUND * per_cycle * piece.time_s.size / counted[-1])
    powers = []
    for bins in bands.values():
        power = piece.power[:, bins].sum(axis=1, dtype=np.float64) + _TINY
        powers.append(power / (uniform_filter1d(power, slow, mode="reflect") + _TINY))
    counted -= _middle_of_firings(np.sum(powers, axis=0), counted, per_cycle, settings)
    first = np.ceil(counted[0] + settings.before)
    cycles = int((counted[-1] - first) / per_cycle)
    places = first - settings.before + np.arange(cycles * per_cycle * _PARTS + 1) / _PARTS
    frames = np.interp(places, counted, np.arange(counted.size))
    length = np.maximum(np.diff(frames), 1e-6)
    energies = [np.concatenate([[0.0], np.cumsum(power)]) for power in powers]
    means = [np.diff(np.interp(frames, np.arange(e.size), e)) / length for e in energies]
    table = np.reshape(means, (len(means), cycles, per_cycle, _PARTS))
    return _Firings(table + _TINY, tuple(bands))


def _middle_of_firings(
    loudness: Floats, counted: Floats, per_cycle: int, settings: UnevenSettings
) -> Floats:
    """Where in its interval each firing is loudest, at the edges of frames; it may drift.

    Followed from block to block, so that no firing is taken for its neighbour. [firings]
    """
    place = 0.5 * (counted[1:] + counted[:-1])
    size = settings.cycles * per_cycle
    starts = np.arange(0.0, counted[-1] - size, 0.5 * size)
    swell = np.concatenate([[0.0], np.cumsum(loudness * np.exp(-2j * np.pi * place))])
    first, last = (np.searchsorted(place, starts + shift) for shift in (0.0, size))
    blocks = np.pad(swell[last] - swell[first], 1, mode="edge")
    blocks = blocks[:-2] + 2.0 * blocks[1:-1] + blocks[2:]
    middle = -np.unwrap(np.angle(blocks)) / (2 * np.pi)
    return np.asarray(np.interp(counted, starts + 0.5 * size, middle))


def _pattern(firings: _Firings, settings: UnevenSettings) -> tuple[float | None, float | None]:
    """Gap under the second weakest cylinder, and how far the bands disagree."""
    low_hz, high_hz = settings.pattern_hz
    inside = np.array([low_hz <= low and high <= high_hz for low, high in firings.bands_hz])
    power = firings.power.mean(axis=3)
    mean = power.mean(axis=1)
    pulse = np.maximum(mean.mean(axis=1) - firings.floor, _TINY)
    error = power.std(axis=1).mean(axis=1) / np.sqrt(power.shape[1]) / pulse
    tells = inside & (firings.share > settings.least_share) & (error < settings.largest_error)
    if not tells.any():
        return None, None
    each = np.clip((mean - firings.floor[:, None])[tells] / pulse[tells, None], *_RATIO_LIMITS)
    # Pulses of sound cylinders differ in any band: more accurate ones count little more.
    weight = 1.0 / (error[tells] ** 2 + 0.01)
    together = weight @ each / weight.sum()
    weakest, second = np.maximum(np.sort(together)[:2], _LEAST_PULSE)
    apart = np.mean(weight @ (each - together) ** 2) / weight.sum()
    return float(np.log(second / weakest)), float(np.sqrt(apart))


def _apart_db(firings: _Firings) -> Floats:
    """Each firing against its cylinder's middle one, in the middle of the bands. [dB]

    A tone that comes and goes lies in few bands; a weak firing falls short in all. Medians
    let a level change at once where the tone sets in or stops.
    """
    level = 10 * np.log10(firings.power.mean(axis=3))
    bands, _, cylinders = level.shape
    around = median_filter(level.reshape(bands, -1), (1, _CYCLES_AROUND * cylinders + 1))
    apart = level - around.reshape(level.shape)
    apart -= np.median(apart, axis=1, keepdims=True)
    return np.asarray(np.median(apart, axis=0))


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
    one, at_times = settings.one_weak, settings.all_at_times
    weak = 0.0
    if unevenness.gap is not None and unevenness.disagreement is not None:
        weak = one.constant + one.gap * unevenness.gap
        weak += one.disagreement * unevenness.disagreement
    random = at_times.constant + at_times.shortfall * unevenness.shortfall_db
    weak, random = np.clip((weak, random), *settings.limits)
    return float(np.logaddexp(weak, random) - np.log(2.0))


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
    return NoiseFinding(
        noise=NOISE,
        ln_ratio=ln_ratio,
        level_db=unevenness.half_db,
        low_hz=settings.bands_hz[0][0],
        high_hz=min(settings.bands_hz[-1][1], spectrum.highest_hz),
        share=1.0 if ln_ratio > 0 else 0.0,
        words=_words(unevenness),
    )


def _words(unevenness: Unevenness) -> str:
    """What was measured, in one clause."""
    weakest = "cylinders cannot be told apart"
    if unevenness.weakest_db is not None:
        weakest = f"weakest cylinder {unevenness.weakest_db:.1f} dB under the next"
    falling = unevenness.shortfall_db > 0.1
    words = (
        f"{weakest}; single firings differ by {unevenness.scatter_db:.1f} dB, "
        f"{'some fall short now and then' if falling else 'evenly to both sides'}"
    )
    if unevenness.half_db is not None:
        words += f"; half orders {unevenness.half_db:+.0f} dB against the firing"
    return words
