"""What the drive really is in one scene: the true slips, diameters and bearings.

The layout knows these only within a tolerance; a scene draws one value of each and
every shaft that depends on it moves with it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from acoustic.drive.drive import Drive, ExpectedFamily, SharedUnknown
from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, CrankTurning
from acoustic.synthetic.random_curves import Floats, beside, draw, slow_curve

BEARING_JITTER = 0.0002  # relative rms of a cage's slip over time; common practice, no source
BELT_TRANSMITS = 0.6  # share of the crank's swing a belt passes on; common practice, no source
OVERRUN_TRANSMITS = 0.15  # the same past an overrunning pulley; common practice, no source
LAG_WANDER = (0.03, 0.1)  # of the lag of a loose coupling, relative rms; the same
LAG_SHIFT = 0.15  # sd of that lag from one recording to the next, relative; the same


@dataclass(frozen=True, slots=True)
class TrueDrive:
    """True values of one scene.

    Attributes
    ----------
    unknowns : mapping of str to float
        True value of every shared unknown of the drive; of a slip, in the first
        recording. [-]
    own : mapping of (part, mechanism) to float
        Relative error of a family's orders beyond the shared unknowns. [-]
    """

    unknowns: Mapping[str, float]
    own: Mapping[tuple[str, str], float]


def draw_true_drive(
    drive: Drive,
    families: tuple[ExpectedFamily, ...],
    rng: np.random.Generator,
    *,
    loose: Collection[str] = (),
) -> TrueDrive:
    """Draw one true value of everything the layout knows only within a tolerance.

    Parameters
    ----------
    drive : Drive
    families : tuple of ExpectedFamily
    rng : numpy.random.Generator
    loose : collection of str
        Couplings that slip; every other one is tight and does not lag at all.
    """
    aside = beside(rng)
    couplings = coupling_unknowns(drive)
    unknowns = dict.fromkeys(drive.unknowns, 0.0)
    for name, unknown in drive.unknowns.items():
        if name not in couplings:
            unknowns[name] = _draw_unknown(unknown, rng)
        elif name in loose:
            unknowns[name] = _draw_unknown(unknown, aside)
    own = {
        (family.part, family.mechanism): family.own_tolerance
        * float(np.clip(_source(family, rng, aside).standard_normal(), -2.5, 2.5))
        for family in families
    }
    return TrueDrive(unknowns, own)


def _source(
    family: ExpectedFamily, rng: np.random.Generator, aside: np.random.Generator
) -> np.random.Generator:
    """Let families without tones draw aside, so that they change no scene made of tones."""
    return rng if family.tonal_lines else aside


def _draw_unknown(unknown: SharedUnknown, rng: np.random.Generator) -> float:
    if unknown.kind in ("slip", "overrun"):
        return draw(rng, (unknown.low, unknown.high))
    return float(np.clip(unknown.sd * rng.standard_normal(), unknown.low, unknown.high))


def shift_slips(
    drive: Drive, true_drive: TrueDrive, sd: float, rng: np.random.Generator
) -> dict[str, float]:
    """Draw the unknowns of a further recording: belts slip a little more or less.

    Diameters and ratios stay as they are; a slip stays within its range, and so does the
    lag of a loose coupling.
    """
    aside = beside(rng)
    couplings = coupling_unknowns(drive)
    values = dict(true_drive.unknowns)
    for name, unknown in drive.unknowns.items():
        if name in couplings:
            shifted = values[name] * (1.0 + LAG_SHIFT * aside.standard_normal())
        elif unknown.kind == "slip":
            shifted = values[name] + sd * rng.standard_normal()
        else:
            continue
        if values[name] != 0.0 or name not in couplings:
            values[name] = float(np.clip(shifted, unknown.low, unknown.high))
    return values


# ------------------------------------------------------------------ couplings


def coupling_unknowns(drive: Drive) -> frozenset[str]:
    """Names of the lags of couplings; each bears the name of the coupling itself."""
    return frozenset(
        name
        for name in drive.unknowns
        if name in drive.parts and drive.parts[name].kind == "coupling"
    )


def behind_couplings(
    families: tuple[ExpectedFamily, ...], drive: Drive, loose: Collection[str]
) -> tuple[ExpectedFamily, ...]:
    """Let all that turns behind a loose coupling lag with it."""
    lagging = {shaft: name for name in loose for shaft in _shafts_behind(drive, name)}
    return tuple(
        replace(family, depends_on={**family.depends_on, lagging[family.shaft]: -1.0})
        if family.shaft in lagging
        else family
        for family in families
    )


def _shafts_behind(drive: Drive, coupling: str) -> set[str]:
    """The shaft a coupling drives, and those whose way from the crankshaft leads over it."""
    driven = drive.shafts[drive.parts[coupling].shaft]
    alike = [shaft for shaft in drive.shafts.values() if shaft.way == driven.way]
    if len(alike) > 1:  # two couplings on one shaft: which one a way leads over is not told
        return {driven.name}
    steps = len(driven.way)
    return {shaft.name for shaft in drive.shafts.values() if shaft.way[:steps] == driven.way}


# ------------------------------------------------------------------ turning


def true_factor(
    depends_on: Mapping[str, float], values: Mapping[str, float], drive: Drive
) -> float:
    """Divide the true order of a shaft by its nominal one, given the true unknowns.

    A slip s leaves the share 1 - s of the speed; a diameter, ratio or overrun error e
    multiplies it by (1 + e) to the power of its coefficient.

    >>> from types import SimpleNamespace as N
    >>> drive = N(unknowns={"slip": N(kind="slip"), "crank": N(kind="diameter")})
    >>> true_factor({"slip": -1.0, "crank": 1.0}, {"slip": 0.02, "crank": 0.01}, drive)
    0.9898
    """
    factor = 1.0
    for name, coefficient in depends_on.items():
        if drive.unknowns[name].kind == "slip":
            factor *= (1.0 - values[name]) ** -coefficient
        else:
            factor *= (1.0 + values[name]) ** coefficient
    return factor


class ShaftAngles:
    """Angle of the shafts in one recording, in mean orders of the crank.

    Multiplied by a line's mean order, it gives the phase of that line. Shafts behind the
    same belts share their slip's wander, and one array. `lags` holds the lag of each loose
    coupling, which wanders too.
    """

    def __init__(
        self,
        drive: Drive,
        crank: CrankTurning,
        wander: tuple[float, float],
        rng: np.random.Generator,
        lags: Mapping[str, float] | None = None,
    ) -> None:
        self._drive = drive
        self._crank = crank
        self._rng = rng
        self._wander = {
            name: draw(rng, wander)
            * slow_curve(rng, crank.control_time_s.size, CONTROL_RATE_HZ, draw(rng, (0.05, 0.3)))
            for name, unknown in drive.unknowns.items()
            if unknown.kind == "slip" and name not in coupling_unknowns(drive)
        }
        self._wander |= _wandering_lags(lags or {}, crank, beside(rng))
        self._known: dict[tuple[str, ...], Floats] = {}

    def transmitted_swing(self, family: ExpectedFamily) -> float:
        """Relative amplitude of the crank's swing that reaches this family's shaft. [-]"""
        kinds = {self._drive.unknowns[name].kind for name in family.depends_on}
        share = OVERRUN_TRANSMITS if "overrun" in kinds else BELT_TRANSMITS if kinds else 1.0
        return self._crank.swing * (1.0 if family.locked else share)

    def of(self, family: ExpectedFamily, rng: np.random.Generator | None = None) -> Floats:
        """Angle for the lines of `family`; [crank rev], shape (coarse_samples,).

        `rng` draws how a bearing's cage slips; the recording's own if left out.
        """
        slips = tuple(sorted(name for name in family.depends_on if name in self._wander))
        key = (*slips, f"{self.transmitted_swing(family):.9f}")
        if key not in self._known:
            self._known[key] = self._turn(slips, self.transmitted_swing(family))
        angle = self._known[key]
        if family.own_tolerance > 0:
            return angle + self._lag(self._cage_jitter(rng or self._rng))
        return angle

    def _turn(self, slips: tuple[str, ...], swing: float) -> Floats:
        angle = self._crank.angle_rev
        for name in slips:
            angle = angle - self._lag(self._wander[name])
        if swing > 0:
            firing = self._drive.engine.firing_order
            phase = (2.0 * np.pi * firing) * self._crank.angle_rev + self._crank.swing_phase
            angle = angle + swing / (2.0 * np.pi * firing) * np.sin(phase)
        return angle

    def _cage_jitter(self, rng: np.random.Generator) -> Floats:
        points = self._crank.control_time_s.size
        return BEARING_JITTER * slow_curve(rng, points, CONTROL_RATE_HZ, 0.5, steepness=1.0)

    def _lag(self, relative_speed: Floats) -> Floats:
        """Angle gained by a relative speed error given at the control rate. [rev]"""
        crank = self._crank
        steps = relative_speed * crank.control_speed_hz / CONTROL_RATE_HZ
        lag = np.cumsum(steps) - steps / 2.0
        rate = crank.clock.coarse_rate_hz
        time = np.arange(crank.clock.coarse_samples) / rate + crank.control_time_s[0]
        return np.asarray(np.interp(time, crank.control_time_s, lag))


def _wandering_lags(
    lags: Mapping[str, float], crank: CrankTurning, rng: np.random.Generator
) -> dict[str, Floats]:
    """Draw how the lag of each loose coupling wanders about its mean, at the control rate."""
    points = crank.control_time_s.size
    return {
        name: lag
        * draw(rng, LAG_WANDER)
        * slow_curve(rng, points, CONTROL_RATE_HZ, draw(rng, (0.1, 0.5)))
        for name, lag in lags.items()
    }
