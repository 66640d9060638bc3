"""The tables, read once and checked: what every later step knows of the trade.

`load_knowledge` reads the tables shipped beside this module. `parse_knowledge` adds a
table of your own to them, so that a new kind of component needs no code.
"""

from __future__ import annotations

import csv
import functools
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, ClassVar, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from acoustic.errors import TableError
from acoustic.tables.hand_check_rows import HandCheck
from acoustic.tables.rows import (
    STRICT,
    BearingRow,
    BeltProfile,
    Chances,
    Kind,
    Mechanism,
    Noise,
    Switch,
)

Row = TypeVar("Row")

# In this order: a table may name what stands in one before it.
COMPONENT_TABLES = (
    "engine_noises.toml",
    "components.toml",
    "drive_parts.toml",
    "hand_checks.toml",
)
EVERY_BEARING = "every bearing"
_SUM_WITHIN = 1e-6  # chances are written with two or three decimals
# What the drive works out itself and hands to the formulas of these sections.
BEARING_QUANTITIES = frozenset({"bpfo", "bpfi", "ball", "cage", "inner_turn", "outer_turn"})
DRIVE_QUANTITIES: Mapping[str, frozenset[str]] = {
    "belt": frozenset({"belt_turn"}),
    "gears": frozenset({"mesh", "driver_turn", "driven_turn"}),
    "chain": frozenset({"mesh", "driver_turn", "driven_turn", "chain_turn"}),
    "toothed belt": frozenset({"mesh", "driver_turn", "driven_turn", "chain_turn"}),
}


@dataclass(frozen=True, slots=True)
class Knowledge:
    """All tables.

    Attributes
    ----------
    kinds : mapping of str to Kind
        By id; `aliases` gives the id behind another usual name.
    every_part, every_bearing : tuple of Mechanism
        What any turning part, and any rolling bearing, may do.
    bearings : mapping of str to tuple of BearingRow
        All variants of a designation, the usual one first.
    hand_checks : mapping of str to HandCheck
        By id, as they stand in the tables.
    """

    kinds: Mapping[str, Kind]
    aliases: Mapping[str, str]
    every_part: tuple[Mechanism, ...]
    every_bearing: tuple[Mechanism, ...]
    switches: Mapping[str, Switch]
    bearings: Mapping[str, tuple[BearingRow, ...]]
    belt_profiles: Mapping[str, BeltProfile]
    noises: Mapping[str, Noise]
    hand_checks: Mapping[str, HandCheck]

    def kind(self, name: str) -> Kind | None:
        """Kind of component by id or alias, or None."""
        return self.kinds.get(self.aliases.get(name, name))

    def mechanism(self, kind: str, mechanism: str) -> Mechanism:
        """Mechanism row behind a family's kind and mechanism id.

        An id such as ``"bearing/front#2"`` names a place and a variant after the row's
        own id.

        Raises
        ------
        KeyError
            If no table row has that id.
        """
        wanted = row_id(mechanism)
        own = self.kinds[kind].mechanism if kind in self.kinds else ()
        for row in (*own, *self.every_bearing, *self.every_part):
            if row.id == wanted:
                return row
        raise KeyError(f"no mechanism {mechanism!r} of kind {kind!r}")

    def named_chances(self, check: HandCheck, mechanism: str) -> Chances | None:
        """P(result | a part is faulty by this mechanism), where the check names it.

        Along ``check.results``; None for a mechanism it does not name. A mechanism's own
        name goes before ``"every bearing"``.
        """
        wanted = row_id(mechanism)
        bearing = wanted in _bearing_mechanisms(self.every_bearing, self.every_part)
        for name in (wanted, EVERY_BEARING) if bearing else (wanted,):
            for row in check.fault:
                if name in row.mechanisms:
                    return row.chances
        return None


def row_id(mechanism: str) -> str:
    """Id of a mechanism's row, without the place and variant of a bearing."""
    return mechanism.partition("/")[0].partition("#")[0]


def _bearing_mechanisms(
    every_bearing: Iterable[Mechanism], every_part: Iterable[Mechanism]
) -> frozenset[str]:
    unlisted = (row.id for row in every_part if row.applies == "bearings not given")
    return frozenset((*(row.id for row in every_bearing), *unlisted))


