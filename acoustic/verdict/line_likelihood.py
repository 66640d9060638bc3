"""How much each place of the order spectrum speaks for a line of a given level.

Every bin counts, not only those called tones: a family of five weak lines, none of them
a finding alone, is still seen, and a line that should have been loud and is not there
speaks against its source. A place that cannot be seen (the engine's own lines, below
the phone's high-pass, above the codec's cut-off) says nothing at all.

Levels of tones are tone-to-noise ratios in the critical band; those of envelope lines are
counted from a line 15 dB above the floor of one bin. [dB]
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from acoustic.evidence.audibility import critical_bandwidth_hz
from acoustic.evidence.findings import EnvelopeSpectrum, OrderBand, OrderSpectrum
from acoustic.verdict.chosen_blur import ChosenBlur
from acoustic.verdict.strangers import Strangers, envelope_strangers

Floats = NDArray[np.float64]

LATTICE_STEP = 2.5e-4
"""Step of ln(order) in the tables: a twentieth of a bin and less where lines are sharp."""
LEVEL_STEP_DB = 3.0
LINE_LEVELS_DB = np.arange(-30.0, 16.0, LEVEL_STEP_DB)
"""Levels a single line may have. [dB]"""
FAMILY_LEVELS_DB = np.arange(-48.0, 13.0, LEVEL_STEP_DB)
"""Expected levels of a line given its family's level. [dB]"""
VOICE_LEVELS_DB = np.arange(-36.0, 13.0, LEVEL_STEP_DB)
"""Level of a family's strongest tone. [dB tone-to-noise]"""
ENVELOPE_LEVELS_DB = np.arange(-15.0, 13.0, 9.0)
"""Level of a family's strongest envelope line. [dB]"""
_ENVELOPE_ZERO_DB = 15.0
STRAY_LEVEL_DB = (-6.0, 8.0)
"""Level of a line nobody explains before a recording has shown its own: mean and sd. [dB]"""
STRAY_EDGES_DB = np.array([-12.0, -3.0, 6.0]) + 0.5 * LEVEL_STEP_DB
"""Classes of level in which such lines are counted. [dB]"""
STRAY_SHARES = np.diff(
    ndtr(
        (np.concatenate([[-np.inf], STRAY_EDGES_DB, [np.inf]]) - STRAY_LEVEL_DB[0])
        / STRAY_LEVEL_DB[1]
    )
)
"""Share of each class."""


@dataclass(frozen=True, slots=True)
class LikelihoodSettings:
    """Laws of floor and line, fitted on made fault-free scenes (tests/trial/floor_law.py).

    `envelope_settings` gives those of envelope lines.

    Attributes
    ----------
    floor_bias : tuple of float
        By how much (natural log) the greater-of floor lies high, per order band.
    freedom_shares : tuple of float
        ``power/floor`` follows an F law with these shares of the degrees of freedom.
    level_scatter_db : float
        Scatter of a line about the level its family makes expect. [dB]
    position_sd : float
        Relative scatter of a line's place beyond all shared unknowns.
    smear_per_revolution : float
        Relative rms speed error that widens a line. [-]
    """

    floor_bias: tuple[float, ...] = (0.20, 0.17, 0.09, 0.05)
    freedom_shares: tuple[float, float] = (0.9, 4.5)
    level_scatter_db: float = 5.0
    position_sd: float = 5e-4
    smear_per_revolution: float = 5e-4
    saturation: float = 30.0
    clutter_levels_db: tuple[float, float] = STRAY_LEVEL_DB
    weak_clutter_levels_db: tuple[float, float] = (-24.0, 4.0)


def envelope_settings(tones: LikelihoodSettings) -> LikelihoodSettings:
    """Laws for envelope spectra: lines scatter more, and no band is like another."""
    return replace(
        tones,
        floor_bias=(0.17, 0.12),
        smear_per_revolution=1e-3,
        clutter_levels_db=STRAY_LEVEL_DB,
        weak_clutter_levels_db=(-18.0, 4.0),
    )


