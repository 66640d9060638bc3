"""Where each family is measured: one place for all recordings that are compared.

The place of a shaft's lines is known within what slip and diameters allow. It is searched
on all recordings together, before and after alike, so that neither side is favoured; where
a screening has settled it already, about there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.evidence.family_levels import SegmentLevels, TakeLevels
from acoustic.evidence.findings import OrderSpectrum
from acoustic.verdict.change_values import Target
from acoustic.verdict.line_likelihood import LikelihoodSettings, LineTable, line_table
from acoustic.verdict.suspects import Screening
from acoustic.verdict.unknowns import (
    BeltOffset,
    GroupKey,
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)

Floats = NDArray[np.float64]

_PRICE_NAT = 2.5
_LEAST_NAT, _MOST_NAT = -2.0, 12.0
_NEAR_PLACES = 25
"""Lattice steps within which a line may move from take to take: 0.3 % to either side."""
_STEP = 2.5e-4
_SETTLED_SD = 0.002
"""Slip differs so much between recordings at one speed (relative)."""
_LEAST_PROBABILITY = 0.5
_LEAST_SHARE = 0.15
"""Mechanisms less likely than this are not held to be what was repaired (judgement)."""


@dataclass(frozen=True, slots=True)
class PlacedLines:
    """Lines of a family that were heard before or after, of one realm.

    `band` is the index of the band whose swing they are of; None for tones.
    """

    family: ExpectedFamily
    orders: tuple[float, ...]
    band: int | None = None


class PooledSides:
    """How far each place speaks for a line, before and after; the larger of both counts.

    Tones are looked for in the order spectra of the screening, with their fine resolution
    and their knowledge of the engine's own lines; what swings in the segments measured.

    Parameters
    ----------
    spectra : (sequence of OrderSpectrum, sequence of OrderSpectrum)
        Of each take before, and after.
    levels : (sequence of TakeLevels, sequence of TakeLevels)
    """

    def __init__(
        self,
        spectra: tuple[Sequence[OrderSpectrum], Sequence[OrderSpectrum]],
        levels: tuple[Sequence[TakeLevels], Sequence[TakeLevels]],
    ) -> None:
        tables = [[line_table(one, LikelihoodSettings()) for one in side] for side in spectra]
        self._table = min((t for side in tables for t in side), key=lambda t: t.ln_order[-1])
        self._tones = [self._pooled_tones(side) for side in tables]
        count = min(len(take.swings) for side in levels for take in side)
        self._swings = [
            [_pooled_swings([take.swings[band] for take in side]) for side in levels]
            for band in range(count)
        ]
        self._turns = levels[0][0].tones.turns

    @property
    def bands(self) -> int:
        """Bands whose swing was measured."""
        return len(self._swings)

    def _pooled_tones(self, tables: Sequence[LineTable]) -> Floats:
        """Sum over the takes; in each the line may lie a little to either side. [nat]"""
        total = np.zeros(self._table.ln_order.size)
        for table in tables:
            each = np.where(table.visible, np.log(np.maximum(table.stray, 1e-30)), 0.0)
            near = maximum_filter1d(np.clip(each, _LEAST_NAT, _MOST_NAT), _NEAR_PLACES)
            total += near[table.place_of(self._table.ln_order)]
        return total

    def tones(self, orders: Floats) -> Floats:
        """Logarithm of the likelihood ratio of a tone at each order. [nat]"""
        places = self._table.place_of(np.log(orders))
        best = np.maximum(self._tones[0][places], self._tones[1][places])
        return np.asarray(np.where(self._table.visible[places], best, 0.0))

    def swings(self, orders: Floats, band: int) -> Floats:
        """The same of a swing of one band's loudness, by its height over chance. [nat]"""
        sides = self._swings[band]
        size = min(side.size for side in sides)
        bins = np.rint(orders * self._turns).astype(np.intp)
        inside = (bins >= 0) & (bins < size)
        safe = np.where(inside, bins, 0)
        out = np.where(inside, np.maximum(sides[0][safe], sides[1][safe]), 0.0)
        nat = 0.5 * np.maximum(out, 0.0) ** 2 - _PRICE_NAT
        return np.asarray(np.where(inside, np.minimum(nat, _MOST_NAT), 0.0))


def _pooled_swings(levels: Sequence[SegmentLevels]) -> Floats:
    """Height over the floor in standard errors, all takes together."""
    size = min(one.seen.size for one in levels)
    total = np.sum([one.excess[:, :size].mean(axis=0) for one in levels], axis=0)
    variance = np.sum([one.noise_sd[:size] ** 2 for one in levels], axis=0)
    seen = np.all([one.seen[:size] for one in levels], axis=0)
    return np.asarray(np.where(seen, total / np.sqrt(variance + 1e-60), 0.0))


