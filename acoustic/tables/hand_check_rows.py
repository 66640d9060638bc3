"""Rows of the hand checks: how each is done, and what its results prove.

Checked by pydantic when they are read, as all rows are; from then on plain values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import ConfigDict, Field

from acoustic.tables.rows import STRICT, Chances, Text


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One way a hand check can come out, in the words a person would use."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    words: Text


@dataclass(frozen=True, slots=True)
class FaultChances:
    """P(result | faulty by one of these mechanisms), along the results of the check.

    ``"every bearing"`` stands for all mechanisms of a rolling bearing.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    mechanisms: Annotated[tuple[Text, ...], Field(min_length=1)]
    chances: Chances


@dataclass(frozen=True, slots=True)
class HandCheck:
    """A check by hand, eye, ear or meter, and what each of its results proves.

    Attributes
    ----------
    how : tuple of str
        Its steps.
    minutes : float
        Without taking the belt off. [min]
    engine : str
        ``"off"`` or ``"running"`` while it is done.
    belt_off : bool
        It is done with the belt off; then only at what a belt drives.
    bears_on : str
        ``"part"``: on the part it is made at. ``"belt drive"``: it is made at a belt and
        tells about whatever touches or is driven by it.
    kinds, not_kinds : tuple of str
        Kinds of part it can, or cannot, be made at; no `kinds` means any that has one of
        the mechanisms in `fault`.
    not_if_driving : tuple of str
        Kinds that the belt may not drive where this is done: the engine needs them at once.
    part_sound : tuple of float
        P(result | the part is sound), along `results`; for a check of a belt drive
        P(result | the fault is elsewhere).
    other_fault : tuple of float
        P(result | faulty by a mechanism that `fault` does not name).
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    title: Text
    how: Annotated[tuple[Text, ...], Field(min_length=1)]
    minutes: Annotated[float, Field(gt=0, le=600)]
    engine: Literal["off", "running"]
    caution: Text
    source: Text
    results: Annotated[tuple[CheckResult, ...], Field(min_length=2)]
    part_sound: Chances
    other_fault: Chances
    fault: tuple[FaultChances, ...] = ()
    tools: tuple[Text, ...] = ()
    special_tool: str = ""
    belt_off: bool = False
    bears_on: Literal["part", "belt drive"] = "part"
    kinds: tuple[Text, ...] = ()
    not_kinds: tuple[Text, ...] = ()
    not_if_driving: tuple[Text, ...] = ()

    def made_at(self, kind: str) -> bool:
        """Whether it can be made at a part of this kind."""
        return (not self.kinds or kind in self.kinds) and kind not in self.not_kinds

    def index(self, result: str) -> int:
        """Where a result stands among the results.

        Raises
        ------
        KeyError
            If the check has no such result.
        """
        ids = [one.id for one in self.results]
        if result not in ids:
            raise KeyError(f"check {self.id!r} has no result {result!r}: {', '.join(ids)}")
        return ids.index(result)
