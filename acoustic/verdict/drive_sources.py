"""All parts of a drive as sources, with the shafts and belts their orders hang on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.verdict.sources import Voice, part_voices
from acoustic.verdict.suspects import CountedWords
from acoustic.verdict.unknowns import (
    BeltOffset,
    GroupKey,
    ShaftGroup,
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)


@dataclass(frozen=True, slots=True, eq=False)
class Sources:
    """Parts of a drive, what turns them, and every way each may sound."""

    parts: tuple[str, ...]
    belts: list[BeltOffset]
    groups: list[ShaftGroup]
    part_groups: list[int]
    voices: list[Voice]
    words: CountedWords | None = None


def sources_of(drive: Drive, families: Sequence[ExpectedFamily], speed_sd: float) -> Sources:
    """Lay out the sources of a drive; `speed_sd` as in `belt_offset`."""
    parts = tuple(dict.fromkeys(f.part for f in families))
    belt_names = list(dict.fromkeys(f.belt for f in families))
    shared = [shared_unknowns(families, name) for name in belt_names]
    belts = [belt_offset(drive, n, s, speed_sd) for n, s in zip(belt_names, shared, strict=True)]
    keys: dict[GroupKey, int] = {}
    groups: list[ShaftGroup] = []
    for family in families:
        key = group_key(family)
        if key not in keys:
            b = belt_names.index(family.belt)
            keys[key] = len(groups)
            groups.append(shaft_group(drive, key, (b, belts[b]), shared[b], speed_sd))
    voices: list[Voice] = []
    part_groups = []
    for k, part in enumerate(parts):
        own = [f for f in families if f.part == part]
        voices += part_voices(own, k, keys)
        used = [keys[group_key(f)] for f in own]
        part_groups.append(max(set(used), key=used.count))
    return Sources(parts, belts, groups, part_groups, voices)
