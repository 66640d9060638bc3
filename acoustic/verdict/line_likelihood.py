"""How much each place of the order spectrum speaks for a line of a given level.

Every bin counts, not only those called tones: a family of five weak lines, none of them
a finding alone, is still seen, and a line that should have been loud and is not there
speaks against its source. A place that cannot be seen (the engine's own lines, below
the phone's high-pass, above the codec's cut-off) says nothing at all.

Levels of tones are tone-to-noise ratios in the critical band; those of envelope lines are
counted from a line 15 dB above the floor of one bin. [dB]
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from acoustic.evidence.audibility import critical_bandwidth_hz
from acoustic.evidence.findings import EnvelopeSpectrum, OrderBand, OrderSpectrum

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
class Strangers:
    """How lines that nobody in the layout makes usually lie.

    Attributes
    ----------
    first_rate : float
        Unexplained lines per e-fold of order before a recording has shown its own rate.
    crowd_width : float
        Over how many e-folds that rate is told by the lines found (sd).
    most_rate : float
        A recording cannot show a higher rate.
    comb_step : float
        Side lines lie at one spacing about the multiples of this order.
    near_comb_rate, near_comb_order : float
        Further unexplained lines per e-fold close to the engine's own, and how close: an
        idle that hunts gives each engine line side lines.
    long_cycle_share : float
        Chance of a line at each third and quarter of an order.
    """

    first_rate: float = 0.3
    crowd_width: float = 0.3
    most_rate: float = 10.0
    comb_step: float = 1.0
    near_comb_rate: float = 0.0
    near_comb_order: float = 0.08
    long_cycle_share: float = 0.0


def envelope_strangers(order_step: float) -> Strangers:
    """Strangers among the lines of the envelope.

    0.15 lone ones per e-fold were counted on 17 ordinary engines recorded with a phone,
    most of them on a few.
    """
    return Strangers(
        0.3, crowd_width=2.0, comb_step=order_step, near_comb_rate=1.0, long_cycle_share=0.3
    )


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
    ratio : ndarray, shape (carriers x family levels, places)
        Mean likelihood ratio of a line whose expected level is `FAMILY_LEVELS_DB`, for
        each band of the sound it may swing in (one for tones). Where there are several,
        the last is their mean: a line that swings in any of them.
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
    ratio: Floats
    stray_by_level: Floats
    weak_stray: Floats
    half_window: NDArray[np.intp]
    visible: NDArray[np.bool_]
    mean_speed_hz: float
    levels_db: Floats
    strangers: Strangers = Strangers()

    @property
    def stray(self) -> Floats:
        """Mean likelihood ratio of a line nobody explains, of any level, shape (places,)."""
        return np.asarray(STRAY_SHARES @ self.stray_by_level)

    @property
    def carriers(self) -> int:
        """Bands of the sound that lines may swing in; 1 for tones."""
        each = self.ratio.shape[0] // FAMILY_LEVELS_DB.size
        return each - 1 if each > 1 else 1

    def rows(self, relative_db: float, carriers: Sequence[int] = (0,)) -> NDArray[np.intp]:
        """Rows of `ratio` for a line this far below its family's level.

        One for each level in each of the carriers; number `carriers` is their mean.
        """
        one = self.row_of(self.levels_db + relative_db)
        first = FAMILY_LEVELS_DB.size * np.array(carriers)
        return np.asarray((first[:, None] + one[None, :]).ravel(), dtype=np.intp)

    @staticmethod
    def row_of(level_db: Floats) -> NDArray[np.intp]:
        """Rows within one carrier of lines whose expected levels are these. [dB]"""
        rows = np.rint((level_db - FAMILY_LEVELS_DB[0]) / LEVEL_STEP_DB)
        inside = np.minimum(np.maximum(rows, 0), FAMILY_LEVELS_DB.size - 1)
        return np.asarray(inside, dtype=np.intp)

    def place_of(self, ln_order: Floats | float) -> NDArray[np.intp]:
        """Nearest lattice index, clipped to the table's ends (which are invisible)."""
        index = np.rint((np.asarray(ln_order) - self.ln_order[0]) / LATTICE_STEP).astype(np.intp)
        return np.asarray(np.clip(index, 0, self.ln_order.size - 1), dtype=np.intp)


