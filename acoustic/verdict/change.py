"""Before and after a repair: what changed, how surely, and whether that is a cure.

Every family of the drive is measured at one place in all recordings, each take against its
own firing orders, and the difference gets an interval that holds the scatter over segments
and that of putting the phone there again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.evidence.family_levels import (
    FamilyLevel,
    SegmentLevels,
    TakeLevels,
    family_level,
    take_levels,
)
from acoustic.evidence.findings import OrderSpectrum
from acoustic.evidence.tones import claimed
from acoustic.verdict.change_alike import against, common_speeds_hz, require_alike
from acoustic.verdict.change_places import PlacedLines, PooledSides, place_families
from acoustic.verdict.change_statistics import (
    Difference,
    SideLevel,
    difference,
    holm,
    side_level,
    take_scatter,
)
from acoustic.verdict.change_values import (
    Change,
    ChangeSettings,
    FamilyChange,
    NewTone,
    Outcome,
    Take,
    TakeScatter,
    Target,
)
from acoustic.verdict.change_words import judge

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_SLIP_SD = 0.002
"""How far slip moves a belt's lines from take to take at one speed (relative)."""
_SHIFTS = np.arange(-0.005, 0.0051, 0.0005)
_SEEN_SHARE = 0.7
_SAME_TONE = 0.004
"""Tones closer than this are one (relative): slip moves a line so far between takes."""


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    """Some lines in every take of both sides, and the difference."""

    lines: PlacedLines
    title: str
    takes: tuple[tuple[FamilyLevel, ...], tuple[FamilyLevel, ...]]
    is_target: bool = False
    new_order: float | None = None
    swings_hz: tuple[float, float] | None = None

    def sides(self) -> tuple[SideLevel, SideLevel]:
        return side_level(self.takes[0]), side_level(self.takes[1])

    @property
    def in_all(self) -> bool:
        return all(take.found for side in self.takes for take in side)


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """The levels of all takes, before and after."""

    before: tuple[TakeLevels, ...]
    after: tuple[TakeLevels, ...]

    def of(
        self, orders: Sequence[float], band: int | None
    ) -> tuple[tuple[FamilyLevel, ...], tuple[FamilyLevel, ...]] | None:
        """These lines in every take; None where one of the takes cannot show any of them."""
        each = [[_spectrum(take, band) for take in side] for side in (self.before, self.after)]
        lines = np.array(orders)
        seen = np.all([_seen_at_any_slip(one, lines) for side in each for one in side], axis=0)
        if not seen.any():
            return None
        levels = [tuple(_at_own_slip(one, lines[seen]) for one in side) for side in each]
        before, after = (tuple(level for level in side if level is not None) for side in levels)
        if len(before) < len(self.before) or len(after) < len(self.after):
            return None
        return before, after


def _seen_at_any_slip(levels: SegmentLevels, orders: Floats) -> Flags:
    """Lines that slip does not move under the engine's own.

    One that lies there in some takes only would look as if it had gone.
    """
    near = _SHIFTS[np.abs(_SHIFTS) <= 2.0 * _SLIP_SD]
    seen = levels.bins_at(orders[None, :] * np.exp(near)[:, None]) >= 0
    return np.asarray(seen.mean(axis=0) >= _SEEN_SHARE)


def _at_own_slip(levels: SegmentLevels, orders: Floats) -> FamilyLevel | None:
    """The lines of one take where slip has put them in it.

    Sought in every take alike, whether the lines show or not, so that no side is favoured;
    only where all of them are seen, so that all takes are measured by the same lines.
    """
    bins = levels.bins_at(orders[None, :] * np.exp(_SHIFTS)[:, None])
    whole = (bins >= 0).all(axis=1)
    if not whole.any():
        return None
    out = levels.excess.mean(axis=0) / np.maximum(levels.noise_sd, 1e-30)
    score = 0.5 * np.sum(np.maximum(out[bins], 0.0) ** 2, axis=1) - 0.5 * (_SHIFTS / _SLIP_SD) ** 2
    best = int(np.argmax(np.where(whole, score, -np.inf)))
    return family_level(levels, orders * float(np.exp(_SHIFTS[best])))


def _spectrum(take: TakeLevels, band: int | None) -> SegmentLevels:
    return take.tones if band is None else take.swings[band]


