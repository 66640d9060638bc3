"""Reliability picture of the trial: how often a stated probability came true.

A part said to be faulty with 0.7 should be the faulty one in 7 of 10 such cases. Points on
the diagonal keep that promise; the bars below say on how many statements a point stands.

    python tests/trial/run_trial.py --picture FILE
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaincinv
from scoring import Scored, brier, pairs

from acoustic.output.palette import EXPLAINED_COLOUR, INK, QUIET_COLOUR, picture_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Most statements say "hardly": the bins are finer at both ends.
EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97, 1.0)
CLAIMS = {"faulty": "P(faulty)", "source": "P(makes the sound)"}
_STYLES = {1: ("one speed", INK, "o", "white"), 2: ("two speeds", EXPLAINED_COLOUR, "s", None)}


@dataclass(frozen=True, slots=True, eq=False)
class Reliability:
    """Statements of one kind by stated probability; bins without any are left out.

    Attributes
    ----------
    stated : ndarray, shape (bins,)
        Mean of the stated probabilities.
    came_true : ndarray, shape (bins,)
        Share that came true.
    low, high : ndarray, shape (bins,)
        Central 90 % of the share's posterior under a flat prior on it.
    count : ndarray of int, shape (bins,)
    error : float
        Mean of abs(stated - came true), weighted by count (calibration error).
    """

    stated: np.ndarray
    came_true: np.ndarray
    low: np.ndarray
    high: np.ndarray
    count: np.ndarray
    error: float


def reliability(rows: np.ndarray) -> Reliability:
    """Bin (stated probability, truth) pairs, shape (n, 2)."""
    place = np.clip(np.searchsorted(EDGES, rows[:, 0], side="right") - 1, 0, len(EDGES) - 2)
    count = np.bincount(place, minlength=len(EDGES) - 1)
    filled = count > 0
    count = count[filled]
    stated = np.bincount(place, rows[:, 0], len(EDGES) - 1)[filled] / count
    right = np.bincount(place, rows[:, 1], len(EDGES) - 1)[filled]
    low, high = (betaincinv(right + 1, count - right + 1, q) for q in (0.05, 0.95))
    share = right / count
    error = float(np.sum(count * np.abs(stated - share)) / max(count.sum(), 1))
    return Reliability(stated, share, low, high, count, error)


def write_reliability_picture(everything: Mapping[str, Mapping[int, Scored]], path: Path) -> None:
    """Draw one column per claim and two rows (reliability, counts) per kind of scene.

    Parameters
    ----------
    everything : mapping
        ``everything[kind of scenes][number of recordings]``, as the trial makes it.
    path : Path
        PNG, SVG or PDF by its suffix.
    """
    from matplotlib.figure import Figure

    with picture_style():
        figure = Figure(figsize=(7.6, 4.4 * len(everything)), layout="constrained", dpi=130)
        figure.suptitle("Does a stated probability come true?")
        grid = figure.subplots(
            2 * len(everything),
            len(CLAIMS),
            squeeze=False,
            height_ratios=[3, 1] * len(everything),
        )
        for row, (kind, by_count) in enumerate(everything.items()):
            for column, (claim, title) in enumerate(CLAIMS.items()):
                upper, lower = grid[2 * row, column], grid[2 * row + 1, column]
                draw_reliability(upper, lower, by_count, claim)
                upper.set_title(f"{title}, {kind} scenes")
        figure.savefig(path)


def draw_reliability(ax: Axes, counts_ax: Axes, by_count: Mapping[int, Scored], claim: str) -> None:
    """Draw one claim's reliability and, below, how many statements it stands on."""
    ax.plot([0, 1], [0, 1], color=QUIET_COLOUR, linewidth=1.0)
    width = 0.4
    for side, (count, scored) in enumerate(by_count.items()):
        rows = pairs(scored.scores, claim)
        if not rows.size:
            continue
        found = reliability(rows)
        label, colour, marker, face = _STYLES.get(count, (f"{count} recordings", INK, "^", None))
        ax.errorbar(
            found.stated,
            found.came_true,
            yerr=np.maximum(0.0, [found.came_true - found.low, found.high - found.came_true]),
            color=colour,
            marker=marker,
            markerfacecolor=face or colour,
            markersize=4.5,
            linewidth=0.8,
            label=f"{label}\nBrier {brier(rows):.3f}, off by {found.error:.3f}",
        )
        place = np.clip(np.searchsorted(EDGES, found.stated, side="right") - 1, 0, len(EDGES) - 2)
        counts_ax.bar(
            place + (side - 0.5) * width,
            found.count,
            width,
            color=face or colour,
            edgecolor=colour,
            linewidth=0.8,
        )
    _label_axes(ax, counts_ax)


def _label_axes(ax: Axes, counts_ax: Axes) -> None:
    ax.set(xlim=(-0.02, 1.02), ylim=(-0.02, 1.02), xlabel="stated", ylabel="came true [share]")
    if ax.get_legend_handles_labels()[0]:
        ax.legend(loc="lower right", frameon=False)
    counts_ax.set_yscale("log")
    counts_ax.set_ylim(0.5, None)
    counts_ax.yaxis.set_major_formatter("{x:g}")
    counts_ax.set_xticks(np.arange(len(EDGES)) - 0.5, [f"{edge:g}" for edge in EDGES], rotation=60)
    counts_ax.set(xlabel="stated", ylabel="statements")
    for one in (ax, counts_ax):
        one.spines["top"].set_visible(False)
        one.spines["right"].set_visible(False)
