"""Cases for the trial of all noises: every class of sound about equally often.

A case is only a recipe (class, layout, number); the same recipe always makes the same
sound. Of every class, half are planted at 0 to +8 dB in band and half below; every second
case goes through a codec and every second pair has a held speed beside idle; in a third the
healthy parts sing. A quarter of all cases are healthy drives: half of them with singing
parts, and half with one of the sharp noises of a sound engine.

    python tests/trial/noise_cases.py        prints how the reported cases are made up
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from random_layouts import layout_of_seed
from scenes import REPORTED_LAYOUTS, SINGING_SHARE, draw_conditions, draw_phone
from sound_classes import SoundClass, ways_in_class

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.synthetic.scene import Scene, make_scene
from acoustic.synthetic.scene_settings import (
    EngineSound,
    HealthySong,
    PlantedFault,
    SceneSettings,
)

LOUD_DB, FAINT_DB = (0.0, 8.0), (-10.0, 0.0)
HEALTHY_SHARE = 0.25
SHARP = ("injector_db", "diesel_knock_db", "fuel_pump_db")
SHARP_DB = (-16.0, -6.0)  # against the comb; a loud injector stands at -6
HEALTHY = "healthy"


@dataclass(frozen=True, slots=True)
class NoiseRecipe:
    """Which case: small enough to send to another process; `sound` is None if healthy."""

    sound: SoundClass | None
    layout_seed: int
    number: int

    @property
    def name(self) -> str:
        """Name of the case, fit for a file."""
        return f"{self.sound or HEALTHY}_{self.number:03}_{self.layout_seed}"

    def rng(self, purpose: int) -> np.random.Generator:
        """Random numbers of this case for one purpose."""
        place = list(SoundClass).index(self.sound) if self.sound else len(SoundClass)
        return np.random.default_rng([self.layout_seed, place, self.number, purpose, 91])


@dataclass(frozen=True, slots=True)
class NoiseCase:
    """A case laid out: the drive, what is in the scene, and the planted fault or None."""

    recipe: NoiseRecipe
    drive: Drive
    settings: SceneSettings
    fault: PlantedFault | None

    def make(self) -> Scene:
        """Make the sound; always the same for the same case."""
        return make_scene(self.drive, self.settings, self.recipe.rng(2))


@cache
def drive_of(layout_seed: int) -> Drive:
    """The drive of a layout, built once per process."""
    return build_drive(layout_of_seed(layout_seed))


def noise_recipes(layouts: Sequence[int], per_class: int) -> Iterator[NoiseRecipe]:
    """Lay out the cases: `per_class` of every class that a layout can have, and healthy ones."""
    count = 0
    for place, sound in enumerate(SoundClass):
        able = [
            seed
            for seed in layouts
            if ways_in_class(drive_of(seed), expected_families(drive_of(seed)), sound)
        ]
        for recipe in _spread(sound, able, per_class if able else 0, place):
            count += 1
            yield recipe
    healthy = round(count * HEALTHY_SHARE / (1.0 - HEALTHY_SHARE))
    yield from _spread(None, layouts, healthy, len(SoundClass))


def _spread(
    sound: SoundClass | None, layouts: Sequence[int], count: int, place: int
) -> Iterator[NoiseRecipe]:
    """Spread cases over the layouts, each as often as another, in an order of chance."""
    order = np.random.default_rng([place, 92]).permutation(len(layouts))
    for number in range(count):
        yield NoiseRecipe(sound, layouts[int(order[number % len(order)])], number)


def case_of(recipe: NoiseRecipe) -> NoiseCase:
    """Lay out one case."""
    drive, rng, number = drive_of(recipe.layout_seed), recipe.rng(1), recipe.number
    fault = draw_noise_fault(drive, recipe.sound, number, rng) if recipe.sound else None
    held = bool((number // 2) % 2)
    settings = SceneSettings(
        conditions=draw_conditions(drive, rng, held=held, reference=False),
        faults=() if fault is None else (fault,),
        song=HealthySong(SINGING_SHARE) if _sings(recipe) else None,
        engine=_engine(recipe, rng),
        phone=draw_phone(number, rng),
    )
    return NoiseCase(recipe, drive, settings, fault)


def draw_noise_fault(
    drive: Drive, sound: SoundClass, number: int, rng: np.random.Generator
) -> PlantedFault:
    """Draw a part that can sound so, evenly, then mechanism and way by weight, and a level."""
    ways = ways_in_class(drive, expected_families(drive), sound)
    parts = sorted({family.part for family, _, _ in ways})
    part = parts[int(rng.integers(len(parts)))]
    own = [one for one in ways if one[0].part == part]
    weights = np.array([weight for _, _, weight in own])
    family, way, _ = own[int(rng.choice(len(own), p=weights / weights.sum()))]
    # Four in a row hold both levels with and without codec and held speed, eight all pairs.
    loud = (number + number // 4) % 2 == 0
    level_db = float(rng.uniform(*(LOUD_DB if loud else FAINT_DB)))
    return PlantedFault(part, family.mechanism, level_db, way)


def _sings(recipe: NoiseRecipe) -> bool:
    if recipe.sound is None:
        return bool((recipe.number // 4) % 2)
    return recipe.number % 3 == 2


def _engine(recipe: NoiseRecipe, rng: np.random.Generator) -> EngineSound:
    """The engine; every second healthy one has one of its sharp noises, loud or not."""
    engine = EngineSound()
    if recipe.sound is not None or not (recipe.number // 8) % 2:
        return engine
    sharp = SHARP[int(rng.integers(len(SHARP)))]
    return replace(engine, **{sharp: SHARP_DB})


def main() -> None:
    """Print how the reported cases are made up."""
    recipes = list(noise_recipes(REPORTED_LAYOUTS, 24))
    counts = Counter(recipe.sound or HEALTHY for recipe in recipes)
    layouts = {recipe.layout_seed for recipe in recipes}
    print(f"{len(recipes)} cases on {len(layouts)} layouts:")
    for sound, count in counts.items():
        seeds = {recipe.layout_seed for recipe in recipes if (recipe.sound or HEALTHY) == sound}
        print(f"  {sound:8} {count:4} on {len(seeds):3} layouts")


if __name__ == "__main__":
    main()
