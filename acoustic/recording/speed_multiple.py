"""Which multiple of a followed speed is the engine's: all orders judged at once.

A comb that fits well at n also fits, in part, at 2n, n/2, 4n/3 and so on. Once the sound
has been made steady, its lines are sharp, and every such multiple can be judged on the
same spectrum by what it says should be there and what should not. For a class of orders
(firing orders, other whole orders, half orders) with a share p of its lines present, at
levels about m::

    ln L(p, m) = Σ over lines  ln [ (1 - p) + p f_m(z) / f_0(z) ]

z is the level of a line over its surroundings; f_m is normal about m; f_0 is what any
place may hold: the noise, normal with the sd found in the recording itself, or a stray
line now and then. So a line that a speed leaves unexplained has its price too. p and m
are not known beforehand and averaged over, with two things an engine makes likely:

- firing orders stand out at least as far as the others, and evenly so; with uneven
  firing, less the weaker the firings add up at a line (`firing_strength`);
- whole and half orders go together: in an even-firing engine both come from cylinders
  that are not alike, and unlike cylinders have no reason to prefer one of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from acoustic.drive.drive import Engine
from acoustic.recording.speed_comb import engine_orders, firing_strength
from acoustic.recording.speed_sound import SpeedSound, white_frames

Floats = NDArray[np.float64]

SHARES = np.array([0.02, 0.15, 0.4, 0.7, 0.95])
MEANS = np.array([0.4, 0.8, 1.5, 2.5, 3.5, 4.5, 6.0, 8.0])  # nat
MOST = 10.0  # nat; how far firing orders lead must not be clipped away
FIRING_SPREADS = np.array([0.4, 0.8, 1.5])  # sd of levels about their mean, nat
OTHER_SPREAD = 1.2  # the same for the other orders, nat
NARROW = 0.2  # weak lines scatter less: no more than this and half their mean, nat
# How often a share or a mean is met before listening. Judgement, checked on made scenes.
FIRING_SHARE = np.array([0.02, 0.05, 0.13, 0.30, 0.50])
TOGETHER = 1.0  # nats lost per step between the shares of whole and half orders,
USUAL_MEAN = 1.5  # where the stronger of them stands out this far, nat
LEAD = 1.0  # nats by which firing orders usually lead
OVER_FIRING = 2.0  # nats lost per nat by which other orders stand above the firing orders
STRAY_SHARE, STRAY_MEAN = 0.04, 1.5
LEAST_SD = 0.3  # following noise lifts its own lines by some tenths of a nat
# Log odds against uneven firing where the layout is silent about it: twins fire either way,
# larger engines rarely. Judgement, common practice, no source.
UNEVEN_TWIN_NATS, UNEVEN_NATS = 0.7, 3.5
LARGEST_TERM = 8  # multiples a/b with a, b up to this


@dataclass(frozen=True, slots=True, eq=False)
class LineOdds:
    """What the lines of one view of a steady sound say, for every place.

    Attributes
    ----------
    table : ndarray, shape (4 spreads, 5 shares, 8 means, bins)
        Log likelihood ratio "line of a class" over "anything". The first three spreads
        are those of firing orders, the last that of all others. [nat]
    bin_hz : float
        Spacing of the bins; the first is 0 Hz. [Hz]
    lowest_hz, top_hz : float
        Range in which lines are judged. [Hz]
    """

    table: Floats
    bin_hz: float
    lowest_hz: float
    top_hz: float


def line_odds(
    view: SpeedSound, window_s: float, top_hz: float, neighbourhood_hz: float
) -> LineOdds | None:
    """Judge the mean whitened spectrum of a steady view; None if no frame fits in."""
    kept_hz = top_hz + neighbourhood_hz
    frames = white_frames(view, window_s, window_s / 3, kept_hz, neighbourhood_hz, MOST)
    if frames.time_s.size == 0:
        return None
    level = frames.level.mean(axis=0, dtype=np.float64)
    width = int(neighbourhood_hz / frames.bin_hz) | 1
    level -= median_filter(level, width, mode="nearest")
    return LineOdds(_line_table(level), frames.bin_hz, view.lowest_hz, top_hz)


def _line_table(level: Floats) -> Floats:
    # Lines only lift levels, so the lower half shows the noise alone.
    below = -level[level < 0]
    sd = max(1.4826 * float(np.median(below)) if below.size else 0.0, LEAST_SD)
    stray = np.where(level > 0, np.exp(-np.maximum(level, 0) / STRAY_MEAN) / STRAY_MEAN, 0.0)
    anywhere = (1 - STRAY_SHARE) * _normal(level, sd) + STRAY_SHARE * stray + 1e-6
    spreads = np.minimum.outer(np.append(FIRING_SPREADS, OTHER_SPREAD), NARROW + 0.5 * MEANS)
    line = _normal(level - MEANS[:, None], np.hypot(spreads, sd)[:, :, None])
    excess = line[:, None] / anywhere - 1
    return np.asarray(np.log1p(SHARES[:, None, None] * excess))


def _normal(z: Floats, sd: Floats | float) -> Floats:
    return np.asarray(np.exp(-0.5 * (z / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))


def multiples(low: float, high: float) -> Floats:
    """All ratios of small whole numbers from `low` to `high`, rising."""
    term = np.arange(1, LARGEST_TERM + 1)
    ratio = np.unique(np.divide.outer(term, term).ravel())
    return np.asarray(ratio[(ratio >= low) & (ratio <= high)])


def log_likelihood(odds: LineOdds, speed_hz: float, engine: Engine) -> float:
    """Log likelihood of one speed [Hz] against "no engine here". [nat]"""
    order, firing, whole = engine_orders(engine, odds.top_hz / speed_hz)
    heard = order * speed_hz >= odds.lowest_hz
    position = order[heard] * speed_hz / odds.bin_hz
    firing, whole = firing[heard], whole[heard]
    strength = firing_strength(engine, order[heard][firing]) if engine.firing_phases else None
    bins = np.minimum(position.astype(np.intp), odds.table.shape[-1] - 2)
    part = position - bins
    at_line = odds.table[..., bins] * (1 - part) + odds.table[..., bins + 1] * part
    firings = _firings(at_line[:-1][..., firing], strength)
    wholes = at_line[-1][..., whole & ~firing].sum(axis=-1)
    halves = at_line[-1][..., ~whole & ~firing].sum(axis=-1)
    return _averaged(firings, wholes, halves)


def may_be_uneven(engine: Engine) -> bool:
    """Tell whether pairs of cylinders may fire at an angle that the layout does not state."""
    return not engine.firing_phases and engine.strokes == 4 and engine.cylinders % 2 == 0


def uneven_log_likelihood(odds: LineOdds, speed_hz: float, engine: Engine) -> float:
    """Log likelihood of a speed if pairs of cylinders fire at an angle nobody stated. [nat]

    Pairs come evenly, so every second firing interval repeats; how strong a line of theirs
    is hangs on the angle. That the angle is unlikely is not counted here
    (`unlikely_uneven_nats`).
    """
    return log_likelihood(odds, speed_hz, replace(engine, firing_order=engine.firing_order / 2))


def unlikely_uneven_nats(engine: Engine) -> float:
    """What unstated uneven firing has against it. [nat]"""
    return UNEVEN_TWIN_NATS if engine.cylinders == 2 else UNEVEN_NATS


def _firings(at_line: Floats, strength: Floats | None) -> Floats:
    """Sum over firing orders, shape (spreads, shares, means); the mean is that at strength 1.

    Of a power e^m over its surroundings, a line of amplitude a keeps 1 + (e^m - 1) a².
    """
    if strength is None:
        return np.asarray(at_line.sum(axis=-1))
    mean = np.log1p(np.outer(np.expm1(MEANS), strength**2)).clip(MEANS[0], MEANS[-1])
    low = np.clip(np.searchsorted(MEANS, mean, side="right") - 1, 0, MEANS.size - 2)
    part = (mean - MEANS[low]) / (MEANS[low + 1] - MEANS[low])
    line = np.arange(strength.size)
    between = at_line[:, :, low, line] * (1 - part) + at_line[:, :, low + 1, line] * part
    return np.asarray(between.sum(axis=-1))


def _averaged(firings: Floats, wholes: Floats, halves: Floats) -> float:
    """Average the likelihood (as ln) over spreads, shares and means.

    `firings` has shape (spreads, shares, means), the others (shares, means).
    """
    prior = _others_prior()
    both = _log_sum(
        (wholes[:, :, None, None, None] + halves[:, :, None] + prior).reshape(-1, MEANS.size),
        axis=0,
    )
    firing = (firings + np.log(FIRING_SHARE)[:, None]).reshape(-1, MEANS.size)
    even = np.log(FIRING_SPREADS.size * MEANS.size)
    return float(_log_sum(_log_sum(firing, axis=0) + both) - even)


@lru_cache(maxsize=1)
def _others_prior() -> Floats:
    """Give the ln of the prior of shares and means of the other orders.

    Shape (whole share, whole mean, half share, half mean, firing mean).
    """
    over = OVER_FIRING * np.maximum(0.0, MEANS[:, None] - MEANS + LEAD)
    mean = -over - np.log(np.exp(-over).sum(axis=0))  # other's mean, firing's mean
    step = np.arange(SHARES.size)[:, None] - np.arange(SHARES.size)
    # One class gone is the odder, the further the other one stands out.
    strength = np.where(
        step[:, None, :, None] >= 0, MEANS[:, None, None], MEANS[None, None, None, :]
    )
    share = -TOGETHER * np.abs(step)[:, None, :, None] * strength / USUAL_MEAN
    share = share - np.log(np.exp(share).sum(axis=(0, 2), keepdims=True))
    return np.asarray(share[..., None] + mean[:, None, None, :] + mean[None, None, None])


def _log_sum(log_terms: Floats, axis: int | None = None) -> Floats:
    """Ln Σ exp, safe for large terms."""
    most = log_terms.max(axis=axis, keepdims=True)
    summed = np.log(np.exp(log_terms - most).sum(axis=axis, keepdims=True)) + most
    return np.asarray(summed.squeeze() if axis is None else summed.squeeze(axis))