def likely_target(screening: Screening, part: str) -> Target:
    """A part as what was repaired, with the mechanisms the screening leaves it."""
    belief = screening.belief
    if belief is None or part not in belief.parts:
        return Target(part)
    shares = belief.mechanisms[belief.parts.index(part)]
    return Target(part, tuple(name for name, share in shares.items() if share >= _LEAST_SHARE))


def settled_offsets(drive: Drive, screening: Screening) -> dict[str, float]:
    """ln(true order / nominal) per part as the match settled it, where lines were heard."""
    nominal: dict[tuple[str, str], list[float]] = {}
    for family in expected_families(drive):
        for line in family.lines:
            nominal.setdefault((family.part, line.label), []).append(line.order)
    offsets = {}
    for suspect in screening.suspects:
        if max(suspect.source_probability, suspect.probability) < _LEAST_PROBABILITY:
            continue
        each = []
        for found in suspect.lines:
            if found.state != "heard":
                continue
            known = np.log(nominal.get((suspect.part, found.label), [found.order]))
            apart = np.log(found.order) - known
            each.append(float(apart[np.argmin(np.abs(apart))]))
        if each:
            offsets[suspect.part] = float(np.median(each))
    return offsets


def place_families(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    sides: PooledSides,
    settled: Mapping[str, float],
    present_nat: float,
) -> tuple[PlacedLines, ...]:
    """Every family at its place, with the lines that are there before or after.

    Families of which no line is there come with none.
    """
    placed: list[PlacedLines] = []
    for key, (lattice, ln_prior) in _lattices(drive, families).items():
        members = [family for family in families if group_key(family) == key]
        known = [settled[f.part] for f in members if f.part in settled]
        if known:
            ln_prior = -0.5 * ((lattice - np.median(known)) / _SETTLED_SD) ** 2
        score = ln_prior + sum(_score(family, lattice, sides) for family in members)
        shift = float(lattice[int(np.argmax(score))])
        for family in members:
            if family.part in settled:
                reach = min(_SETTLED_SD, 2.0 * family.own_tolerance)
                placed += _placed(family, (settled[family.part], reach), sides, present_nat)
            else:
                placed += _placed(family, (shift, 2.0 * family.own_tolerance), sides, present_nat)
    return tuple(placed)


def _lattices(
    drive: Drive, families: Sequence[ExpectedFamily]
) -> dict[GroupKey, tuple[Floats, Floats]]:
    """Offsets each shaft may have, and ln of how likely they are."""
    belts: dict[str | None, tuple[BeltOffset, dict[str, float]]] = {}
    for name in dict.fromkeys(family.belt for family in families):
        shared = shared_unknowns(families, name)
        belts[name] = belt_offset(drive, name, shared), shared
    lattices = {}
    for key in dict.fromkeys(group_key(family) for family in families):
        belt, shared = belts[key[1]]
        group = shaft_group(drive, key, (0, belt), shared)
        prior = belt.prior @ group.given_shared
        fine = np.arange(group.offset[0], group.offset[-1] + 0.5 * _STEP, _STEP)
        lattices[key] = fine, np.log(np.interp(fine, group.offset, prior) + 1e-12)
    return lattices


def _score(family: ExpectedFamily, offsets: Floats, sides: PooledSides) -> Floats:
    """How far the family's lines speak for each offset, hidden lines for none. [nat]"""
    total = np.zeros(offsets.size)
    for line in family.lines:
        orders = line.order * np.exp(offsets)
        if line.in_envelope:
            each = [sides.swings(orders, band) for band in range(sides.bands)]
            nat = np.max(each, axis=0) if each else np.zeros(offsets.size)
        else:
            nat = sides.tones(orders)
        total += np.log1p(line.probability * np.expm1(np.minimum(nat, _MOST_NAT)))
    return total


def _placed(
    family: ExpectedFamily, about: tuple[float, float], sides: PooledSides, present_nat: float
) -> list[PlacedLines]:
    """Lines of a family within a reach of an offset, where they agree best."""
    shift, reach = about
    if reach > _STEP:
        tries = np.arange(shift - reach, shift + reach + 0.5 * _STEP, _STEP)
        pull = -0.5 * ((tries - shift) / (0.5 * reach)) ** 2
        shift = float(tries[int(np.argmax(pull + _score(family, tries, sides)))])
    placed = []
    if family.tonal_lines:
        orders = np.array([line.order for line in family.tonal_lines]) * np.exp(shift)
        there = sides.tones(orders) > present_nat
        placed.append(PlacedLines(family, tuple(float(o) for o in orders[there])))
    if family.envelope_lines and sides.bands:
        orders = np.array([line.order for line in family.envelope_lines]) * np.exp(shift)
        out = np.array([sides.swings(orders, band) for band in range(sides.bands)])
        band = int(np.argmax(np.sum(np.maximum(out, 0.0), axis=1)))
        # The best of several bands is high by chance, too.
        there = out[band] > present_nat + np.log(sides.bands)
        placed.append(PlacedLines(family, tuple(float(o) for o in orders[there]), band))
    return placed
