"""What chance and strangers account for: the price every match has to pay.

A recording holds tones nobody in the layout explains (an injector, a neighbour's
machine). A part is only as suspect as its lines beat that: each place carries the
likelihood of "some stranger's tone near here", and a tone that was unexplained in one
recording is expected again, at its order or at its frequency, in the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.hot_tones import HotTone, place_sd
from acoustic.verdict.line_likelihood import LATTICE_STEP, STRAY_SHARES, LineTable
from acoustic.verdict.window_sums import windowed_sum

Floats = NDArray[np.float64]

WEAK_RATE = 0.2
"""Weak strays per e-fold of order; the match hardly depends on it from 0 to 1."""
_CROWD_PRIOR = 0.5
_LEVEL_PRIOR = 4.0
"""As many tones' levels as are taken as known before any is heard (judgement)."""
# Numerator, denominator, share of strangers' tones that have a companion there
# (judgement, held against ordinary engines recorded with a phone).
_FAMILY_RATIOS = (
    (2, 1, 0.15),
    (1, 2, 0.15),
    (3, 1, 0.10),
    (1, 3, 0.10),
    (3, 2, 0.10),
    (2, 3, 0.10),
    (4, 3, 0.05),
    (3, 4, 0.05),
    (4, 1, 0.05),
    (1, 4, 0.05),
)
_SIDE_LINE_SHARE = 0.2
_MOST_COMPANIONS = 0.25
_LONG_CYCLES = (3, 4)
_LONG_CYCLE_TOP = 4.0  # above it thirds and quarters lie too close to mean anything
_PERSISTENCE = 0.4
_PERSISTENCE_SD = 0.004
# At one speed the same order and the same frequency are one place, and a tone stays there
# as exactly as a part's own does (judgement).
_SAME_SPEED = 0.03
_PERSISTENCE_AT_ONE_SPEED = 0.85
_PERSISTENCE_SD_AT_ONE_SPEED = 0.0015


@dataclass(frozen=True, slots=True)
class StrayTone:
    """A tone that stayed unexplained, for the recordings that follow.

    `place_sd` is how uncertain its measured ln(order) is.
    """

    ln_order: float
    probability: float
    mean_speed_hz: float
    place_sd: float = 0.0


def stray_rate(
    table: LineTable,
    hot: Sequence[HotTone],
    stray_probability: Floats | None,
    strays: Sequence[StrayTone],
    before: Sequence[tuple[LineTable, Sequence[HotTone]]],
) -> Floats:
    """Expected unexplained tones per e-fold of order at each place, shape (places,).

    Strangers crowd: where this recording shows many tones nobody accounts for, one more
    there proves little.

    Parameters
    ----------
    stray_probability : ndarray or None, shape (hot tones,)
        That each hot tone is a stranger's; None before that is known.
    strays : sequence of StrayTone
        Strangers known from a healthy recording, expected again.
    before : sequence of (LineTable, hot tones)
        Earlier recordings of the same drive.
    """
    rates = np.full(table.ln_order.size, table.strangers.first_rate)
    if stray_probability is not None:
        rates = _crowding(table, hot, stray_probability)
    for stray in strays:
        for centre, kept_sd, share in _again_at(stray.ln_order, stray.mean_speed_hz, table):
            sd = _measured_again(kept_sd, stray.place_sd, table, centre)
            _add_bump(rates, table, centre, sd, share * stray.probability)
    return rates + _companions(table, hot, before) + _long_cycles(table) + _near_comb(table)


def _near_comb(table: LineTable) -> Floats:
    """Rate of side lines close to the engine's own."""
    habits = table.strangers
    order = np.exp(table.ln_order)
    away = order - habits.comb_step * np.round(order / habits.comb_step)
    return np.asarray(habits.near_comb_rate * np.exp(-((away / habits.near_comb_order) ** 2)))


def _long_cycles(table: LineTable) -> Floats:
    """Rate of lines at thirds and quarters of an order.

    An idle that hunts from cycle to cycle, an auxiliary geared to the engine, or a speed
    heard at a wrong multiple make them; a belt-driven part lies there only by chance.
    """
    rates = np.zeros(table.ln_order.size)
    share = table.strangers.long_cycle_share
    if share == 0.0:
        return rates
    top = min(_LONG_CYCLE_TOP, float(np.exp(table.ln_order[-1])))
    for parts in _LONG_CYCLES:
        for number in range(1, int(top * parts)):
            if number % parts and (2 * number) % parts:
                _add_bump(rates, table, float(np.log(number / parts)), 1e-3, share)
    return rates


def _again_at(
    ln_order: float, mean_speed_hz: float, table: LineTable
) -> tuple[tuple[float, float, float], ...]:
    """Where a stranger's tone may come again: (ln(order), its sd, the chance).

    At the same order or the same frequency; at one speed both are one place.
    """
    shift = float(np.log(mean_speed_hz / table.mean_speed_hz))
    if abs(shift) < _SAME_SPEED:
        return ((ln_order, _PERSISTENCE_SD_AT_ONE_SPEED, _PERSISTENCE_AT_ONE_SPEED),)
    apart = (_PERSISTENCE_SD, _PERSISTENCE)
    return ((ln_order, *apart), (ln_order + shift, *apart))


