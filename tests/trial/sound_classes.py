"""Classes of sound, and which of them a mechanism is of, worked out from the tables.

A mechanism is of every class it shows as by its rows in ``acoustic/tables``. The class
follows from the way it shows, and where one way serves several classes from three facts of
its row and part:

- tones are lagging ones where the row says that it sits in the place of other lines;
- impacts in step with a shaft are a bearing's where the row is one of every bearing's;
- impacts with the firing are the engine's own where its part is in every engine.

Short cries in step with a shaft (``"bursts"``) and chirps are one class: the ear has one
word for them. The rattle after switching off is that of impacts with the firing; no scene
of the trial switches the engine off.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from acoustic.drive.drive import Drive, ExpectedFamily


class SoundClass(StrEnum):
    """What a sound is to the ear and to the hand that looks for it."""

    TONES = "tones"
    BEARING = "bearing"
    GROWL = "growl"
    RATTLE = "rattle"
    TURN = "turn"
    CHIRPS = "chirps"
    SQUEAL = "squeal"
    FLUTTER = "flutter"
    HISS = "hiss"
    MISFIRE = "misfire"
    RANDOM = "random"
    LAG = "lag"
    ENGINE = "engine"


MEANING = {
    SoundClass.TONES: "whine or hum in step with a shaft",
    SoundClass.BEARING: "knocks of a race or of balls",
    SoundClass.GROWL: "noise that swells with a turn",
    SoundClass.RATTLE: "knocks with the firing, of a part of the drive",
    SoundClass.TURN: "knocks once a turn or stroke, or once a belt turn",
    SoundClass.CHIRPS: "chirps, in step or not",
    SoundClass.SQUEAL: "squeal that does not follow the speed",
    SoundClass.FLUTTER: "flutter of a free span",
    SoundClass.HISS: "steady hiss",
    SoundClass.MISFIRE: "uneven firing",
    SoundClass.RANDOM: "rattle that keeps no step",
    SoundClass.LAG: "tones of a shaft that sit low (loose coupling)",
    SoundClass.ENGINE: "knocks with the firing, of the engine itself",
}
_BY_WAY = {
    "roughness": SoundClass.GROWL,
    "bursts": SoundClass.CHIRPS,
    "chirps": SoundClass.CHIRPS,
    "squeal": SoundClass.SQUEAL,
    "flutter": SoundClass.FLUTTER,
    "hiss": SoundClass.HISS,
    "uneven firing": SoundClass.MISFIRE,
    "impacts at random": SoundClass.RANDOM,
}
AFTER_SWITCH_OFF = "run-on rattle"
WITH_FIRING = ("impacts with firing", AFTER_SWITCH_OFF)


def ways_of(family: ExpectedFamily) -> dict[str, float]:
    """Every way a mechanism shows, with the chance of its likeliest line or of its noise."""
    chance = {noise.noise: noise.probability for noise in family.noises}
    for line in family.lines:
        chance[line.shows_as] = max(chance.get(line.shows_as, 0.0), line.probability)
    return chance


def is_of_every_engine(drive: Drive, part: str) -> bool:
    """Whether a part is in every running engine and so none of the accessory drive."""
    return drive.knowledge.kinds[drive.parts[part].kind].everywhere


def class_of_way(drive: Drive, family: ExpectedFamily, way: str) -> SoundClass:
    """Class of one way in which a mechanism shows."""
    if way == "tones":
        return SoundClass.LAG if family.lags else SoundClass.TONES
    if way == "impacts":
        rows = {row.id for row in drive.knowledge.every_bearing}
        return SoundClass.BEARING if family.row_id in rows else SoundClass.TURN
    if way in WITH_FIRING:
        own = is_of_every_engine(drive, family.part)
        return SoundClass.ENGINE if own else SoundClass.RATTLE
    return _BY_WAY[way]


def classes_of(drive: Drive, family: ExpectedFamily) -> tuple[SoundClass, ...]:
    """All classes of a mechanism, that of its likeliest way first."""
    ways = ways_of(family)
    ranked = sorted(ways, key=lambda way: -ways[way])
    return tuple(dict.fromkeys(class_of_way(drive, family, way) for way in ranked))


def ways_in_class(
    drive: Drive, families: Sequence[ExpectedFamily], sound: SoundClass
) -> list[tuple[ExpectedFamily, str, float]]:
    """Every mechanism and way of a class that a running engine lets be heard, with its weight.

    The weight is the mechanism's prior in its part times the chance of the way.
    """
    return [
        (family, way, family.prior_weight * chance)
        for family in families
        for way, chance in ways_of(family).items()
        if way != AFTER_SWITCH_OFF and class_of_way(drive, family, way) == sound
    ]