@dataclass(frozen=True, slots=True)
class ComponentTable:
    """A whole components file."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    kind: tuple[Kind, ...] = ()
    every_part: tuple[Mechanism, ...] = ()
    every_bearing: tuple[Mechanism, ...] = ()
    switch: tuple[Switch, ...] = ()
    noise: tuple[Noise, ...] = ()
    check: tuple[HandCheck, ...] = ()


@functools.cache
def load_knowledge() -> Knowledge:
    """Read and check the shipped tables, once per process."""
    bearings: dict[str, list[BearingRow]] = {}
    for row in _read_csv("bearings.csv", BearingRow):
        bearings.setdefault(row.designation, []).append(row)
    knowledge = Knowledge(
        kinds={},
        aliases={},
        every_part=(),
        every_bearing=(),
        switches={},
        bearings={name: tuple(rows) for name, rows in bearings.items()},
        belt_profiles={row.profile: row for row in _read_csv("belt_profiles.csv", BeltProfile)},
        noises={},
        hand_checks={},
    )
    for name in COMPONENT_TABLES:
        knowledge = parse_knowledge(_read_table(name), where=name, beside=knowledge)
    return knowledge


def parse_knowledge(
    text: str, where: str = "own table", beside: Knowledge | None = None
) -> Knowledge:
    """Read a components table and lay it over what is known already.

    Parameters
    ----------
    text : str
        TOML with any of ``[[kind]]``, ``[[every_part]]``, ``[[every_bearing]]``,
        ``[[switch]]``, ``[[noise]]`` and ``[[check]]``. A kind or a check that is known
        already is replaced.
    where : str
        Name of the table for messages.
    beside : Knowledge, optional
        What to add to; the shipped tables if left out.

    Raises
    ------
    TableError
        Listing every row that cannot be used, with table, row and key.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{where}: not TOML: {error}.") from None
    table = _validated(TypeAdapter(ComponentTable), raw, where)
    known = beside if beside is not None else load_knowledge()
    switches = {**known.switches, **{row.id: row for row in table.switch}}
    noises = {**known.noises, **{row.id: row for row in table.noise}}
    kinds = {**known.kinds, **{kind.id: kind for kind in table.kind}}
    joined = Knowledge(
        kinds=kinds,
        aliases={a: kind.id for kind in kinds.values() for a in kind.aliases},
        every_part=(*known.every_part, *table.every_part),
        every_bearing=(*known.every_bearing, *table.every_bearing),
        switches=switches,
        bearings=known.bearings,
        belt_profiles=known.belt_profiles,
        noises=noises,
        hand_checks={**known.hand_checks, **{row.id: row for row in table.check}},
    )
    faults = [f"{where}: {fault}" for fault in _faults(table, joined)]
    if faults:
        raise TableError("\n".join(faults))
    return joined


def _faults(table: ComponentTable, known: Knowledge) -> Iterator[str]:
    """Everything wrong with a table that is more than the type of one value."""
    for kind in table.kind:
        names = {quantity.name for quantity in kind.quantity}
        names |= DRIVE_QUANTITIES.get(kind.id, frozenset())
        row = f"kind {kind.id!r}"
        for quantity in kind.quantity:
            if quantity.default is not None:
                missing = quantity.default.names - names
                yield from _unknown(missing, f"{row}, quantity {quantity.name!r}, default", names)
        for mechanism in kind.mechanism:
            yield from _mechanism_faults(mechanism, row, names, known)
    for mechanism in table.every_part:
        yield from _mechanism_faults(mechanism, "every_part", frozenset(), known)
    for mechanism in table.every_bearing:
        yield from _mechanism_faults(mechanism, "every_bearing", BEARING_QUANTITIES, known)
    checks = [check.id for check in table.check]
    for name in sorted({name for name in checks if checks.count(name) > 1}):
        yield f"check {name!r}: stands there twice; give one of them another id."
    for check in table.check:
        yield from _check_faults(check, known)