@dataclass(frozen=True, slots=True, eq=False)
class LineTable:
    """Likelihood ratios "line here" against "floor here" for one recording.

    Attributes
    ----------
    ln_order : ndarray, shape (places,)
        Lattice of ln(order), step `LATTICE_STEP`.
    held : ndarray, shape (carriers, family levels, held places)
        Mean likelihood ratio - 1 of a line whose expected level is `FAMILY_LEVELS_DB`, for
        each band of the sound it may swing in (one for tones). Where there are several,
        the last is their mean: a line that swings in any of them. Only places where
        somebody looks are held; the first stands for all where nothing can be seen.
    held_at : ndarray of int, shape (places,)
        Where in `held` each place is, -1 if it is not.
    levels_db : ndarray, shape (levels,)
        Levels a family may have here. [dB]
    strangers : Strangers
        How lines nobody accounts for usually lie here.
    stray_by_level : ndarray, shape (len(STRAY_SHARES), places)
        Mean likelihood ratio of a line nobody explains, for each class of its level.
    weak_stray : ndarray, shape (places,)
        The same for a weak one.
    half_window : ndarray of int, shape (places,)
        Lattice steps within which two lines cannot be told apart.
    visible : ndarray of bool, shape (places,)
    mean_speed_hz : float
    """

    ln_order: Floats
    held: Floats
    held_at: NDArray[np.intp]
    stray_by_level: Floats
    weak_stray: Floats
    half_window: NDArray[np.intp]
    visible: NDArray[np.bool_]
    mean_speed_hz: float
    levels_db: Floats
    strangers: Strangers = field(default_factory=Strangers)

    @property
    def stray(self) -> Floats:
        """Mean likelihood ratio of a line nobody explains, of any level, shape (places,)."""
        return np.asarray(STRAY_SHARES @ self.stray_by_level)

    @property
    def carriers(self) -> int:
        """Bands of the sound that lines may swing in; 1 for tones."""
        each = self.held.shape[0]
        return each - 1 if each > 1 else 1

    def columns(self, level_db: Floats, carriers: Sequence[int] = (0,)) -> NDArray[np.intp]:
        """Where `gains` finds lines of these expected levels, shape (..., carriers, levels).

        Parameters
        ----------
        level_db : ndarray, shape (..., levels)
            [dB]
        carriers : sequence of int
            Number `carriers` is the mean of all.
        """
        nearest = np.rint((level_db - FAMILY_LEVELS_DB[0]) / LEVEL_STEP_DB)
        inside = np.minimum(np.maximum(nearest, 0), FAMILY_LEVELS_DB.size - 1).astype(np.intp)
        _, levels, places = self.held.shape
        rows = levels * np.array(carriers)[:, None] + inside[..., None, :]
        return np.asarray(places * rows)

    def gains(self, places: NDArray[np.intp], columns: NDArray[np.intp]) -> Floats:
        """Mean likelihood ratio - 1 of lines at some places, shape as both together.

        Parameters
        ----------
        places, columns : ndarray of int
            What is wanted where; broadcast against each other.
        """
        held = self.held_at[places]
        if (held < 0).any():
            raise ValueError("a place was looked at that the line table was not made for")
        return np.asarray(self.held.ravel().take(held + columns))

    def place_of(self, ln_order: Floats | float) -> NDArray[np.intp]:
        """Nearest lattice index, clipped to the table's ends (which are invisible)."""
        index = np.rint((np.asarray(ln_order) - self.ln_order[0]) / LATTICE_STEP).astype(np.intp)
        return np.asarray(np.clip(index, 0, self.ln_order.size - 1), dtype=np.intp)


_SMEAR_BINS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
_SMEAR_LOSS = (1.0, 0.77, 0.52, 0.37, 0.29, 0.20)


Reach = Sequence[tuple[float, float]]
"""From where to where, in ln(order), somebody may look for lines."""


def line_table(
    spectrum: OrderSpectrum, settings: LikelihoodSettings, reach: Reach | None = None
) -> LineTable:
    """Tabulate the likelihood ratios of one recording's order spectrum.

    Lines can be looked up within `reach` only, everywhere if it is left out.
    """
    mean_hz = spectrum.mean_speed_hz
    grid = _lattice(spectrum.bands)

    def bins_of_noise(order: Floats, band: OrderBand) -> Floats:
        return critical_bandwidth_hz(order * mean_hz) * band.revolutions / mean_hz / 1.5

    one = _Tabulated(grid, spectrum.bands, bins_of_noise, settings)
    return _table([one], reach, mean_hz, VOICE_LEVELS_DB)


