"""The engine itself: comb of half orders, combustion noise, injector and valve ticking.

The comb repeats with the working cycle, so it is made cycle by cycle over crank angle
(each cycle a little different, neighbours faded into each other) and then read off at
the angle of every sample.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray
from scipy import ndimage

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.misfire import Misfire
from acoustic.synthetic.random_curves import Floats, draw, humps_db, noise_spectrum
from acoustic.synthetic.scene_settings import EngineSound

Signal = NDArray[np.float32]
POINTS_PER_PERIOD = 4  # angle samples per period of the highest half order
ENVELOPE_POINTS = 1024  # per working cycle
LARGEST_PHASE_JITTER = 1.2  # rad; above it a line is noise anyway
SLOPE_FROM_HZ = 150.0
ALIKE_AT_HIGH_ORDERS = 0.3  # share of the firing pattern left there; common practice, no source


def firing_phases(drive: Drive) -> Floats:
    """Give the firings as shares of the working cycle, from the layout's angles or even."""
    cycle_deg = 360.0 / drive.engine.order_step
    angles = drive.layout.engine.firing_angles_deg
    if angles:
        return np.sort(np.asarray(angles, dtype=np.float64) / cycle_deg % 1.0)
    count = max(1, round(drive.engine.firing_order / drive.engine.order_step))
    return np.arange(count) / count


def comb_levels_db(
    orders: Floats, drive: Drive, speed_hz: float, settings: EngineSound, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw the level of each half order: firing pattern, slope, humps and scatter. [dB]

    A line the firings of the cycle add up to stands at 0 dB before slope; the others
    stand where the unlikeness of the cylinders lifts them, which grows with the order:
    a small difference in timing is a large one in phase there.

    Returns
    -------
    levels_db, pattern_db : ndarray of float64
        Level of each line, and what the firing pattern takes from it: the difference is
        where the firings would stand if they all added up.
    """
    cycle_line = np.round(orders / drive.engine.order_step)
    phases = firing_phases(drive)
    together = np.abs(np.exp(2j * np.pi * np.outer(cycle_line, phases)).mean(axis=1))
    unlike_integer = draw(rng, settings.integer_db)
    unlike_half = min(unlike_integer, draw(rng, settings.half_db))
    whole = np.isclose(orders % 1.0, 0.0)
    unlike = np.where(whole, unlike_integer, unlike_half)
    kept = ALIKE_AT_HIGH_ORDERS + (1.0 - ALIKE_AT_HIGH_ORDERS) * np.exp(
        -orders / (6.0 * drive.engine.firing_order)
    )
    pattern = np.maximum(20.0 * np.log10(np.maximum(together, 1e-6)), kept * unlike)
    frequency = orders * speed_hz
    fall = draw(rng, settings.slope_db_per_octave)
    slope = -fall * np.log2(np.maximum(frequency / SLOPE_FROM_HZ, 1.0))
    humps = humps_db(rng, frequency, int(rng.integers(3, 8)), 80.0, 2500.0)
    scatter = settings.line_scatter_db * rng.standard_normal(orders.size)
    return pattern + slope + humps + scatter, pattern


def make_comb(
    drive: Drive,
    crank: CrankTurning,
    settings: EngineSound,
    rng: np.random.Generator,
    misfire: Misfire | None = None,
) -> Signal:
    """Make the comb of half orders, of mean square 1. Shape (coarse_samples,).

    With a misfire the half orders rise by what the weak firings no longer cancel. Nothing
    else that is drawn changes.
    """
    step = drive.engine.order_step
    fastest = float(crank.speed_hz.max())
    own = _of_this_engine(settings, rng)
    top_hz = min(draw(own, settings.top_hz), 0.4 * crank.clock.coarse_rate_hz)
    count = max(4, int(top_hz / (fastest * step)))
    orders = np.asarray(step * np.arange(1, count + 1), dtype=np.float64)
    levels, pattern = comb_levels_db(orders, drive, float(crank.speed_hz.mean()), settings, own)
    end = np.clip((count + 1 - np.arange(1, count + 1)) / (0.15 * count), 0.0, 1.0)
    amplitude = 10.0 ** (levels / 20.0) * np.sin(0.5 * np.pi * end)
    cycles = math.ceil(float(crank.angle_rev[-1]) * step) + 3
    level, turned = _draw_jitter(orders, cycles, settings, rng)
    lines = np.asarray(amplitude.astype(np.float32) * level * turned, dtype=np.complex64)
    if misfire is not None:
        added_up = (amplitude * 10.0 ** (-pattern / 20.0)).astype(np.float32)
        lines += added_up * turned * _missing(misfire, drive, crank, lines.shape)
    wave = _fade_cycles(lines)
    points = wave.size // (cycles - 1)
    comb = ndimage.map_coordinates(
        wave, [crank.angle_rev * (step * points)], output=np.float32, order=3, mode="nearest"
    )
    return np.asarray(comb / np.sqrt(np.mean(comb**2)), dtype=np.float32)


def _draw_jitter(
    orders: Floats, cycles: int, settings: EngineSound, rng: np.random.Generator
) -> tuple[NDArray[np.float32], NDArray[np.complex64]]:
    """Draw relative level and phase (as a unit vector) of the lines in every cycle.

    Shapes (cycles, lines).
    """
    shape = (cycles, orders.size)
    level = 1.0 + settings.cycle_level_jitter * rng.standard_normal(shape, dtype=np.float32)
    spread = np.minimum(settings.cycle_phase_jitter * orders, LARGEST_PHASE_JITTER)
    phase = spread.astype(np.float32) * rng.standard_normal(shape, dtype=np.float32)
    phase += rng.uniform(0.0, 2.0 * np.pi, orders.size).astype(np.float32)
    return level, np.exp(1j * phase)


def _missing(
    misfire: Misfire, drive: Drive, crank: CrankTurning, shape: tuple[int, int]
) -> NDArray[np.complex64]:
    """What weak firings take from each line in every cycle, if all firings add up to 1.

    The sum over the firings of (amplitude - 1) exp(-2πi k phase) over their number, for the
    k-th line of the cycle. A cycle's lines are faded in half a cycle before it begins and
    out half a cycle after, so the later firings are those of the cycle before.
    """
    cycles, lines = shape
    phases = firing_phases(drive)
    weak = misfire.amplitudes(crank, cycles, phases.size) - 1.0
    weak = np.where(phases < 0.5, weak, np.roll(weak, 1, axis=0))
    at = np.exp(-2j * np.pi * np.outer(phases, np.arange(1, lines + 1)))
    return np.asarray(weak @ at / phases.size, dtype=np.complex64)


def _fade_cycles(lines: NDArray[np.complex64]) -> Signal:
    """Lay the cycles one after the other, each faded into the next with cos² weights."""
    cycles, count = lines.shape
    points = fft.next_fast_len(2 * POINTS_PER_PERIOD * count, real=True)
    spectrum = np.zeros((cycles, points // 2 + 1), np.complex64)
    spectrum[:, 1 : count + 1] = lines * (0.5 * points)
    waves = fft.irfft(spectrum, points, axis=1)
    fade = np.cos(0.5 * np.pi * np.arange(points) / points).astype(np.float32) ** 2
    return np.asarray((fade * waves[:-1] + (1.0 - fade) * waves[1:]).ravel(), dtype=np.float32)


def _of_this_engine(settings: EngineSound, rng: np.random.Generator) -> np.random.Generator:
    """Where what is the engine's own is drawn from: the same again if it has a seed."""
    return rng if settings.seed is None else np.random.default_rng(settings.seed)


def make_combustion_noise(
    drive: Drive,
    crank: CrankTurning,
    settings: EngineSound,
    rng: np.random.Generator,
    misfire: Misfire | None = None,
) -> Signal:
    """Make noise that swells with every firing, of mean square 1, on the coarse clock.

    With a misfire the weak firings give less of it.
    """
    size, rate = crank.clock.coarse_samples, crank.clock.coarse_rate_hz
    own = _of_this_engine(settings, rng)
    amplitude = _band_shape(size, rate, draw(own, (500.0, 1200.0)), draw(own, (2000.0, 4500.0)))
    noise = fft.irfft(noise_spectrum(rng, amplitude), size)
    decay = draw(own, (0.15, 0.4)) / firing_phases(drive).size
    noise *= 0.2 + _pulses(drive, crank, decay, draw(own, (0.5, 2.0)), rng, misfire)
    return np.asarray(noise / np.sqrt(np.mean(noise**2)), dtype=np.float32)


def make_ticking(drive: Drive, crank: CrankTurning, rng: np.random.Generator) -> Signal:
    """Make injector and valve ticks, of mean square 1, at the full rate."""
    size, rate = crank.clock.full_samples, crank.clock.rate_hz
    low, high = draw(rng, (2000.0, 4000.0)), draw(rng, (6000.0, 11000.0))
    noise = fft.irfft(noise_spectrum(rng, _band_shape(size, rate, low, high)), size)
    cycle_hz = crank.mean_speed_hz * drive.engine.order_step
    decay = draw(rng, (0.0008, 0.002)) * cycle_hz
    pulses = _pulses(drive, crank, decay, draw(rng, (1.0, 3.0)), rng)
    noise.reshape(-1, crank.clock.factor)[:] *= pulses[:, np.newaxis]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)), dtype=np.float32)