def compare(
    drive: Drive,
    before: Sequence[Take],
    after: Sequence[Take],
    settings: ChangeSettings | None = None,
    *,
    target: Target | None = None,
    settled: Mapping[str, float] | None = None,
) -> Change:
    """Compare recordings from before a repair with those after it.

    Parameters
    ----------
    drive : Drive
    before, after : sequence of Take
        Alike in point, contact, speed, loads, device and codec; three of each are wanted.
        Where those before are of stage "healthy" the answer is the difference from normal.
    settings : ChangeSettings, optional
    target : Target, optional
        What was repaired, or the leading suspect before. Left out, there is no verdict of it
        but that of new sounds.
    settled : mapping of str to float, optional
        ln(true order / nominal) by part, from `settled_offsets` of a screening.

    Raises
    ------
    CaseError
        If the recordings cannot be compared.
    SpeedError
        If a recording is too short.
    """
    settings = settings or ChangeSettings()
    notes = require_alike(before, after)
    takes = _levels(drive, before, after, settings)
    spectra = _spectra(before), _spectra(after)
    pooled = PooledSides(spectra, (takes.before, takes.after))
    placed = place_families(
        drive, expected_families(drive), pooled, settled or {}, settings.present_nat
    )
    there = [lines for lines in placed if lines.orders]
    measured = list(_families(there, takes, target))
    scatter = _scatter(measured, before, settings)
    measured += _strays(after, placed, takes, pooled, settings)
    families, tones = _rows(measured, scatter, settings, takes)
    return judge(
        drive,
        Change(
            verdict="cannot_tell",
            headline="",
            reasons=(),
            next_steps=(),
            target=target,
            against=against(before),
            families=families,
            not_heard=len(placed) - len(there),
            new_tones=tones,
            takes=(len(before), len(after)),
            scatter=scatter,
            confidence=1.0 - 2.0 * settings.error_rate,
            notes=notes,
        ),
        settings,
    )


def _levels(
    drive: Drive, before: Sequence[Take], after: Sequence[Take], settings: ChangeSettings
) -> _Sides:
    takes = [*before, *after]
    highest_hz = min(spectrum.highest_hz for spectrum in _spectra(takes))
    speeds_hz = common_speeds_hz(takes)
    levels = tuple(
        take_levels(
            take.heard.recording, take.heard.stretches, take.heard.speed, drive.engine,
            highest_hz, settings.levels, speeds_hz,
        )
        for take in takes
        if take.heard.speed is not None
    )  # fmt: skip
    return _Sides(levels[: len(before)], levels[len(before) :])


def _spectra(takes: Sequence[Take]) -> tuple[OrderSpectrum, ...]:
    return tuple(take.heard.spectrum for take in takes if take.heard.spectrum is not None)


# ------------------------------------------------------------------ what is measured


def _families(
    there: Sequence[PlacedLines], takes: _Sides, target: Target | None
) -> Iterator[_Measured]:
    """Every family heard on either side; the tones of the target are one.

    Of what swings with the target's events only the plainest is the target's figure: the
    bands are many, and say the same.
    """
    own = [lines for lines in there if _is_target(lines, target)]
    tonal = [lines for lines in own if lines.band is None]
    if tonal:
        orders = tuple(sorted({order for lines in tonal for order in lines.orders}))
        titles = dict.fromkeys(lines.family.title for lines in tonal)
        levels = takes.of(orders, None)
        if levels is not None:
            yield _Measured(replace(tonal[0], orders=orders), ", ".join(titles), levels, True)
    for lines in there:
        if lines in tonal:
            continue
        levels = takes.of(lines.orders, lines.band)
        if levels is not None:
            swings_hz = _spectrum(takes.before[0], lines.band).swings_hz
            yield _Measured(lines, lines.family.title, levels, lines in own, swings_hz=swings_hz)


def _is_target(lines: PlacedLines, target: Target | None) -> bool:
    if target is None or lines.family.part != target.part:
        return False
    return not target.mechanisms or lines.family.mechanism in target.mechanisms


def _scatter(
    measured: Sequence[_Measured], before: Sequence[Take], settings: ChangeSettings
) -> TakeScatter:
    found = [one.takes for one in measured if one.in_all and one.lines.band is None]
    return take_scatter(found, before[0].taken.contact, settings)


def _strays(
    after: Sequence[Take],
    placed: Sequence[PlacedLines],
    takes: _Sides,
    pooled: PooledSides,
    settings: ChangeSettings,
) -> list[_Measured]:
    """Tones claimed in most recordings after that belong to no family."""
    known = [order for lines in placed if lines.band is None for order in lines.orders]
    orders = np.array([*known, np.inf])
    heard = [
        sorted(t.order for t in claimed(take.heard.tones) if t.kind != "fixed frequency")
        for take in after
    ]
    strays: list[_Measured] = []
    for order in sorted(order for tones in heard for order in tones):
        again = sum(any(abs(o / order - 1.0) < _SAME_TONE for o in tones) for tones in heard)
        if 2 * again < len(after) or np.min(np.abs(orders / order - 1.0)) < _SAME_TONE:
            continue
        orders = np.append(orders, order)
        levels = takes.of((order,), None)
        if levels is not None and pooled.tones(np.array([order]))[0] > settings.present_nat:
            lines = replace(placed[0], orders=(order,), band=None)
            strays.append(_Measured(lines, "", levels, new_order=order))
    return strays