def _check_faults(check: HandCheck, known: Knowledge) -> Iterator[str]:
    row = f"check {check.id!r}"
    ids = [result.id for result in check.results]
    if len(set(ids)) < len(ids):
        yield f"{row}, results: the same id twice in {', '.join(ids)}."
    states = {"part_sound": check.part_sound, "other_fault": check.other_fault}
    states |= {f"fault {', '.join(fault.mechanisms)}": fault.chances for fault in check.fault}
    for state, chances in states.items():
        if len(chances) != len(ids):
            yield f"{row}, {state}: {len(chances)} chances for {len(ids)} results."
        elif abs(sum(chances) - 1) > _SUM_WITHIN:
            yield f"{row}, {state}: the chances sum to {sum(chances):g}, not to 1."
    for key in ("kinds", "not_kinds", "not_if_driving"):
        yield from _unknown(
            set(getattr(check, key)) - set(known.kinds), f"{row}, {key}", known.kinds
        )
    mechanisms = {m.id for kind in known.kinds.values() for m in kind.mechanism}
    mechanisms |= {m.id for m in (*known.every_bearing, *known.every_part)} | {EVERY_BEARING}
    named = [name for fault in check.fault for name in fault.mechanisms]
    yield from _unknown(set(named) - mechanisms, f"{row}, fault", mechanisms)
    for name in sorted({name for name in named if named.count(name) > 1}):
        yield f"{row}, fault: {name!r} is named twice; keep one."
    if not named and not check.kinds:
        yield f"{row}: names neither kinds nor mechanisms, so it could be made nowhere."


def _mechanism_faults(
    mechanism: Mechanism, row: str, names: Iterable[str], known: Knowledge
) -> Iterator[str]:
    names = set(names)
    row = f"{row}, mechanism {mechanism.id!r}"
    if set(mechanism.id) & set("/#"):
        yield f"{row}, id: '/' and '#' are kept for bearing places and variants."
    for line in mechanism.line:
        where = f"{row}, line {line.label!r}"
        yield from _unknown(line.formula.names - names, f"{where}, formula", names)
        if not len(line.harmonics) == len(line.probability) == len(line.relative_level_db):
            yield (
                f"{where}: harmonics, probability and relative_level_db must be equally long, "
                f"not {len(line.harmonics)}, {len(line.probability)}, "
                f"{len(line.relative_level_db)}."
            )
    if not mechanism.line and not mechanism.noise and not mechanism.lags:
        yield f"{row}: has neither line nor noise, so nothing could ever be heard of it."
    for made in mechanism.noise:
        yield from _unknown({made.noise} - set(known.noises), f"{row}, noise", known.noises)
    for effect in mechanism.load:
        missing = {effect.switch} - set(known.switches)
        yield from _unknown(missing, f"{row}, load, switch", known.switches)


def _unknown(missing: Iterable[str], where: str, known: Iterable[str]) -> Iterator[str]:
    listing = ", ".join(sorted(known)) or "none"
    for name in sorted(missing):
        yield f"{where}: unknown name {name!r}; known here: {listing}."


def _validated(adapter: TypeAdapter[Row], raw: Mapping[str, Any], where: str) -> Row:
    try:
        return adapter.validate_python(raw)
    except ValidationError as error:
        lines = [
            f"{where}: {_place(raw, fault['loc'])}: {fault['msg'].removeprefix('Value error, ')}."
            for fault in error.errors(include_url=False)
        ]
        raise TableError("\n".join(lines)) from None


def _place(raw: Any, loc: tuple[int | str, ...]) -> str:
    """Where a fault sits, rows named by their id, name or label rather than number."""
    words: list[str] = []
    for key in loc:
        raw = raw[key] if _has(raw, key) else None
        if isinstance(key, int):
            names = raw if isinstance(raw, dict) else {}
            named = [repr(names[k]) for k in ("id", "name", "label") if k in names]
            row = named[0] if named else f"number {key + 1}"
            words.append(f"{words.pop()} {row}" if words else row)
        else:
            words.append(key)
    return ", ".join(words) or "table"


def _has(raw: Any, key: int | str) -> bool:
    if isinstance(raw, list) and isinstance(key, int):
        return key < len(raw)
    return isinstance(raw, dict) and key in raw


def _read_csv(name: str, row_type: type[Row]) -> Iterator[Row]:
    adapter = TypeAdapter(row_type)
    reader = csv.DictReader(_read_table(name).splitlines())
    for row in reader:
        filled = {key: value for key, value in row.items() if value not in ("", None)}
        yield _validated(adapter, filled, f"{name}:{reader.line_num}")


def _read_table(name: str) -> str:
    return resources.files("acoustic.tables").joinpath(name).read_text("utf-8")