def _band_shape(size: int, rate_hz: float, low_hz: float, high_hz: float) -> Signal:
    """Amplitude of a band with slopes of 12 dB/octave on both sides, per bin."""
    frequency = np.arange(size // 2 + 1, dtype=np.float32) * np.float32(rate_hz / size)
    rise = (frequency / np.float32(low_hz)) ** 2
    fall = (frequency / np.float32(high_hz)) ** 2
    return np.asarray(rise / (1.0 + rise) / (1.0 + fall), dtype=np.float32)


def _pulses(
    drive: Drive,
    crank: CrankTurning,
    decay_cycles: float,
    scatter_db: float,
    rng: np.random.Generator,
    misfire: Misfire | None = None,
) -> Signal:
    """Draw an envelope with one dying pulse per firing, levels scattering by cycle."""
    step = drive.engine.order_step
    phases = firing_phases(drive)
    since = (np.arange(ENVELOPE_POINTS) / ENVELOPE_POINTS - phases[:, np.newaxis]) % 1.0
    shapes = np.exp(-since / decay_cycles).astype(np.float32)
    cycles = math.ceil(float(crank.angle_rev[-1]) * step) + 1
    by_cylinder = scatter_db * rng.standard_normal(phases.size)
    levels_db = by_cylinder + 1.5 * rng.standard_normal((cycles, phases.size))
    amplitude = 10.0 ** (levels_db / 20.0)
    if misfire is not None:
        amplitude *= misfire.amplitudes(crank, cycles, phases.size)
    table = amplitude.astype(np.float32) @ shapes
    place = (crank.angle_rev * (step * ENVELOPE_POINTS)).astype(np.intp)
    return np.asarray(table.ravel()[place], dtype=np.float32)