# ------------------------------------------------------------------ what it says


def _rows(
    measured: Sequence[_Measured], scatter: TakeScatter, settings: ChangeSettings, takes: _Sides
) -> tuple[tuple[FamilyChange, ...], tuple[NewTone, ...]]:
    """Outcomes after Holm's correction; the target is one question of its own."""
    sides = [one.sides() for one in measured]
    apart = [difference(*pair, scatter, settings) for pair in sides]
    others = [n for n, one in enumerate(measured) if not one.is_target]
    changed = [min(d.p_lower, d.p_higher) for d in apart]
    alike = [d.p_alike for d in apart]
    for values in (changed, alike):
        for n, p in zip(others, holm([values[n] for n in others]), strict=True):
            values[n] = p
    speed_hz = float(np.mean(np.concatenate([take.speed_hz for take in takes.after])))
    families, tones = [], []
    for n, one in enumerate(measured):
        outcome = _outcome(apart[n], sides[n], changed[n], alike[n], settings)
        if one.new_order is None:
            families.append(_family_row(one, (sides[n], apart[n], settings), outcome, changed[n]))
        elif outcome == "new":
            before, after = sides[n]
            hz = one.new_order * speed_hz
            tones.append(NewTone(one.new_order, hz, after.level_db, before.limit_db, changed[n]))
    rows = _sharing(families)
    order = sorted(rows, key=lambda row: (not row.is_target, row.p_value))
    return tuple(order), tuple(tones)


def _outcome(
    apart: Difference,
    sides: tuple[SideLevel, SideLevel],
    p_changed: float,
    p_alike: float,
    settings: ChangeSettings,
) -> Outcome:
    if p_changed < settings.error_rate:
        if apart.p_lower < apart.p_higher:
            return "lower" if sides[1].found else "gone"
        return "higher" if sides[0].found else "new"
    return "unchanged" if p_alike < settings.error_rate else "unclear"


def _family_row(
    one: _Measured,
    measured: tuple[tuple[SideLevel, SideLevel], Difference, ChangeSettings],
    outcome: Outcome,
    p_value: float,
) -> FamilyChange:
    (before, after), apart, settings = measured
    family, band = one.lines.family, one.lines.band
    above = [[take.above_floor_db for take in side] for side in one.takes]
    floors = [float(np.mean([a for a in side if a is not None])) if any(side) else None
              for side in above]  # fmt: skip
    return FamilyChange(
        part=family.part,
        mechanism=family.mechanism,
        title=one.title,
        shows_as="tones" if band is None else "swing",
        orders=one.lines.orders,
        before_db=before.level_db if before.found else None,
        after_db=after.level_db if after.found else None,
        before_limit_db=before.limit_db,
        after_limit_db=after.limit_db,
        before_above_floor_db=floors[0] if before.found else None,
        after_above_floor_db=floors[1] if after.found else None,
        change_db=apart.change_db,
        low_db=apart.low_db,
        high_db=apart.high_db,
        outcome=outcome,
        p_value=p_value,
        is_target=one.is_target,
        swings_hz=one.swings_hz,
        telling=_telling(before, after, apart, settings),
    )


def _telling(
    before: SideLevel, after: SideLevel, apart: Difference, settings: ChangeSettings
) -> bool:
    """Whether the lines would be known to be gone if they were."""
    if not before.found:
        return after.found
    middle = (after.level_db if after.found else after.limit_db) - before.level_db
    reach = apart.high_db - middle
    return after.noise_db - before.level_db + reach < -settings.margin_db


def _sharing(families: Sequence[FamilyChange]) -> list[FamilyChange]:
    rows = []
    for row in families:
        mine = np.array(row.orders)
        shared = dict.fromkeys(
            other.part
            for other in families
            if other.part != row.part
            and other.shows_as == row.shows_as
            and np.min(np.abs(np.subtract.outer(mine, np.array(other.orders)) / mine[:, None]))
            < _SAME_TONE
        )
        rows.append(replace(row, shares_lines_with=tuple(shared)))
    return rows
