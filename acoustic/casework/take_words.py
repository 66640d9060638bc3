"""The words by which people say how a recording was taken, in file names and options."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, Literal

from acoustic.drive.drive import Drive
from acoustic.drive.faults import did_you_mean
from acoustic.errors import CaseError
from acoustic.recording.taken import Stage

NAMED_RPM = (300, 9999)
"""A bare number between these may be meant as a speed. [1/min]"""

NONE, HEARD = "none", "heard"
FILLING = frozenset({"at", "the", "in", "on", "off", "and", "with", "of", "near", "engine", "clip"})

Field = Literal["point", "contact", "rpm", "loads", "stage", "take", "device", "switched_off_s"]

_EXTENSION = re.compile(r"\.(?=[a-z0-9]*[a-z])[a-z0-9]{1,5}$")
_DATE = re.compile(
    r"(?<!\d)(?:19|20)\d\d[-_. ]?[01]\d[-_. ]?[0-3]\d"
    r"(?:[-_. t]{0,3}\d\d[-_.:h]?\d\d(?:[-_.:m]?\d\d)?)?(?!\d)"
)
_LONG_NUMBER = re.compile(r"\d{6,}")
_WORD = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+")


@dataclass(frozen=True, slots=True, repr=False)
class Told:
    """What somebody told of a recording; None for what was not told.

    The fields are those of `Taken`; a speed may be told to be ``"heard"`` from the
    sound, a switching off to be ``"none"``.
    """

    point: str | None = None
    contact: bool | None = None
    rpm: float | Literal["heard"] | None = None
    loads: tuple[str, ...] | None = None
    stage: Stage | None = None
    take: int | None = None
    device: str | None = None
    switched_off_s: float | Literal["none"] | None = None

    def fields_told(self) -> dict[str, Any]:
        """Name and value of everything told."""
        pairs = ((one.name, getattr(self, one.name)) for one in fields(self))
        return {name: value for name, value in pairs if value is not None}

    def __repr__(self) -> str:
        return f"Told({', '.join(f'{k}={v!r}' for k, v in self.fields_told().items())})"


@dataclass(frozen=True, slots=True)
class Reading:
    """What one phrase says.

    `field` is one of `Field`, or ``"loads off"``, ``"no loads"``, ``"idle"``. `bare` marks a
    word that a part's name may also begin with; `meaning` says what it means otherwise.
    """

    field: str
    value: Any = None
    bare: bool = False
    meaning: str = ""


def _many(words: str, reading: Reading) -> dict[str, Reading]:
    return dict.fromkeys(words.split(), reading)


OWN_WORDS: Mapping[str, Reading] = {
    **_many("contact touching probe", Reading("contact", True)),
    **_many("inair intheair handheld", Reading("contact", False)),
    **_many("air", Reading("contact", False, bare=True, meaning="held in the air")),
    **_many("front", Reading("point", "", bare=True, meaning="in front of the drive")),
    **_many("infront infrontofthedrive", Reading("point", "")),
    **_many("before", Reading("stage", "before")),
    **_many("after", Reading("stage", "after")),
    **_many("healthy reference", Reading("stage", "healthy")),
    **_many("noload noloads loadsoff allloadsoff", Reading("no loads")),
    **_many("idle idling", Reading("idle")),
}


@dataclass(frozen=True, slots=True)
class TakeWords:
    """Words that names and options may use for one drive.

    Attributes
    ----------
    parts : mapping of str to str
        Part by its name as `close` writes it.
    loads : mapping of str to str
        Id of the load by its id and other words, written so.
    idle_rpm : (float, float)
        Idle range of the engine. [1/min]
    other_parts : frozenset of str
        Kinds of parts the tables know, written so: named, they must be in the layout.
    """

    parts: Mapping[str, str]
    loads: Mapping[str, str]
    idle_rpm: tuple[float, float]
    other_parts: frozenset[str] = field(default=frozenset())


def find_take_words(drive: Drive) -> TakeWords:
    """Words for the points and loads of a drive: its listed parts, the switches of the tables."""
    knowledge = drive.knowledge
    parts = [one.name for one in drive.parts.values() if knowledge.kinds[one.kind].listed]
    loads = {
        close(word): row.id
        for row in knowledge.switches.values()
        for word in (row.id, *row.aliases)
    }
    listed = {kind.id for kind in knowledge.kinds.values() if kind.listed}
    kinds = {close(word) for word in (*listed, *knowledge.aliases)}
    return TakeWords(
        {close(name): name for name in parts}, loads, drive.engine.idle_rpm, frozenset(kinds)
    )


def find_point(said: str, words: TakeWords) -> str:
    """The part a person names as the point; empty for the front of the drive.

    Raises
    ------
    CaseError
        No part, or several, begin so.
    """
    wanted = close(said)
    if wanted in words.parts:
        return words.parts[wanted]
    if wanted in {"", "front"}:
        return ""
    begun = [name for key, name in words.parts.items() if key.startswith(wanted)]
    if len(begun) == 1:
        return begun[0]
    if begun:
        raise CaseError(f"--point {said}: could be {' or '.join(begun)}. Give the whole name.")
    hint = did_you_mean(said, words.parts.values())
    raise CaseError(f"--point {said}: is no part of the layout. {hint} Or 'front'.")


def find_loads(said: Sequence[str], words: TakeWords) -> tuple[str, ...]:
    """Ids of the loads a person names; none for the word ``none``.

    Raises
    ------
    CaseError
        For a word that is no load, or ``none`` beside others.
    """
    found = set()
    for word in said:
        wanted = close(word)
        load = words.loads.get(wanted) or words.loads.get(wanted.removesuffix("on"))
        if load is None and wanted != NONE:
            hint = did_you_mean(word, set(words.loads.values()), words.loads)
            raise CaseError(f"--load {word}: is no load known here. {hint} Or 'none'.")
        if load is not None:
            found.add(load)
    if found and any(close(word) == NONE for word in said):
        raise CaseError("--load none: stands beside another load. Keep the one that is right.")
    return tuple(sorted(found))


def words_of(name: str) -> list[str]:
    """Words and numbers of a name, small letters; dates, times and the extension left out.

    Examples
    --------
    >>> words_of("Water Pump_1500rpm_2026-05-12 10.15.00.m4a")
    ['water', 'pump', '1500', 'rpm']
    """
    plain = unicodedata.normalize("NFKC", name).casefold()
    plain = _DATE.sub(" ", _EXTENSION.sub("", plain))
    return [word for word in _WORD.findall(plain) if not _LONG_NUMBER.fullmatch(word)]


def close(name: str) -> str:
    """A name with case, spaces, hyphens, underscores and other signs left out."""
    return re.sub(r"[\W_]+", "", unicodedata.normalize("NFKC", name).casefold())