def _add_bump(rates: Floats, table: LineTable, centre: float, sd: float, share: float) -> None:
    place = int(np.rint((centre - table.ln_order[0]) / LATTICE_STEP))
    reach = int(5 * sd / LATTICE_STEP) + 1
    first, last = max(0, place - reach), min(rates.size, place + reach + 1)
    if first < last:
        away = (table.ln_order[first:last] - centre) / sd
        rates[first:last] += share * np.exp(-0.5 * away**2) / (sd * np.sqrt(2 * np.pi))


def _companions(
    table: LineTable,
    hot: Sequence[HotTone],
    before: Sequence[tuple[LineTable, Sequence[HotTone]]],
) -> Floats:
    """Rate of weak companions of hot tones, in case those are a stranger's.

    Only outside this recording's hot tones: between those `family_links` tells.
    """
    rates = np.zeros(table.ln_order.size)
    for tone in hot:
        if not tone.clear:
            continue
        for numerator, denominator, share in _FAMILY_RATIOS:
            centre = tone.ln_order + float(np.log(numerator / denominator))
            if table.ln_order[0] <= centre <= table.ln_order[-1]:
                sd = _measured_again(0.0, tone.place_sd, table, centre)
                _add_bump(rates, table, centre, sd, share)
    again = np.zeros(table.ln_order.size)
    for other, tones in before:
        expected = np.zeros(table.ln_order.size)
        for tone in (tone for tone in tones if tone.clear):
            for centre, kept_sd, share in _again_at(tone.ln_order, other.mean_speed_hz, table):
                sd = _measured_again(kept_sd, tone.place_sd, table, centre)
                _add_bump(expected, table, centre, sd, share)
        again = np.maximum(again, expected)
    rates += again
    for tone in hot:
        rates[tone.first : tone.last + 1] = 0.0
    return rates


def _measured_again(kept_sd: float, first_sd: float, table: LineTable, centre: float) -> float:
    """Standard deviation of where a tone is measured again, having been measured before.

    It may have moved by `kept_sd`; besides, either place is known to a part of a bin only. Of
    the envelope, whose bins are wide at low orders, that is more than any tone moves.
    """
    window = 2 * int(table.half_window[table.place_of(centre)])
    return float(np.sqrt(kept_sd**2 + first_sd**2 + place_sd(window) ** 2))


def _crowding(table: LineTable, hot: Sequence[HotTone], probability: Floats) -> Floats:
    """Local density of strangers' tones over the local share of visible places.

    The levels of these tones are counted with them: among many weak ones a strong one is
    still rare. The rate at each place is that for the levels the place itself speaks for.
    """
    habits = table.strangers
    sd = habits.crowd_width / LATTICE_STEP
    coarse = max(1, int(sd / 10))
    seen = _coarse_smooth(table.visible.astype(np.float64), sd, coarse)
    odds = STRAY_SHARES[:, None] * table.stray_by_level
    odds /= odds.sum(axis=0)
    dense = np.zeros_like(odds)
    for own, row in zip(odds, dense, strict=True):
        tones = np.zeros(table.ln_order.size)
        for tone, p in zip(hot, probability, strict=True):
            tones[tone.place] += p * tone.certainty * own[tone.place]
        row[:] = _coarse_smooth(tones, sd, coarse) / LATTICE_STEP
    told = (habits.first_rate * _CROWD_PRIOR + dense.sum(axis=0)) / (_CROWD_PRIOR + seen)
    counted = dense * habits.crowd_width * np.sqrt(2 * np.pi)
    shares = (_LEVEL_PRIOR * STRAY_SHARES[:, None] + counted) / (_LEVEL_PRIOR + counted.sum(axis=0))
    likelier = (odds * shares / STRAY_SHARES[:, None]).sum(axis=0)
    return np.asarray(np.minimum(told, habits.most_rate) * likelier)


def _coarse_smooth(values: Floats, sd: float, coarse: int) -> Floats:
    """Gaussian mean over many places, worked out on every `coarse`-th and spread again."""
    padded = np.pad(values, (0, -values.size % coarse))
    blocks = padded.reshape(-1, coarse).mean(axis=1)
    smooth = gaussian_filter1d(blocks, sd / coarse, mode="constant")
    centres = (np.arange(blocks.size) + 0.5) * coarse - 0.5
    return np.asarray(np.interp(np.arange(values.size), centres, smooth))


