"""Picture 6, "When does it knock?": the knocks of one recording on one turn of the engine cycle.

Once round is 720° of the crankshaft. A dot is a knock, further out the louder; grey is what
a knock must reach at that angle to be told from the engine; dashed are the engine's own
loudest moments one firing apart. Where the cycle begins no sound tells, so 0° is arbitrary.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, Engine
from acoustic.evidence.impact_findings import AT_RANDOM, WITH_FIRING
from acoustic.evidence.impacts import CYCLE_TURNS, ImpactTrain
from acoustic.output.palette import (
    INK,
    QUIET_COLOUR,
    SMALL_PT,
    TITLE_PT,
    UNEXPLAINED_COLOUR,
    WIDTH_IN,
    picture_style,
)
from acoustic.verdict.suspects import Screening

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.projections.polar import PolarAxes

Floats = NDArray[np.float64]

CYCLE_DEG = 360.0 * CYCLE_TURNS
_HEIGHT_IN, _ROUND_IN, _FOOT_IN = 4.0, 2.75, 0.50
_INNER_DB, _OUTER_DB = 12.0, 3.0
"""Room inside the lowest and outside the loudest of what is drawn. [dB]"""
_ARC = 1.0 / 3.0


@dataclass(frozen=True, slots=True, eq=False)
class KnockView:
    """Knocks over the engine cycle.

    Attributes
    ----------
    recording : int
        From 0.
    sentence : str
        What they were found to be.
    low_hz, high_hz : float
        The band they stand out in. [Hz]
    angle_deg, level_db : ndarray, shape (knocks,)
        Angle within the cycle; level over the band's usual one. [°], [dB]
    needed_db : ndarray, shape (points,)
        What a knock must reach, evenly over the cycle. [dB]
    firing_deg : ndarray, shape (firings,)
        The engine's loudest moments one firing apart; none where it fires unevenly. [°]
    """

    recording: int
    sentence: str
    low_hz: float
    high_hz: float
    angle_deg: Floats
    level_db: Floats
    needed_db: Floats
    firing_deg: Floats

    @property
    def crowded(self) -> tuple[int, float, float]:
        """The third of the cycle that holds most knocks: how many, from where to where. [°]"""
        wide = _ARC * CYCLE_DEG
        inside = [int(np.sum((self.angle_deg - a) % CYCLE_DEG < wide)) for a in self.angle_deg]
        best = int(np.argmax(inside))
        start = float(self.angle_deg[best])
        return inside[best], start, (start + wide) % CYCLE_DEG

    @property
    def near_firing(self) -> int:
        """Knocks within an eighth of a firing interval of a firing, before or after it.

        That is a quarter of the cycle: so many would be there by chance.
        """
        if not self.firing_deg.size:
            return 0
        interval_deg = CYCLE_DEG / self.firing_deg.size
        off = (self.angle_deg - self.firing_deg[0] + 0.5 * interval_deg) % interval_deg
        return int(np.sum(np.abs(off - 0.5 * interval_deg) <= interval_deg / 8.0))


def find_knock_view(screening: Screening, drive: Drive) -> KnockView | None:
    """Find the knocks that are plainly there; None where there are none.

    Of a recording with several stretches the one with most knocks is taken: the angle
    starts anew in each.
    """
    for noise in screening.noises:
        knocks = screening.heard[noise.recording].knocks
        if noise.noise not in (WITH_FIRING, AT_RANDOM) or knocks is None or not knocks.knocks:
            continue
        return _view(noise.recording, noise.sentence, knocks, drive.engine)
    return None


def draw_knocks(view: KnockView) -> Figure:
    """Draw knocks over one engine cycle, once round."""
    from matplotlib.figure import Figure

    with picture_style():
        figure = Figure(figsize=(WIDTH_IN, _HEIGHT_IN), facecolor="white")
        figure.text(0.02, 1 - 0.08 / _HEIGHT_IN, "When does it knock?", va="top",
                    fontsize=TITLE_PT, fontweight="bold")  # fmt: skip
        band = f"{view.low_hz:.0f} to {view.high_hz:.0f} Hz"
        said = (
            f"recording {view.recording + 1}, {view.angle_deg.size} knocks at {band}; once round "
            f"is {CYCLE_DEG:.0f}° of the crankshaft"
        )
        figure.text(0.02, 1 - 0.28 / _HEIGHT_IN, said, va="top", fontsize=SMALL_PT)
        left = 0.5 * (1.0 - _ROUND_IN / WIDTH_IN)
        box = (left, _FOOT_IN / _HEIGHT_IN, _ROUND_IN / WIDTH_IN, _ROUND_IN / _HEIGHT_IN)
        _draw_round(cast("PolarAxes", figure.add_axes(box, projection="polar")), view)
        firing = "dashed: loudest moments a firing apart; " if view.firing_deg.size else ""
        figure.text(
            0.02, 0.06 / _HEIGHT_IN, f"{firing}grey: the engine itself; 0° is arbitrary",
            fontsize=SMALL_PT, color=INK,
        )  # fmt: skip
    return figure


def _view(recording: int, sentence: str, train: ImpactTrain, engine: Engine) -> KnockView:
    real = ~train.cry
    piece = int(np.argmax(np.bincount(train.piece[real])))
    chosen = real & (train.piece == piece)
    needed_db = train.needed_db[piece]
    return KnockView(
        recording=recording,
        sentence=sentence,
        low_hz=train.low_hz,
        high_hz=train.high_hz,
        angle_deg=360.0 * (train.turns[chosen] % CYCLE_TURNS),
        level_db=train.level_db[chosen],
        needed_db=needed_db,
        firing_deg=_loudest_moments_deg(needed_db, engine),
    )


def _loudest_moments_deg(needed_db: Floats, engine: Engine) -> Floats:
    """Crests of the firing order in how loud the engine is over its cycle. [°]"""
    count = round(engine.firing_order * CYCLE_TURNS)
    if engine.odd_fire or count < 1:
        return np.empty(0)
    share = (np.arange(needed_db.size) + 0.5) / needed_db.size
    phase = np.angle(np.sum(needed_db * np.exp(2j * np.pi * count * share)))
    return np.asarray((phase / (2 * np.pi) + np.arange(count)) / count % 1.0 * CYCLE_DEG)


def _draw_round(ax: PolarAxes, view: KnockView) -> None:
    to_rad = 2 * np.pi / CYCLE_DEG
    low = min(view.needed_db.min(), view.level_db.min()) - _INNER_DB
    high = view.level_db.max() + _OUTER_DB
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    ax.set_rlim(low, high)
    share = (np.arange(view.needed_db.size + 1) + 0.5) / view.needed_db.size
    needed = np.append(view.needed_db, view.needed_db[0])
    ax.fill_between(2 * np.pi * share, low, needed, color=QUIET_COLOUR, linewidth=0)
    ax.vlines(
        view.firing_deg * to_rad, low, high, color=INK, linewidth=0.8, linestyle="--", zorder=1.5
    )
    ax.plot(
        view.angle_deg * to_rad, view.level_db, "o", color=UNEXPLAINED_COLOUR, markersize=3,
        markerfacecolor="none", markeredgewidth=0.8,
    )  # fmt: skip
    turns = np.arange(0.0, CYCLE_DEG, 90.0)
    ax.set_xticks(turns * to_rad, [f"{turn:.0f}°" for turn in turns])
    steps = np.arange(np.ceil(max(0.0, low) / 10.0) * 10.0, high, 10.0)
    ax.set_yticks(steps, [f"{step:.0f} dB" for step in steps])
    ax.set_rlabel_position(22.5)
    ax.grid(color=QUIET_COLOUR, linewidth=0.3)
