"""Levels of a file taken block by block: which channel and which part of it to use.

Holds a few numbers for every quarter of a second, so an hour costs no more memory than
a minute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEP_S = 0.25
_CLIPPED = 0.999


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """What a survey found, per step and channel.

    Attributes
    ----------
    power : ndarray, shape (steps, channels)
        Mean square. Full scale is 1.
    bright_power : ndarray, shape (steps, channels)
        Mean square of the first difference: wind rumble hardly counts in it, which makes
        it the better measure of how much of the machine is heard.
    clipped : ndarray, shape (steps, channels)
        Samples at the top of the range.
    cross_power : ndarray, shape (channels,)
        Mean product with the first channel over the whole file.
    """

    power: NDArray[np.float64]
    bright_power: NDArray[np.float64]
    clipped: NDArray[np.int64]
    cross_power: NDArray[np.float64]


class LevelSurvey:
    """Takes blocks of sound and keeps their levels."""

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self._step = max(2, round(STEP_S * sample_rate_hz))
        self._rest = np.zeros((0, channels), np.float32)
        self._rows: list[tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]] = []
        self._cross = np.zeros(channels)

    def take(self, block: NDArray[np.float32]) -> None:
        """Add one block, shape (frames, channels)."""
        if self._rest.shape[0]:
            block = np.concatenate([self._rest, block])
        whole = block.shape[0] // self._step * self._step
        self._rest = block[whole:].copy()
        if whole:
            self._measure(block[:whole], self._step)

    def levels(self) -> Levels:
        """Levels of everything taken so far, a started step included."""
        if self._rest.shape[0] > 1:
            self._measure(self._rest, self._rest.shape[0])
            self._rest = self._rest[:0]
        columns = list(zip(*self._rows, strict=True))
        power, bright, clipped = (np.concatenate(column) for column in columns)
        return Levels(power, bright, clipped, self._cross / power.shape[0])

    def _measure(self, block: NDArray[np.float32], step: int) -> None:
        channels = [np.ascontiguousarray(column).reshape(-1, step) for column in block.T]
        rises = [np.diff(steps, axis=1) for steps in channels]
        power = np.stack([np.einsum("sf,sf->s", x, x) for x in channels], axis=1) / step
        bright = np.stack([np.einsum("sf,sf->s", x, x) for x in rises], axis=1) / (step - 1)
        clipped = [self._clipped(steps) for steps in channels]
        self._rows.append((power.astype(float), bright.astype(float), np.stack(clipped, axis=1)))
        cross = [np.einsum("sf,sf->", steps, channels[0]) for steps in channels]
        self._cross += np.array(cross, dtype=float) / step

    @staticmethod
    def _clipped(steps: NDArray[np.float32]) -> NDArray[np.int64]:
        if max(steps.max(), -steps.min()) < _CLIPPED:
            return np.zeros(steps.shape[0], np.int64)
        return np.asarray(np.count_nonzero(np.abs(steps) >= _CLIPPED, axis=1), np.int64)


def choose_channel(levels: Levels) -> tuple[int, str]:
    """Choose the channel that hears the machine best, and say why.

    Channels are never mixed: two microphones hear a tone with different phase, so a mix
    weakens some tones and cancels those of inverted channels altogether.
    """
    power = levels.power.mean(axis=0)
    bright = levels.bright_power.mean(axis=0)
    loudest = int(np.argmax(bright))
    if power.shape[0] == 1:
        return 0, "it is the only one"
    if np.all(np.delete(power, loudest) < 1e-6 * power[loudest]):
        return loudest, "the rest is silent"
    likeness = levels.cross_power[1:] / np.sqrt(power[0] * power[1:] + 1e-30)
    if np.all(np.abs(likeness) > 0.999):
        inverted = bool(np.any(likeness < 0))
        return 0, "the other is its mirror image" if inverted else "all carry the same sound"
    clipped = levels.clipped.sum(axis=0)
    cleaner = clipped < 0.5 * clipped[loudest]
    usable = cleaner & (bright > 0.1 * bright[loudest])
    if clipped[loudest] > 10 and np.any(usable):
        return int(np.argmax(np.where(usable, bright, 0.0))), "it is less clipped"
    return loudest, "it hears the machine louder, wind rumble not counted"


def choose_window(levels: Levels, channel: int, window_s: float) -> float:
    """Start of the steadiest, engine-like window, in seconds.

    A quarter second counts as good when its level is within 3 dB of the median of the 10 s
    around it, within 15 dB of the loud parts of the file and not clipped; the window with
    most good ones wins, the earliest of equals.
    """
    from scipy.ndimage import median_filter

    level_db = 10 * np.log10(levels.bright_power[:, channel] + 1e-14)
    around_db = median_filter(level_db, size=41, mode="nearest")
    good = np.abs(level_db - around_db) < 3.0
    good &= level_db > np.quantile(level_db, 0.95) - 15.0
    good &= levels.clipped[:, channel] == 0
    steps = round(window_s / STEP_S)
    if steps >= good.size:
        return 0.0
    counts = np.concatenate([[0], np.cumsum(good)])
    return float(np.argmax(counts[steps:] - counts[:-steps])) * STEP_S