def stranger_weights(
    tables: Sequence[LineTable], hot: Sequence[Sequence[HotTone]], rates: Sequence[Floats]
) -> Floats:
    """Weight of "no part of the layout makes it" for every hot tone of all recordings.

    1 for a lone tone. More where it may be the companion of another tone: whoever made
    that one, stranger or part, may make lines no table foresees. And a tone of a later
    recording weighs more if an earlier one had it at the same order or the same
    frequency: what nobody accounts for once will be there again.

    Returns
    -------
    ndarray, shape (all hot tones,)
    """
    weights = []
    for r, (table, tones, rate) in enumerate(zip(tables, hot, rates, strict=True)):
        if not tones:
            continue
        weight = 1.0 + companion_odds(tones, rate, table.strangers.comb_step)
        x = np.array([tone.ln_order for tone in tones])
        here = rate[[tone.place for tone in tones]]
        own_sd = np.array([tone.place_sd for tone in tones])
        # However often it was heard before, it comes again once.
        again = np.zeros(len(tones))
        for earlier, others in zip(tables[:r], hot[:r], strict=True):
            clear = [tone for tone in others if tone.clear]
            before = np.array([tone.ln_order for tone in clear])
            measured = np.hypot(own_sd[:, None], [tone.place_sd for tone in clear])
            expected = np.zeros(len(tones))
            for shift, kept_sd, share in _again_at(0.0, earlier.mean_speed_hz, table):
                away, sd = x[:, None] - before - shift, np.hypot(kept_sd, measured)
                density = np.exp(-0.5 * (away / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
                expected += share * density.sum(axis=1)
            again = np.maximum(again, expected)
        weights.append(weight + again / here)
    return np.concatenate(weights) if weights else np.empty(0)


def companion_odds(hot: Sequence[HotTone], rates: Floats, comb_step: float = 1.0) -> Floats:
    """How much likelier each tone is a companion of any other than a tone of its own.

    However many strong tones it may be a companion of, no stranger has every companion:
    beyond a share the tone is as good evidence as a lone one.

    Returns
    -------
    ndarray, shape (hot tones,)
    """
    if not hot:
        return np.zeros(0)
    links = family_links(hot, rates, comb_step).sum(axis=1)
    return np.asarray(np.minimum(links, most_companion_odds(hot, rates)))


def most_companion_odds(hot: Sequence[HotTone], rates: Floats) -> Floats:
    """Odds of a tone that is as likely a companion of another as any can be.

    Returns
    -------
    ndarray, shape (hot tones,)
    """
    if not hot:
        return np.zeros(0)
    own = np.array([tone.place_sd for tone in hot])
    density = _MOST_COMPANIONS / (2 * own * np.sqrt(np.pi))
    return np.asarray(density / rates[[tone.place for tone in hot]])


def family_links(hot: Sequence[HotTone], rates: Floats, comb_step: float = 1.0) -> Floats:
    """How much likelier a tone is a companion of another one than a tone of its own.

    Tones come in families: harmonics of one shaft, or side lines at one spacing about
    the engine's orders. A part that matches two tones of such a family by chance has
    matched one thing, not two.

    Returns
    -------
    ndarray, shape (hot tones, hot tones)
        ``links[h, g]``: odds by which tone h gains from tone g. Only the
        weaker of a pair gains, so that a family is paid for once.
    """
    count = len(hot)
    if count < 2:
        return np.zeros((count, count))
    x = np.array([tone.ln_order for tone in hot])
    own = np.array([tone.place_sd for tone in hot])
    sd = np.hypot(own[:, None], own[None, :])
    ratio = x[:, None] - x[None, :]
    density = np.zeros((count, count))
    for numerator, denominator, share in _FAMILY_RATIOS:
        away = (ratio - np.log(numerator / denominator)) / sd
        density += share * np.exp(-0.5 * away**2) / (sd * np.sqrt(2 * np.pi))
    order = np.exp(x)
    side = np.abs(order - comb_step * np.round(order / comb_step))
    away = (side[:, None] - side[None, :]) / (sd * order[:, None])
    density += _SIDE_LINE_SHARE * np.exp(-0.5 * away**2) / (sd * np.sqrt(2 * np.pi))
    strength = np.array([tone.strength for tone in hot])
    weaker = strength[:, None] < strength[None, :]
    weaker &= np.array([tone.clear for tone in hot])[None, :]
    rate = rates[[tone.place for tone in hot]]
    return np.where(weaker, density / rate[:, None], 0.0)


def clutter(table: LineTable, rates: Floats) -> Floats:
    """Likelihood ratio of chance and strangers near each place, shape (places,).

    With ``mu`` strangers expected in the window in which two lines cannot be told apart,
    ``(1 + integral of rate x stray) / (1 + mu)``: where a stranger is expected and all
    is quiet the ratio falls below 1, but never to nothing.
    """
    expected = LATTICE_STEP * np.where(table.visible, rates + WEAK_RATE, 0.0)
    heard = LATTICE_STEP * (rates * table.stray + WEAK_RATE * table.weak_stray)
    heard = np.where(table.visible, heard, 0.0)
    return (1.0 + windowed_sum(heard, table.half_window)) / (
        1.0 + windowed_sum(expected, table.half_window)
    )
