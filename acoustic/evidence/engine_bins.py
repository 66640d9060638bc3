"""Which places of the order spectrum belong to the engine itself.

An engine makes lines at every half order (at whole orders with two strokes), strongest
at the multiples of its firing order. A tone cannot be claimed there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from acoustic.drive.drive import Engine

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FINE_REVOLUTIONS = 25
"""From this many turns a segment resolves the half orders well enough to leave all out."""
_MEDIUM_REVOLUTIONS = 12
_WINDOW_ORDERS = 16.0
_SIGNIFICANT_SD = 3.0
_LOBE_BINS = 3
_LOBE_NAT = 0.7
# A speed error of 0.1 % rms and less widens a line of order o by this share of o.
_SMEAR = 5e-4


def distance_to_multiples(orders: Floats, step: float) -> Floats:
    """Distance of each order to the nearest multiple of `step`."""
    return np.asarray(np.abs(orders / step - np.round(orders / step)) * step)


def engine_bins(orders: Floats, revolutions: int, engine: Engine) -> Flags:
    """Bins that the engine's lines fill on any engine.

    Long segments leave every half order out. In shorter ones (high orders) only the
    firing multiples and the middle of the others go; `active_comb_bins` adds the rest
    where they are really there.
    """
    to_step = distance_to_multiples(orders, engine.order_step)
    if revolutions >= FINE_REVOLUTIONS:
        return np.asarray(to_step <= 2.2 / revolutions)
    return _near_firing(orders, revolutions, engine) | (to_step <= 0.8 / revolutions)


def _near_firing(orders: Floats, revolutions: int, engine: Engine) -> Flags:
    # An odd-fire engine has no order that stands out: all its steps count as firing.
    firing = engine.order_step if engine.odd_fire else engine.firing_order
    reach = 2.5 if revolutions >= _MEDIUM_REVOLUTIONS else 1.2
    return np.asarray(distance_to_multiples(orders, firing) <= reach / revolutions)


def active_comb_bins(
    orders: Floats, excess: Floats, revolutions: int, freedom: float, engine: Engine
) -> Flags:
    """Further engine bins where the comb of half orders shows in this recording.

    Over a sliding window of 16 orders the bins near the comb are compared with those
    between; the values are clipped so that no single tone decides. Where the comb
    stands out, every bin a smeared comb line can reach is the engine's.

    Parameters
    ----------
    excess : ndarray, shape (bins,)
        ln(power / floor) under a first mask. [nat]
    revolutions : int
        Turns in one segment.
    freedom : float
        Degrees of freedom of the mean power.
    """
    spacing = float(orders[1] - orders[0])
    step = engine.order_step
    # The firing multiples are always the engine's and would drown the others.
    firing = _near_firing(orders, revolutions, engine) & (not engine.odd_fire)
    distance = distance_to_multiples(orders, step)
    spread = float(np.sqrt(2.0 / freedom))
    clipped = np.clip(excess, -2 * spread, 2 * spread)
    size = max(3, round(_WINDOW_ORDERS / spacing))
    near = (distance <= 0.17 * step) & ~firing
    between = (distance >= 0.3 * step) & ~firing
    near_mean, near_count = _window_mean(clipped, near, size)
    between_mean, between_count = _window_mean(clipped, between, size)
    # Hann bins are alike to their neighbours, so a mean is half as sure as it looks.
    error = spread * np.sqrt(1.5 / near_count + 1.5 / between_count)
    active = near_mean - between_mean > _SIGNIFICANT_SD * error
    reach = 0.8 * spacing + _SMEAR * orders
    return np.asarray(active & (distance <= reach))


def _window_mean(values: Floats, chosen: Flags, size: int) -> tuple[Floats, Floats]:
    count = np.maximum(1.0, uniform_filter1d(chosen.astype(np.float64), size) * size)
    total = uniform_filter1d(np.where(chosen, values, 0.0), size) * size
    return total / count, count


def lobes_of_hidden_lines(excess: Floats, hidden: Flags) -> Flags:
    """Bins beside a hidden zone that only show the skirt of a line inside it.

    Where the level falls away from the zone's edge there is a line within, and its
    falling side is no line of its own.
    """
    lobes = np.zeros_like(hidden)
    for direction in (1, -1):
        edge = hidden.copy()
        for _ in range(_LOBE_BINS):
            inner = np.roll(excess, direction)
            falling = np.roll(edge, direction) & ~hidden & ~lobes
            falling &= (excess < inner) & (inner > _LOBE_NAT)
            falling[0 if direction == 1 else -1] = False
            lobes |= falling
            edge = falling
    return lobes
