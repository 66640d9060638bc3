"""What ``plan.toml`` holds: steps of a plan with their cautions, loads, places, sentences."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Annotated, ClassVar

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from acoustic.errors import TableError
from acoustic.tables.rows import Text

_STRICT = ConfigDict(extra="forbid", str_strip_whitespace=True)


@dataclass(frozen=True, slots=True)
class CautionRow:
    """One caution; `engine_only` where it means nothing at a motor on a bench."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    text: Text
    source: Text
    engine_only: bool = False


@dataclass(frozen=True, slots=True)
class StepRow:
    """A kind of step: what to do, and the ids of its cautions.

    `running` says whether something turns; `minutes` is what it takes beside recording;
    `why` is what it settles in any drive.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    id: Text
    title: Text
    do: Text
    running: bool
    minutes: Annotated[float, Field(gt=0, le=60)]
    cautions: Annotated[tuple[Text, ...], Field(min_length=1)]
    source: Text
    why: tuple[Text, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadRow:
    """How a load is kept on through a clip; `idle_only` if never at a held speed."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    how: Text
    idle_only: bool


@dataclass(frozen=True, slots=True)
class WhenRow:
    """What to mind in the first recording where the sound comes on an occasion."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    text: Text


@dataclass(frozen=True, slots=True)
class ProbeRow:
    """Kinds whose own place is no place for a probe, and where to rest it instead.

    `beside_a_pulley` are probed at `instead`; `never` not at all.
    """

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    beside_a_pulley: tuple[Text, ...]
    instead: Text
    never: tuple[Text, ...]
    source: Text


@dataclass(frozen=True, slots=True)
class PlanTable:
    """The whole of ``plan.toml``."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    caution: Mapping[str, CautionRow]
    step: tuple[StepRow, ...]
    load: Mapping[str, LoadRow]
    probe: ProbeRow
    pair: Mapping[str, Text]
    when: Mapping[str, WhenRow] = field(default_factory=dict)

    def step_row(self, name: str) -> StepRow:
        """Row of a kind of step.

        Raises
        ------
        TableError
            There is none.
        """
        for row in self.step:
            if row.id == name:
                return row
        raise TableError(f"plan.toml: no [[step]] with id {name!r}. Add it.")

    def cautions_of(self, row: StepRow, motor: bool) -> tuple[str, ...]:
        """Cautions of a step, in its order; those of engines only left out for a motor."""
        rows = [self.caution[name] for name in row.cautions]
        return tuple(one.text for one in rows if not (motor and one.engine_only))


@cache
def read_plan_table() -> PlanTable:
    """Read and check the table; it comes with the package.

    Raises
    ------
    TableError
        If a row cannot be used.
    """
    text = resources.files("acoustic.tables").joinpath("plan.toml").read_text("utf-8")
    return parse_plan_table(text)


def parse_plan_table(text: str) -> PlanTable:
    """Check the text of a table of plans.

    Raises
    ------
    TableError
        Naming the first rows that cannot be used.
    """
    try:
        table = TypeAdapter(PlanTable).validate_python(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"plan.toml: not TOML: {error}.") from None
    except ValidationError as error:
        faults = [
            f"plan.toml: {', '.join(map(str, fault['loc']))}: {fault['msg']}."
            for fault in error.errors(include_url=False)
        ]
        raise TableError("\n".join(faults)) from None
    for row in table.step:
        for name in row.cautions:
            if name not in table.caution:
                known = ", ".join(sorted(table.caution))
                raise TableError(
                    f"plan.toml: step {row.id!r}: unknown caution {name!r}; known: {known}."
                )
    return table