def envelope_table(
    spectrum: EnvelopeSpectrum, settings: LikelihoodSettings, reach: Reach | None = None
) -> LineTable:
    """Tabulate the likelihood ratios of one recording's envelope spectra."""
    settings = envelope_settings(settings)
    widest = max((c.bands for c in spectrum.carriers), key=lambda bands: bands[-1].orders[-1])
    grid = _lattice(widest)

    def zero_level(order: Floats, _: OrderBand) -> Floats:
        return np.full(order.size, 10 ** (_ENVELOPE_ZERO_DB / 10))

    each = [_Tabulated(grid, c.bands, zero_level, settings) for c in spectrum.carriers]
    table = _table(each, reach, spectrum.mean_speed_hz, ENVELOPE_LEVELS_DB)
    return replace(table, strangers=envelope_strangers(spectrum.order_step))


def _lattice(bands: Sequence[OrderBand]) -> Floats:
    lowest, highest = bands[0].orders[0], bands[-1].orders[-1]
    # One invisible place at each end stands for everything outside.
    count = int(np.log(highest / lowest) / LATTICE_STEP) + 3
    return np.asarray(np.log(lowest) + LATTICE_STEP * (np.arange(count) - 1))


class _Tabulated:
    """Likelihood ratios over `LINE_LEVELS_DB` and places for one set of bands."""

    def __init__(
        self,
        ln_order: Floats,
        bands: Sequence[OrderBand],
        noise_bins: Callable[[Floats, OrderBand], Floats],
        settings: LikelihoodSettings,
    ) -> None:
        self.ln_order, self.settings = ln_order, settings
        self.visible = np.zeros(ln_order.size, dtype=bool)
        self.half_window = np.ones(ln_order.size, dtype=np.intp)
        self._bands, self._noise_bins = bands, noise_bins
        self._places = [_places_of_band(ln_order, bands, n) for n in range(len(bands))]
        for band, inside in zip(bands, self._places, strict=True):
            order = np.exp(ln_order[inside])
            self.visible[inside] = _visible(order, band)
            reach = 2.5 / (band.revolutions * order) + settings.position_sd
            # Below order 1.5 windows would be wide, and phones hear nothing there anyway.
            self.half_window[inside] = np.clip(np.rint(reach / LATTICE_STEP), 1, 120).astype(
                np.intp
            )

    def write_gains(self, gains: Floats) -> None:
        """Write ratios less 1, so that what cannot be seen is nothing; shape (levels, places)."""
        gains[:] = 0.0
        for number, (band, inside) in enumerate(zip(self._bands, self._places, strict=True)):
            seen = inside.start + np.flatnonzero(self.visible[inside])
            order = np.exp(self.ln_order[seen])
            noise, bias = self._noise_bins(order, band), self.settings.floor_bias[number]
            for row, gain in zip(
                gains, _gains(order, band, bias, noise, self.settings), strict=True
            ):
                row[seen] = gain


def _table(
    each: Sequence[_Tabulated], reach: Reach | None, mean_speed_hz: float, levels_db: Floats
) -> LineTable:
    """One table; a stranger may swing in any of the bands, so its ratio is their mean."""
    ln_order, settings = each[0].ln_order, each[0].settings
    visible = np.any([one.visible for one in each], axis=0)
    looked_at = visible if reach is None else visible & _within(ln_order, reach)
    held_at = np.where(visible, -1, 0)
    held_at[looked_at] = 1 + np.arange(np.count_nonzero(looked_at))
    blur = ChosenBlur(looked_at, settings.position_sd / LATTICE_STEP)
    by_level, weak = _stray_weights(settings)
    stray_by_level = np.zeros((STRAY_SHARES.size, ln_order.size))
    weak_stray = np.zeros(ln_order.size)
    # Band by band in one place: all bands at all places are too many to hold at once.
    gains = np.empty((LINE_LEVELS_DB.size, ln_order.size))
    weights = _level_weights(FAMILY_LEVELS_DB, settings.level_scatter_db)
    held = np.zeros((len(each) + (len(each) > 1), FAMILY_LEVELS_DB.size, 1 + blur.size))
    for number, one in enumerate(each):
        one.write_gains(gains)
        stray_by_level += by_level @ gains
        weak_stray += weak @ gains
        np.matmul(weights, blur.blurred(gains, one.visible), out=held[number, :, 1:])
    if len(each) > 1:
        np.mean(held[:-1], axis=0, out=held[-1])
    return LineTable(
        ln_order=ln_order,
        held=held,
        held_at=held_at,
        stray_by_level=1.0 + stray_by_level / (len(each) * STRAY_SHARES[:, None]),
        weak_stray=1.0 + weak_stray / len(each),
        half_window=np.max([one.half_window for one in each], axis=0),
        visible=visible,
        mean_speed_hz=mean_speed_hz,
        levels_db=levels_db,
    )