_SMEAR_BINS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
_SMEAR_LOSS = (1.0, 0.77, 0.52, 0.37, 0.29, 0.20)


def line_table(spectrum: OrderSpectrum, settings: LikelihoodSettings) -> LineTable:
    """Tabulate the likelihood ratios of one recording's order spectrum."""
    mean_hz = spectrum.mean_speed_hz
    grid = _lattice(spectrum.bands)

    def bins_of_noise(order: Floats, band: OrderBand) -> Floats:
        return critical_bandwidth_hz(order * mean_hz) * band.revolutions / mean_hz / 1.5

    one = _Tabulated(grid, spectrum.bands, bins_of_noise, settings)
    return _table([one], mean_hz, VOICE_LEVELS_DB)


def envelope_table(spectrum: EnvelopeSpectrum, settings: LikelihoodSettings) -> LineTable:
    """Tabulate the likelihood ratios of one recording's envelope spectra."""
    settings = envelope_settings(settings)
    widest = max((c.bands for c in spectrum.carriers), key=lambda bands: bands[-1].orders[-1])
    grid = _lattice(widest)

    def zero_level(order: Floats, _: OrderBand) -> Floats:
        return np.full(order.size, 10 ** (_ENVELOPE_ZERO_DB / 10))

    each = [_Tabulated(grid, c.bands, zero_level, settings) for c in spectrum.carriers]
    table = _table(each, spectrum.mean_speed_hz, ENVELOPE_LEVELS_DB)
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
        # Ratios less 1, so that what cannot be seen is nothing.
        self.gains = np.zeros((LINE_LEVELS_DB.size, ln_order.size))
        for number, band in enumerate(bands):
            inside = _places_of_band(ln_order, bands, number)
            x = ln_order[inside]
            noise = noise_bins(np.exp(x), band)
            bias, gains = settings.floor_bias[number], self.gains[:, inside]
            self.visible[inside] = _band_gains(x, band, bias, noise, settings, gains)
            reach = 2.5 / (band.revolutions * np.exp(x)) + settings.position_sd
            # Below order 1.5 windows would be wide, and phones hear nothing there anyway.
            self.half_window[inside] = np.clip(np.rint(reach / LATTICE_STEP), 1, 120).astype(
                np.intp
            )

    def blur_into(self, blurred: Floats) -> None:
        """Gains of a line whose place is known to `position_sd` only; nothing if unseen."""
        sd = self.settings.position_sd / LATTICE_STEP
        gaussian_filter1d(self.gains, sd, axis=1, mode="nearest", output=blurred)
        blurred *= self.visible.astype(np.float64)

    def stray(self, levels_db: tuple[float, float]) -> Floats:
        """Mean likelihood ratio of a line that hangs on nothing."""
        weights = _level_weights(np.array([levels_db[0]]), levels_db[1])
        return np.asarray(1.0 + (weights @ self.gains)[0])

    def stray_by_level(self, levels_db: tuple[float, float]) -> Floats:
        """The same for each class of level, shape (classes, places)."""
        weights = _level_weights(np.array([levels_db[0]]), levels_db[1])[0]
        inside = np.searchsorted(STRAY_EDGES_DB, LINE_LEVELS_DB, side="right")
        classes = np.arange(STRAY_EDGES_DB.size + 1)[:, None] == inside[None, :]
        return np.asarray(1.0 + (classes * weights) @ self.gains / STRAY_SHARES[:, None])


