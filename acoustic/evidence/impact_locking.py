"""Whether knocks keep step with the firings, with a shaft, or with nothing.

The angles of the knocks are points on a circle. In step with order q, the phases q·θ crowd
together; out of step they are even. Two measures are used: Z²_n, whose chance distribution
is known, says whether they crowd at all, and the vector strength, 0 to 1, says how much.

A knock of a given loudness can only be heard at those crank angles where the engine itself
is quiet enough. So each is compared with the angles at which it could have been heard: a
rattle at random that is masked by every firing does not seem to be in step with it.

References
----------
.. [1] R. Buccheri et al., Search for pulsed gamma-ray emission from radio pulsars in the
   COS-B data, Astronomy and Astrophysics 128 (1983) 245-251 (from memory): Z²_n is
   chi-square with 2 n degrees of freedom where the phases are even.
.. [2] K. V. Mardia, P. E. Jupp, Directional Statistics, Wiley 2000 (from memory): mean
   resultant length.
.. [3] J. M. Goldberg, P. B. Brown, Response of binaural neurons of dog superior olivary
   complex to dichotic tonal stimuli, Journal of Neurophysiology 32 (1969) 613-636 (from
   memory): the same length under the name of vector strength.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.special import chdtrc

from acoustic.drive.drive import Engine
from acoustic.evidence.impacts import CYCLE_TURNS, ImpactTrain

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_HARMONICS = 2
# Equivalent share of independent Hann segments at half overlap (Welch 1967, from memory).
_INDEPENDENT = 1.0 / (1.0 + 2.0 / 36.0)


@dataclass(frozen=True, slots=True)
class LockingSettings:
    """How knocks are compared with shafts whose exact speed is not known.

    Attributes
    ----------
    segments_turns : tuple of int
        Turns of the crankshaft over which a shaft is taken to keep its phase.
    turns_in_step : float
        Turns of a shaft over which creep and slip leave its phase alone; the longest
        segment that holds no more of them is used.
    per_turn : int
        Angles per turn of the crankshaft at which knocks are counted.
    padding : int
        Finer steps of order, a power of two.
    orders : (float, float)
        Range of a search without any layout.
    fewest_knocks : float
        Segments with fewer, weighed by the window, are left out.
    engine_gap : float
        Orders nearer to the engine's comb than this over the segment's turns are left
        out: what repeats there is the engine's.
    """

    segments_turns: tuple[int, ...] = (64, 32, 16)
    turns_in_step: float = 200.0
    per_turn: int = 64
    padding: int = 4
    orders: tuple[float, float] = (0.2, 12.0)
    fewest_knocks: float = 2.5
    engine_gap: float = 1.0


@dataclass(frozen=True, slots=True)
class Locking:
    """How far knocks keep step with one order.

    Attributes
    ----------
    name : str
        What turns at that order, for people.
    order : float
        Of the crankshaft; where a range was searched, the place in it that fits best.
    vector_strength : float
        0 out of step, 1 every knock at the same phase; what chance alone makes is taken
        off. [-]
    p_value : float
        Chance of crowding like this among knocks out of step, places looked at included.
    phase_rev : float or None
        Mean phase at that order, from the recording's start; None for a searched order,
        whose phase creeps. [rev]
    knocks : int
    """

    name: str
    order: float
    vector_strength: float
    p_value: float
    phase_rev: float | None
    knocks: int


@dataclass(frozen=True, slots=True)
class ShaftRange:
    """Range of orders in which a shaft or belt may turn, slip and tolerance included."""

    name: str
    low_order: float
    high_order: float


class Moments(Protocol):
    """What keeps step or not: knocks, or cries.

    `turns` is the crank angle of each, shape (moments,), of `revolutions` looked at. [rev]
    """

    @property
    def turns(self) -> Floats: ...  # noqa: D102

    @property
    def revolutions(self) -> float: ...  # noqa: D102


def vector_strength(phases_rev: Floats) -> float:
    """Length of the mean of unit vectors at these phases. [-]

    Examples
    --------
    >>> vector_strength(np.array([0.0, 0.25]))
    0.7071
    """
    return float(np.abs(np.mean(np.exp(2j * np.pi * phases_rev))))


def z_squared(phases_rev: Floats, harmonics: int = _HARMONICS) -> float:
    """Z²_n, chi-square with 2 n degrees of freedom for even phases (Buccheri et al. 1983).

    ``Z²_n = (2/N) Σ_{k=1..n} |Σ_i exp(2 π i k φ_i)|²``

    Examples
    --------
    >>> z_squared(np.array([0.1, 0.1, 0.1]), harmonics=2)
    12.0
    """
    count = phases_rev.size
    powers = [np.abs(np.sum(np.exp(2j * np.pi * k * phases_rev))) ** 2 for k in _up_to(harmonics)]
    return float(2.0 / max(count, 1) * np.sum(powers))


def chance_of_z_squared(statistic: float, harmonics: int = _HARMONICS) -> float:
    """Chance that even phases give at least this Z²_n."""
    return float(chdtrc(2 * harmonics, statistic))


def _up_to(harmonics: int) -> range:
    return range(1, harmonics + 1)


def engine_locking(train: ImpactTrain, engine: Engine) -> tuple[Locking, ...]:
    """Step of the knocks with the working cycle, the crankshaft and the firings."""
    names = {
        engine.order_step: "working cycle",
        1.0: "crankshaft",
        engine.firing_order: "firings",
    }
    return tuple(_engine_order(train, name, order) for order, name in names.items())


def _engine_order(train: ImpactTrain, name: str, order: float) -> Locking:
    count = train.turns.size
    if count < 2:
        return Locking(name, order, 0.0, 1.0, None, count)
    cycle = np.unique((train.turns // CYCLE_TURNS).astype(np.intp), return_inverse=True)[1]
    statistic, strengths, phases = 0.0, [], []
    for k in _up_to(_HARMONICS):
        unit = np.exp(2j * np.pi * k * order * train.turns)
        expected = _expected(train, k * order)
        apart = unit - expected
        total = np.sum(apart)
        # Knocks of one cycle may belong together (a cluster), so cycles are what counts.
        by_cycle = np.bincount(cycle, apart.real) + 1j * np.bincount(cycle, apart.imag)
        chance = max(np.sum(1.0 - np.abs(expected) ** 2), np.sum(np.abs(by_cycle) ** 2), 1e-9)
        statistic += 2.0 * np.abs(total) ** 2 / chance
        strengths.append(np.sqrt(max(0.0, np.abs(total) ** 2 - chance)) / count)
        phases.append(np.angle(total) / (2 * np.pi))
    p_value = chance_of_z_squared(statistic)
    return Locking(
        name, order, min(1.0, float(max(strengths))), p_value, float(phases[0]) % 1.0, count
    )


def _expected(train: ImpactTrain, order: float) -> Complexes:
    """Mean unit vector over the angles at which each knock could have been heard."""
    points = train.needed_db.shape[1]
    unit = np.exp(2j * np.pi * order * (np.arange(points) + 0.5) * (CYCLE_TURNS / points))
    expected = np.empty(train.turns.size, dtype=np.complex128)
    for number, needed in enumerate(train.needed_db):
        rising = np.argsort(needed)
        means = np.cumsum(unit[rising]) / np.arange(1, points + 1)
        here = train.piece == number
        heard_at = np.searchsorted(needed[rising], train.level_db[here])
        expected[here] = means[np.clip(heard_at - 1, 0, points - 1)]
    return expected


def shaft_locking(
    train: Moments,
    engine: Engine,
    shafts: Sequence[ShaftRange],
    settings: LockingSettings | None = None,
) -> tuple[Locking, ...]:
    """Step of the knocks with each shaft, at the order of its range that fits best.

    What repeats with the working cycle is taken out first; a shaft that turns at a
    multiple of it cannot be told from the engine and has p value 1.
    """
    settings = settings or LockingSettings()
    spectra: dict[int, _StepSpectrum] = {}
    found = []
    for shaft in shafts:
        turns = _segment_turns(shaft.high_order, settings)
        if turns not in spectra:
            spectra[turns] = _StepSpectrum(train, engine, turns, settings)
        found.append(spectra[turns].best(shaft))
    return tuple(found)


def any_locking(
    train: ImpactTrain, engine: Engine, settings: LockingSettings | None = None
) -> Locking:
    """Step of the knocks with whatever order fits best, without knowing any shaft."""
    settings = settings or LockingSettings()
    edges = [settings.orders[0]]
    edges += [settings.turns_in_step / turns for turns in settings.segments_turns]
    edges[-1] = settings.orders[1]
    ranges = [ShaftRange("something that turns", low, high) for low, high in pairwise(edges)]
    found = shaft_locking(train, engine, ranges, settings)
    best = min(found, key=lambda one: one.p_value)
    p_value = min(1.0, len(found) * best.p_value)
    return Locking(best.name, best.order, best.vector_strength, p_value, None, best.knocks)


def _segment_turns(order: float, settings: LockingSettings) -> int:
    fitting = [t for t in settings.segments_turns if t * order <= 1.001 * settings.turns_in_step]
    return max(fitting, default=min(settings.segments_turns))


class _StepSpectrum:
    """Vector sums of the knocks at every order, segment by segment."""

    def __init__(
        self, train: Moments, engine: Engine, turns: int, settings: LockingSettings
    ) -> None:
        size = turns * settings.per_turn
        count = max(size, -(-int(train.revolutions * settings.per_turn) // (size // 2)) * size // 2)
        place = np.minimum((train.turns * settings.per_turn).astype(np.intp), count - 1)
        knocks = np.bincount(place, minlength=count).astype(np.float64)
        pieces = np.lib.stride_tricks.sliding_window_view(knocks, size)[:: size // 2]
        window = np.hanning(size + 1)[:-1]
        weighted = _without_cycle(knocks, engine, settings)
        weighted = np.lib.stride_tricks.sliding_window_view(weighted, size)[:: size // 2] * window
        enough = (pieces * window).sum(axis=1) >= settings.fewest_knocks
        self.chance = (pieces[enough] * window**2).sum(axis=1)
        self.sums = (pieces[enough] * window).sum(axis=1)
        self.powers = np.abs(rfft(weighted[enough], n=settings.padding * size, axis=1)) ** 2
        self.spacing = settings.per_turn / (settings.padding * size)
        self.turns, self.knocks = turns, int(train.turns.size)
        self.gap = settings.engine_gap / turns
        self.step = engine.order_step

    def best(self, shaft: ShaftRange) -> Locking:
        """Order of a range at which the knocks keep step best."""
        bins = np.arange(
            np.ceil(shaft.low_order / self.spacing),
            np.floor(shaft.high_order / self.spacing) + 1,
        )
        orders = bins * self.spacing
        away = np.abs(orders - self.step * np.round(orders / self.step)) >= self.gap
        bins, orders = bins[away].astype(np.intp), orders[away]
        nothing = Locking(shaft.name, shaft.low_order, 0.0, 1.0, None, self.knocks)
        if not bins.size or not self.sums.size:
            return nothing
        powers = [self.powers[:, np.minimum(k * bins, self.powers.shape[1] - 1)] for k in (1, 2)]
        # Segments with few knocks weigh little, and count little as averages.
        averages = max(1.0, _INDEPENDENT * self.chance.sum() ** 2 / np.sum(self.chance**2))
        statistic = sum(2.0 * power.sum(axis=0) for power in powers) * averages / self.chance.sum()
        peak = int(np.argmax(statistic))
        looks = max(1.0, 0.6 * bins.size)
        p_value = float(chdtrc(4 * averages, statistic[peak])) * looks
        spare = np.sum(self.sums**2 - self.chance)
        squares = [np.sum(power[:, peak] - self.chance) / max(spare, 1e-9) for power in powers]
        strength = float(np.sqrt(np.clip(max(squares), 0.0, 1.0)))
        return Locking(
            shaft.name, float(orders[peak]), strength, min(1.0, p_value), None, self.knocks
        )


def _without_cycle(knocks: Floats, engine: Engine, settings: LockingSettings) -> Floats:
    """Counts less their mean at the same angle of the working cycle."""
    cycle = round(settings.per_turn / engine.order_step)
    count = -(-knocks.size // cycle)
    table = np.pad(knocks, (0, count * cycle - knocks.size)).reshape(count, cycle)
    return np.asarray((table - table.mean(axis=0)).ravel()[: knocks.size])