def _within(ln_order: Floats, reach: Reach) -> NDArray[np.bool_]:
    """Places from which one within reach is the nearest."""
    inside = np.zeros(ln_order.size, dtype=bool)
    for low, high in reach:
        first, last = np.searchsorted(ln_order, (low - LATTICE_STEP, high + LATTICE_STEP))
        inside[first:last] = True
    return inside


def _stray_weights(settings: LikelihoodSettings) -> tuple[Floats, Floats]:
    """Weights of line levels for a line that hangs on nothing: by class of level, and weak."""
    mean_db, sd_db = settings.clutter_levels_db
    weights = _level_weights(np.array([mean_db]), sd_db)[0]
    inside = np.searchsorted(STRAY_EDGES_DB, LINE_LEVELS_DB, side="right")
    classes = np.arange(STRAY_EDGES_DB.size + 1)[:, None] == inside[None, :]
    weak_db, weak_sd_db = settings.weak_clutter_levels_db
    return classes * weights, _level_weights(np.array([weak_db]), weak_sd_db)[0]


def _level_weights(mean_db: Floats, sd_db: float) -> Floats:
    """Weights of `LINE_LEVELS_DB` for levels scattered about each mean.

    What falls below the lowest level counts as silence (likelihood ratio 1), so rows
    need not sum to 1; what falls above goes to the highest level.
    """
    edges = np.concatenate([LINE_LEVELS_DB - LEVEL_STEP_DB / 2, [np.inf]])
    cumulative = ndtr((edges[None, :] - mean_db[:, None]) / sd_db)
    return np.diff(cumulative, axis=1)


def _places_of_band(ln_order: Floats, bands: Sequence[OrderBand], number: int) -> slice:
    start = np.log(bands[number].orders[0])
    last_band = number + 1 == len(bands)
    end = np.log(bands[number].orders[-1] if last_band else bands[number + 1].orders[0])
    return slice(*(int(place) for place in np.searchsorted(ln_order, (start, end))))


def _visible(order: Floats, band: OrderBand) -> NDArray[np.bool_]:
    nearest = np.rint((order - band.orders[0]) * band.revolutions).astype(int)
    return np.asarray(band.visible[np.clip(nearest, 0, band.orders.size - 1)])


def _gains(
    order: Floats,
    band: OrderBand,
    floor_bias: float,
    noise_bins: Floats,
    settings: LikelihoodSettings,
) -> Iterator[Floats]:
    """Likelihood ratio - 1 at some orders for each of `LINE_LEVELS_DB`.

    `noise_bins` is the power ratio to one bin's floor that counts as level 0 dB.
    """
    smear_bins = settings.smear_per_revolution * order * band.revolutions
    kept = np.interp(smear_bins, _SMEAR_BINS, _SMEAR_LOSS) * noise_bins
    d1, d2 = (share * band.freedom for share in settings.freedom_shares)
    floor_part = d1 / d2 * np.exp(_at_places(band.excess + floor_bias, band, order))
    top = settings.saturation
    # Level by level: what one needs stays in the processor's cache, all together would not.
    for level_db in LINE_LEVELS_DB:
        gain = 1.0 + kept * 10 ** (level_db / 10)
        ln_ratio = (1.0 + floor_part) * gain / (gain + floor_part)
        np.log(ln_ratio, out=ln_ratio)
        ln_ratio *= 0.5 * (d1 + d2)
        ln_ratio -= 0.5 * d1 * np.log(gain)
        high = np.flatnonzero(ln_ratio > top)
        ln_ratio[high] = top + top * np.log(ln_ratio[high] / top)
        np.exp(ln_ratio, out=ln_ratio)
        ln_ratio -= 1.0
        yield ln_ratio


def _at_places(excess: Floats, band: OrderBand, order: Floats) -> Floats:
    """Parabola through the three nearest bins' ln(power/floor)."""
    position = (order - band.orders[0]) * band.revolutions
    mid = np.clip(np.rint(position).astype(int), 1, excess.size - 2)
    shift = position - mid
    left, centre, right = excess[mid - 1], excess[mid], excess[mid + 1]
    bend = left - 2 * centre + right
    return np.asarray(centre + shift * (0.5 * (right - left) + 0.5 * shift * bend))