def _table(each: Sequence[_Tabulated], mean_speed_hz: float, levels_db: Floats) -> LineTable:
    """One table; a stranger may swing in any of the bands, so its ratio is their mean."""
    settings = each[0].settings
    return LineTable(
        ln_order=each[0].ln_order,
        ratio=_family_ratios(each),
        stray_by_level=np.mean(
            [one.stray_by_level(settings.clutter_levels_db) for one in each], axis=0
        ),
        weak_stray=np.mean([one.stray(settings.weak_clutter_levels_db) for one in each], axis=0),
        half_window=np.max([one.half_window for one in each], axis=0),
        visible=np.any([one.visible for one in each], axis=0),
        mean_speed_hz=mean_speed_hz,
        levels_db=levels_db,
    )


def _family_ratios(each: Sequence[_Tabulated]) -> Floats:
    """Mean ratio for each of `FAMILY_LEVELS_DB`, band by band, then of all bands if several.

    Written straight to where it stays: the whole is large, and every pass over it costs.
    """
    places, scatter_db = each[0].ln_order.size, each[0].settings.level_scatter_db
    weights = _level_weights(FAMILY_LEVELS_DB, scatter_db)
    # One level more, always 1 and of weight 1, turns gains into ratios within the product.
    weights = np.column_stack([weights, np.ones(FAMILY_LEVELS_DB.size)])
    gains = np.ones((weights.shape[1], places))
    blurred, together = gains[:-1], np.zeros((LINE_LEVELS_DB.size, places))
    count = len(each) + (len(each) > 1)
    ratios = np.empty((count, FAMILY_LEVELS_DB.size, places))
    for one, ratio in zip(each, ratios, strict=False):
        one.blur_into(blurred)
        together += blurred
        np.matmul(weights, gains, out=ratio)
    if len(each) > 1:
        np.divide(together, len(each), out=blurred)
        np.matmul(weights, gains, out=ratios[-1])
    return ratios.reshape(-1, places)


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


def _band_gains(
    ln_order: Floats,
    band: OrderBand,
    floor_bias: float,
    noise_bins: Floats,
    settings: LikelihoodSettings,
    gains: Floats,
) -> NDArray[np.bool_]:
    """Write likelihood ratio - 1 over `LINE_LEVELS_DB` and places; give which are visible.

    `noise_bins` is the power ratio to one bin's floor that counts as level 0 dB.
    """
    order = np.exp(ln_order)
    nearest = np.clip(
        np.rint((order - band.orders[0]) * band.revolutions).astype(int), 0, band.orders.size - 1
    )
    visible: NDArray[np.bool_] = band.visible[nearest]
    smear_bins = settings.smear_per_revolution * order * band.revolutions
    kept = np.interp(smear_bins, _SMEAR_BINS, _SMEAR_LOSS) * noise_bins
    d1, d2 = (share * band.freedom for share in settings.freedom_shares)
    floor_part = d1 / d2 * np.exp(_at_places(band.excess + floor_bias, band, order))
    top, seen = settings.saturation, visible.astype(np.float64)
    # Level by level: what one needs stays in the processor's cache, all together would not.
    for level_db, row in zip(LINE_LEVELS_DB, gains, strict=True):
        gain = 1.0 + kept * 10 ** (level_db / 10)
        ln_ratio = (1.0 + floor_part) * gain / (gain + floor_part)
        np.log(ln_ratio, out=ln_ratio)
        ln_ratio *= 0.5 * (d1 + d2)
        ln_ratio -= 0.5 * d1 * np.log(gain)
        high = np.flatnonzero(ln_ratio > top)
        ln_ratio[high] = top + top * np.log(ln_ratio[high] / top)
        np.exp(ln_ratio, out=row)
        row -= 1.0
        row *= seen
    return visible


def _at_places(excess: Floats, band: OrderBand, order: Floats) -> Floats:
    """Parabola through the three nearest bins' ln(power/floor)."""
    position = (order - band.orders[0]) * band.revolutions
    mid = np.clip(np.rint(position).astype(int), 1, excess.size - 2)
    shift = position - mid
    left, centre, right = excess[mid - 1], excess[mid], excess[mid + 1]
    bend = left - 2 * centre + right
    return np.asarray(centre + shift * (0.5 * (right - left) + 0.5 * shift * bend))
