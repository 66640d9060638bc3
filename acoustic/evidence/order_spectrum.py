"""Order spectrum: mean power over orders, with its noise floor, in four bands.

Low orders get long segments (fine resolution); high orders short ones, because a speed
error ε smears a line of order o by about ``o ε`` whatever the segment. Each segment is
divided by its own median first, which undoes a phone's automatic gain and the level
jumps when the phone is moved.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.evidence.angle import AngularSound, points_per_revolution, resample_to_angle
from acoustic.evidence.engine_bins import (
    FINE_REVOLUTIONS,
    active_comb_bins,
    engine_bins,
    lobes_of_hidden_lines,
)
from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.evidence.noise_floor import (
    FloorSettings,
    degrees_of_freedom,
    ln_noise_floor,
    without_shadows,
)
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

_MARGIN_BINS = 24


@dataclass(frozen=True, slots=True)
class TrackingSettings:
    """Order bands and the turns of the crankshaft in one segment of each.

    With a speed error of 0.15 % rms a line loses nothing up to order x turns of about
    800 and 5 dB at 2000 (measured on made scenes); the bands stay near that.
    """

    edges_order: tuple[float, ...] = (0.2, 12.0, 40.0, 130.0, 400.0)
    revolutions: tuple[int, ...] = (64, 32, 16, 10)
    fewest_segments: int = 5
    shortest_revolutions: int = 6
    lowest_hz: float = 60.0
    """Phones roll off below 60 to 100 Hz; a missing line says nothing there."""
    smear: float = 7e-4
    """Relative rms error of the heard speed, which widens lines of high order."""
    floor: FloorSettings = field(default_factory=FloorSettings)


def track_orders(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    settings: TrackingSettings | None = None,
) -> OrderSpectrum:
    """Order spectrum of the used stretches of a recording.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Only `used` ones count; no segment crosses their edges.
    speed : SpeedTrace
        Crankshaft speed.
    engine : Engine
        Which orders are the engine's own.
    highest_hz : float
        Codec's or microphone's cut-off; nothing above it is visible. [Hz]

    Raises
    ------
    SpeedError
        If no stretch holds enough turns of the crankshaft.
    """
    settings = settings or TrackingSettings()
    sounds = _angular_sounds(recording, stretches, speed, settings)
    mean_hz = float(np.median(np.concatenate([_speeds_in(speed, s) for s in stretches.used])))
    top_order = min(min(s.highest_order for s in sounds), highest_hz / mean_hz)
    bands = []
    edges = settings.edges_order
    for low, high, turns in zip(edges, edges[1:], settings.revolutions, strict=False):
        if min(high, top_order) > low * 1.05:
            limits = (low, min(high, top_order))
            bands.append(order_band(sounds, limits, turns, engine, mean_hz, settings))
    return OrderSpectrum(
        bands=tuple(bands),
        mean_speed_hz=mean_hz,
        highest_hz=top_order * mean_hz,
        lowest_hz=settings.lowest_hz,
        revolutions_used=sum(s.revolutions for s in sounds),
    )


def _speeds_in(speed: SpeedTrace, stretch: Stretch) -> Floats:
    start, end = stretch.start_s, stretch.end_s
    return speed.at(np.arange(start, max(end, start + 0.1), 0.1))


def _angular_sounds(
    recording: Recording, stretches: Stretches, speed: SpeedTrace, settings: TrackingSettings
) -> list[AngularSound]:
    sounds = []
    for stretch in stretches.used:
        hz = _speeds_in(speed, stretch)
        if (stretch.end_s - stretch.start_s) * hz.mean() < settings.shortest_revolutions + 1:
            continue
        per_turn = points_per_revolution(settings.edges_order[-1], float(hz.max() / hz.min()))
        # More points than the recording carries would only cost time.
        carried = recording.sample_rate_hz / float(hz.min())
        per_turn = min(per_turn, int(2 ** np.ceil(np.log2(carried))))
        sounds.append(resample_to_angle(recording, stretch, speed, per_turn))
    if not sounds:
        raise SpeedError(
            f"{recording.name}: no steady stretch holds {settings.shortest_revolutions} turns "
            "of the engine. Record at least 10 seconds at a held speed without moving the phone."
        )
    return sounds


def _turns_that_fit(sounds: list[AngularSound], turns: int, settings: TrackingSettings) -> int:
    """Shorten the segment until there are enough of them."""
    while turns > settings.shortest_revolutions:
        count = sum(max(0, int(s.revolutions // (turns / 2)) - 1) for s in sounds)
        if count >= settings.fewest_segments:
            break
        turns = max(settings.shortest_revolutions, turns // 2)
    return turns


def _segment_powers(
    sound: AngularSound, turns: int, limits: tuple[float, float]
) -> NDArray[np.float32]:
    """Power of each Hann segment over the band's bins, shape (segments, bins)."""
    points = turns * sound.per_revolution
    first, last = int(np.ceil(limits[0] * turns)), int(np.floor(limits[1] * turns))
    if sound.samples.size < points:
        return np.empty((0, last - first + 1), np.float32)
    segments = np.lib.stride_tricks.sliding_window_view(sound.samples, points)[:: points // 2]
    phase = 2 * np.pi * np.arange(points, dtype=np.float32) / points
    window = (0.5 - 0.5 * np.cos(phase)).astype(np.float32)
    lines = rfft(segments * window, axis=1)[:, first : last + 1]
    power: NDArray[np.float32] = lines.real**2 + lines.imag**2
    return power


def order_band(
    sounds: list[AngularSound],
    limits: tuple[float, float],
    turns: int,
    engine: Engine,
    mean_speed_hz: float,
    settings: TrackingSettings,
) -> OrderBand:
    """One band of an order spectrum with its floor, from sounds over crank angle.

    Parameters
    ----------
    limits : (float, float)
        Lowest and highest order of the band.
    turns : int
        Turns of the crankshaft in one segment, if the sounds are long enough.
    """
    turns = _turns_that_fit(sounds, turns, settings)
    # Measured a little beyond its limits, so that the floor at the edge is no guess.
    top = min(s.highest_order for s in sounds)
    low = max(limits[0] - _MARGIN_BINS / turns, 1 / turns)
    wide = (low, min(limits[1] + _MARGIN_BINS / turns, top))
    powers = np.concatenate([_segment_powers(s, turns, wide) for s in sounds])
    powers /= np.median(powers, axis=1, keepdims=True) + np.finfo(np.float32).tiny
    power = np.maximum(powers.mean(axis=0, dtype=np.float64), 1e-12)
    orders = (int(np.ceil(wide[0] * turns)) + np.arange(power.size)) / turns
    freedom = degrees_of_freedom(powers.shape[0])
    ln_power = np.log(power)
    engine_own = engine_bins(orders, turns, engine)
    reach = round(2 * settings.smear * float(np.sqrt(limits[0] * limits[1])) * turns)
    floor = ln_noise_floor(ln_power, engine_own, freedom, settings.floor, reach)
    if turns < FINE_REVOLUTIONS:
        engine_own |= active_comb_bins(orders, ln_power - floor, turns, freedom, engine)
        floor = ln_noise_floor(ln_power, engine_own, freedom, settings.floor, reach)
    excess = without_shadows(ln_power - floor)
    visible = (orders * mean_speed_hz >= settings.lowest_hz) & ~engine_own
    visible &= ~lobes_of_hidden_lines(excess, engine_own)
    own = slice(*np.searchsorted(orders, (limits[0] - 1e-9, limits[1] + 1e-9)))
    return OrderBand(
        orders=orders[own],
        revolutions=turns,
        level_db=10 * np.log10(power[own]),
        floor_db=floor[own] * (10 / np.log(10)),
        excess=excess[own],
        engine=engine_own[own],
        visible=visible[own],
        segments=int(powers.shape[0]),
        freedom=freedom,
        persistence=(powers[:, own] > 2 * np.exp(floor[own])).mean(axis=0),
    )
