"""The engine comb: how well each speed explains the lines of a whitened spectrum.

A speed n is scored by the levels at its half orders, weighted by what a healthy engine
with these firings shows, less the levels midway between them. Using many
orders at once is what keeps a tracked line from being given to the wrong order
(Leclère, André, Antoni 2016, "A multi-order probabilistic approach for Instantaneous
Angular Speed tracking", Mechanical Systems and Signal Processing 81).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Engine

Firing = tuple[float, float, tuple[float, ...]]  # order step, firing order, phases

# Fitted on made scenes: lines of the firing order lead, whole orders come before halves.
FIRING_WEIGHT, WHOLE_WEIGHT, HALF_WEIGHT = 1.0, 0.35, 0.25
# Amplitude (-10 dB re all firings in step) below which unlike cylinders make as much of a
# line as the firing angles do. Common practice, no source.
LEAST_STRENGTH = 0.3


def engine_orders(
    engine: Engine, top_order: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Orders the engine itself makes, and which of them are firing and whole orders.

    Returns
    -------
    order : ndarray, shape (orders,)
        Multiples of `engine.order_step` up to `top_order`.
    firing, whole : ndarray of bool, shape (orders,)
        Orders that the firings add up to: multiples of the firing order where they are
        even; multiples of 1.
    """
    order = _orders(engine.order_step, top_order)
    firing = firing_strength(engine, order) >= LEAST_STRENGTH
    return order, firing, np.isclose(order, np.round(order))


def firing_strength(engine: Engine, order: NDArray[np.float64]) -> NDArray[np.float64]:
    """Amplitude of the engine's own orders if all cylinders are alike, shape as given.

    ``|Σ exp(2πi order / order_step · phase)|`` over the number of firings: 1 where all of
    them are in step, 0 where they cancel.
    """
    return _strength(_firing_of(engine), order)


def _firing_of(engine: Engine) -> Firing:
    return engine.order_step, engine.firing_order, engine.firing_phases


def _orders(order_step: float, top_order: float) -> NDArray[np.float64]:
    count = max(1, int(top_order / order_step))
    return np.asarray(np.arange(1, count + 1, dtype=np.float64) * order_step)


def _strength(firing: Firing, order: NDArray[np.float64]) -> NDArray[np.float64]:
    order_step, firing_order, phases = firing
    if not phases:
        even = np.isclose(order / firing_order, np.round(order / firing_order))
        return np.asarray(even, dtype=np.float64)
    turned = np.exp(2j * np.pi * np.multiply.outer(phases, order / order_step))
    return np.asarray(np.abs(turned.mean(axis=0)))


def comb_kernel(
    engine: Engine, speeds_hz: NDArray[np.float64], bins: int, bin_hz: float, top_hz: float
) -> NDArray[np.float32]:
    """Matrix that turns whitened levels into comb scores: ``level @ kernel``.

    Parameters
    ----------
    engine : Engine
    speeds_hz : ndarray, shape (speeds,)
        Crankshaft speeds to try. [Hz]
    bins : int
        Number of spectrum bins; the first is 0 Hz.
    bin_hz : float
        Their spacing. [Hz]
    top_hz : float
        Orders above this are not used. [Hz]

    Returns
    -------
    ndarray of float32, shape (bins, speeds)
        Scaled so that white noise of sd 1 per bin scores with about sd 1.
    """
    speeds = np.ascontiguousarray(speeds_hz, dtype=np.float64)
    return _kernel(_firing_of(engine), speeds.tobytes(), bins, bin_hz, top_hz)


# Every clip asks for two that stay and four of its own.
@lru_cache(maxsize=8)
def _kernel(
    firing: Firing, speeds: bytes, bins: int, bin_hz: float, top_hz: float
) -> NDArray[np.float32]:
    """Work the matrix out, once: a batch of clips of one engine asks for it again."""
    speeds_hz = np.frombuffer(speeds)
    order_step = firing[0]
    order = _orders(order_step, top_hz / float(speeds_hz.min()))
    others = np.where(np.isclose(order, np.round(order)), WHOLE_WEIGHT, HALF_WEIGHT)
    weight = others + (FIRING_WEIGHT - others) * _strength(firing, order)
    places = np.concatenate([order, order - order_step / 2, order + order_step / 2])
    gains = np.concatenate([weight, -0.5 * weight, -0.5 * weight])
    position = np.outer(speeds_hz, places) / bin_hz
    used = np.outer(speeds_hz, order) <= top_hz
    norm = np.sqrt(np.maximum((used * weight**2).sum(axis=1), 1e-9))
    gain = np.where(np.tile(used, 3) & (position < bins - 1), gains, 0.0) / norm[:, None]
    low = np.minimum(position.astype(np.intp), bins - 2)
    part = position - low
    cell = np.arange(speeds_hz.size)[:, None] * bins + low
    size = speeds_hz.size * bins
    kernel = np.bincount(cell.ravel(), (gain * (1 - part)).ravel(), size)
    kernel += np.bincount(cell.ravel() + 1, (gain * part).ravel(), size)
    matrix = np.ascontiguousarray(kernel.reshape(speeds_hz.size, bins).T, dtype=np.float32)
    matrix.flags.writeable = False
    return matrix
