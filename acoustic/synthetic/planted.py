"""What a planted fault is heard by: its tones, its knocks, growl or cries, or its noise."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from acoustic.drive.drive import ExpectedFamily
from acoustic.errors import SettingsError
from acoustic.synthetic.scene_settings import PlantedFault

TONES = "tones"
ENVELOPE = ("impacts", "roughness", "bursts")
AFTER_SWITCH_OFF = "run-on rattle"  # heard only where the engine is switched off


def find_family(families: Iterable[ExpectedFamily], fault: PlantedFault) -> ExpectedFamily:
    """Find the family a fault is planted in.

    Raises
    ------
    SettingsError
        The drive has no such part, or no such mechanism in it.
    """
    by_name = {(family.part, family.mechanism): family for family in families}
    family = by_name.get((fault.part, fault.mechanism))
    if family is None:
        known = ", ".join(sorted(f"{part}: {name}" for part, name in by_name))
        raise SettingsError(
            f"The drive has no part {fault.part!r} with mechanism {fault.mechanism!r}. "
            f"It has {known}."
        )
    return family


def ways_to_show(family: ExpectedFamily) -> dict[str, tuple[str, ...]]:
    """Everything a mechanism is heard by, under the words a fault is planted with."""
    kinds = {line.shows_as for line in family.envelope_lines}
    ways = {
        "tones": (TONES,) if family.tonal_lines else (),
        "envelope": tuple(kind for kind in ENVELOPE if kind in kinds),
        "noise": tuple(noise.noise for noise in family.noises),
    }
    return {word: shown for word, shown in ways.items() if shown}


def shown_by(fault: PlantedFault, family: ExpectedFamily) -> tuple[str, ...]:
    """What a planted fault may be heard by: tones, kinds of envelope lines or noise ids.

    Raises
    ------
    SettingsError
        The mechanism does not show as the fault says.
    """
    ways = ways_to_show(family)
    if not fault.shows_as:
        return next(iter(ways.values()))
    closely = {kind: (kind,) for shown in ways.values() for kind in shown}
    if fault.shows_as not in {**closely, **ways}:
        known = ", ".join(dict.fromkeys([*ways, *closely]))
        raise SettingsError(
            f"{fault.part}: {fault.mechanism} does not show as {fault.shows_as!r}. "
            f"Plant it as one of {known}, or leave shows_as empty."
        )
    return {**closely, **ways}[fault.shows_as]


def choose_shown(
    fault: PlantedFault, family: ExpectedFamily, rng: np.random.Generator
) -> tuple[str, ...]:
    """Draw which of the things a mechanism may be heard by it is heard by, by their chance.

    One only, but for the rattle after switching off, which comes beside the others.
    """
    shown = shown_by(fault, family)
    chance = {noise.noise: noise.probability for noise in family.noises}
    for line in family.lines:
        chance[line.shows_as] = max(chance.get(line.shows_as, 0.0), line.probability)
    first = [kind for kind in shown if kind != AFTER_SWITCH_OFF] or list(shown)
    weights = np.array([chance[kind] for kind in first])
    chosen = first[int(rng.choice(len(first), p=weights / weights.sum()))]
    if AFTER_SWITCH_OFF in shown and chosen != AFTER_SWITCH_OFF:
        return (chosen, AFTER_SWITCH_OFF)
    return (chosen,)
