"""Envelope order spectra: how often per turn the sound knocks, swells or cries.

A worn race, a lump in a belt or a rough bearing seldom makes a line of its own in the
sound; it makes the *loudness* of some band swing. So the sound is cut into bands, the
power of each is followed over the crank angle, and the spectrum of that is taken.

Near an engine every band swings with the firing. What repeats every working cycle is
divided out, which also lets the quiet angles between two firings count as much as the
loud ones.

References
----------
.. [1] R. B. Randall, J. Antoni, Rolling element bearing diagnostics - a tutorial,
   Mechanical Systems and Signal Processing 25 (2011) 485-520 (from memory).
.. [2] W. A. Smith, R. B. Randall, Rolling element bearing diagnostics using the Case
   Western Reserve University data: a benchmark study, Mechanical Systems and Signal
   Processing 64-65 (2015) 100-131 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.evidence.angle import AngularSound
from acoustic.evidence.findings import EnvelopeBand, EnvelopeSpectrum
from acoustic.evidence.order_spectrum import TrackingSettings, order_band
from acoustic.evidence.stretch_spectrum import StretchSpectrum, spectra_of
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace

Floats = NDArray[np.float64]

_ANGLE_STEP_S = 0.005
_CYCLES_AT_ONCE = 128


def _half_octaves(lowest_hz: float, count: int) -> tuple[tuple[float, float], ...]:
    """Bands about half an octave wide, a quarter apart, so that every edge lies inside one."""
    centres = lowest_hz * 2 ** (0.25 * np.arange(count))
    return tuple((round(float(c / 1.2)), round(float(c * 1.2))) for c in centres)


@dataclass(frozen=True, slots=True)
class EnvelopeSettings:
    """Bands of the sound, and how their swing is made ready for a spectrum.

    Attributes
    ----------
    carriers_hz : tuple of (float, float)
        Overlapping bands, so that a resonance at an edge is not lost. Half an octave is
        about as wide as the resonances that knocks excite; with bands twice as wide a
        worn race 12 dB below the rest of its band was found in 55 of 100 made scenes, with
        these in 78. [Hz]
    per_revolution : int
        Points of the envelope per turn of the crankshaft.
    mean_turns : float
        Turns of the running mean that takes out automatic gain and slow changes.
    cycle_spread : float
        Over how many working cycles the engine's own pattern is averaged (sd).
    limits : (float, float)
        The relative swing is clipped here, so that a single knock does not rule.
    """

    carriers_hz: tuple[tuple[float, float], ...] = field(
        default_factory=lambda: ((600.0, 1000.0), *_half_octaves(1100.0, 13))
    )
    per_revolution: int = 128
    mean_turns: float = 4.0
    cycle_spread: float = 8.0
    limits: tuple[float, float] = (-3.0, 8.0)
    tracking: TrackingSettings = field(
        default_factory=lambda: TrackingSettings(
            edges_order=(0.15, 10.0, 52.0), revolutions=(64, 32), lowest_hz=0.0
        )
    )


def envelope_spectra(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    settings: EnvelopeSettings | None = None,
) -> EnvelopeSpectrum:
    """Order spectra of the envelope of several bands over the used stretches.

    Parameters
    ----------
    highest_hz : float
        Codec's or microphone's cut-off; bands above it are left out. [Hz]

    Raises
    ------
    SpeedError
        If no stretch holds enough turns of the crankshaft.
    """
    settings = settings or EnvelopeSettings()
    tracking = settings.tracking
    wanted = [
        (low, min(high, highest_hz))
        for low, high in settings.carriers_hz
        if min(high, highest_hz) > low + 0.6 * (high - low)
    ]
    swings: list[list[AngularSound]] = [[] for _ in range(len(wanted) + 1)]
    for spectrum in spectra_of(recording, stretches):
        sound = TurnedStretch(spectrum, speed, settings.per_revolution)
        if sound.turns < tracking.shortest_revolutions + 1:
            continue
        each = [band_swing(sound, limits_hz, engine, settings) for limits_hz in wanted]
        for number, swing in enumerate([*each, _together(each)]):
            swings[number].append(swing)
    if not wanted or not swings[0]:
        raise SpeedError(
            f"{recording.name}: no steady stretch is long enough for the envelope. Record at "
            "least 10 seconds at a held speed without moving the phone."
        )
    mean_hz = float(np.median(speed.at(np.concatenate([_seconds(s) for s in stretches.used]))))
    carriers = []
    whole = (wanted[0][0], wanted[-1][1])
    for (low_hz, high_hz), sounds in zip([*wanted, whole], swings, strict=True):
        # The envelope of a band swings no faster than the band is wide.
        top = min(tracking.edges_order[-1], 0.5 * (high_hz - low_hz) / mean_hz)
        edges = [min(edge, top) for edge in tracking.edges_order]
        bands = tuple(
            order_band(sounds, (low, high), turns, engine, mean_hz, tracking)
            for low, high, turns in zip(edges, edges[1:], tracking.revolutions, strict=False)
            if high > 1.2 * low
        )
        carriers.append(EnvelopeBand(low_hz, high_hz, bands))
    return EnvelopeSpectrum(tuple(carriers), mean_hz, engine.order_step)


def _together(swings: list[AngularSound]) -> AngularSound:
    """Mean swing of all bands: what roughens the whole sound stands out of it."""
    mean = np.asarray(np.mean([swing.samples for swing in swings], axis=0), dtype=np.float32)
    return AngularSound(mean, swings[0].per_revolution, swings[0].highest_order)


def _seconds(stretch: Stretch) -> Floats:
    return np.arange(stretch.start_s, max(stretch.end_s, stretch.start_s + 0.1), 0.1)


class TurnedStretch:
    """A stretch with its crank angle, cut into equal steps of it."""

    def __init__(self, sound: StretchSpectrum, speed: SpeedTrace, per_turn: int) -> None:
        self.sound, self.per_turn = sound, per_turn
        steps = np.arange(0.0, sound.duration_s, _ANGLE_STEP_S)
        hz = speed.at(sound.start_s + steps)
        angle = np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1]) * np.diff(steps))])
        self.turns = float(angle[-1]) if steps.size else 0.0
        points = np.arange(int(self.turns * per_turn) + 1) / per_turn
        # The times at which the steps of angle begin and end. [s]
        self._edges_s = np.interp(points, angle, steps) if steps.size else np.zeros(1)

    def time_at(self, turns: Floats) -> Floats:
        """Time at which the crank has turned so far. [s]"""
        points = np.arange(self._edges_s.size) / self.per_turn
        return np.asarray(np.interp(turns, points, self._edges_s))

    def mean_power(self, limits_hz: tuple[float, float]) -> Floats:
        """Mean power of a band over each step of angle, to some factor.

        From the running sum: no aliasing, no weights lost.
        """
        power, rate_hz = self.sound.power(*limits_hz)
        energy = np.zeros(power.size + 1)
        np.cumsum(power, dtype=np.float64, out=energy[1:])
        edges = self._edges_s * rate_hz
        # The running sum lies at whole numbers, so nobody has to search for the neighbours.
        whole = np.minimum(edges.astype(np.intp), power.size - 1)
        at_edges = energy[whole] + np.minimum(edges - whole, 1.0) * power[whole]
        mean = np.diff(at_edges) / np.maximum(np.diff(edges), 1e-9)
        return np.asarray(np.maximum(mean, 1e-30))


def band_swing(
    sound: TurnedStretch,
    limits_hz: tuple[float, float],
    engine: Engine,
    settings: EnvelopeSettings,
) -> AngularSound:
    """Relative swing of a band's power over crank angle, without the engine's pattern."""
    per_turn = settings.per_revolution
    mean = sound.mean_power(limits_hz)
    mean /= np.maximum(
        uniform_filter1d(mean, int(settings.mean_turns * per_turn), mode="nearest"), 1e-30
    )
    relative = mean / _cycle_pattern(mean, engine, settings) - 1.0
    low, high = settings.limits
    samples = np.clip(relative, low, high).astype(np.float32)
    return AngularSound(samples, per_turn, 0.5 * per_turn)


def _cycle_pattern(mean: Floats, engine: Engine, settings: EnvelopeSettings) -> Floats:
    """What the band does at each angle of the working cycle, following slow changes."""
    cycle = round(settings.per_revolution / engine.order_step)
    count = -(-mean.size // cycle)
    if count < 4:
        return np.ones_like(mean)
    padded = np.pad(mean, (0, count * cycle - mean.size), mode="reflect")
    table = np.minimum(padded.reshape(count, cycle), 10.0)
    smooth = _mean_over_cycles(table.astype(np.float32), settings.cycle_spread)
    smooth = gaussian_filter1d(smooth, 1.5, axis=1, mode="wrap")
    return np.asarray(np.maximum(smooth, 0.05).ravel()[: mean.size])


def _mean_over_cycles(table: NDArray[np.float32], spread: float) -> NDArray[np.float32]:
    """Gaussian mean down the rows of a table, the first and last row going on beyond it.

    As a product with the band of weights, a few times faster than a filter run along each
    column by itself; block by block, so that the work grows with the table's length only.
    """
    reach = int(4.0 * spread + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    band = np.zeros((_CYCLES_AT_ONCE, _CYCLES_AT_ONCE + 2 * reach), np.float32)
    for row in range(_CYCLES_AT_ONCE):
        band[row, row : row + weights.size] = weights / weights.sum()
    padded = np.pad(table, ((reach, reach), (0, 0)), mode="edge")
    smooth = np.empty_like(table)
    for first in range(0, table.shape[0], _CYCLES_AT_ONCE):
        rows = min(_CYCLES_AT_ONCE, table.shape[0] - first)
        part = padded[first : first + rows + 2 * reach]
        np.matmul(band[:rows, : part.shape[0]], part, out=smooth[first : first + rows])
    return smooth
