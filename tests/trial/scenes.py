"""Scenes for the trial: random drives, one planted fault or none, truth known.

A case is only a recipe (drive, settings, seed); `TrialCase.make` makes its sound. Cases
are the same for the same arguments. Layout seeds used for tuning and those reported are
kept apart here, once for all.

    python tests/trial/scenes.py        prints how the reported cases are made up
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from random_layouts import layout_of_seed

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.synthetic.scene import Scene, make_scene
from acoustic.synthetic.scene_settings import (
    Codec,
    Condition,
    HealthySong,
    Phone,
    PlantedFault,
    SceneSettings,
)

TUNING_LAYOUTS = (*range(1000, 1014), *range(3000, 3016))
REPORTED_LAYOUTS = tuple(range(2000, 2024))
HEALTHY_OF_NINE = 2  # of nine scenes of a layout, two have no fault
LEVEL_DB = (-6.0, 8.0)  # mean and sd of a planted family's tone-to-noise ratio, or level in band
LEVEL_LIMITS_DB = (-22.0, 10.0)
SINGING_SHARE = 0.7  # of healthy parts with natural lines, in scenes where parts sing
HELD_RPM = (1800.0, 2400.0)
CODECS = (
    ("opus", (24, 32, 48, 64)),
    ("aac", (64, 96, 128)),
    ("mp3", (64,)),
)


@dataclass(frozen=True, slots=True)
class TrialCase:
    """Recipe of one scene.

    `number` counts the scenes of one layout; `fault` is None for a healthy drive.
    """

    layout_seed: int
    number: int
    drive: Drive
    settings: SceneSettings
    fault: PlantedFault | None
    singing: bool

    def make(self) -> Scene:
        """Make the sound; always the same for the same case."""
        return make_scene(self.drive, self.settings, self._rng())

    def _rng(self) -> np.random.Generator:
        return np.random.default_rng([self.layout_seed, self.number, int(self.singing), 2])


def trial_scenes(
    layout_seeds: Iterable[int] = REPORTED_LAYOUTS,
    scenes_per_layout: int = 10,
    *,
    singing: bool = False,
    held: bool = True,
    reference: bool = False,
) -> Iterator[TrialCase]:
    """Lay out the cases of a trial.

    Parameters
    ----------
    layout_seeds : iterable of int
    scenes_per_layout : int
        Two of nine have no fault; every second one goes through a codec.
    singing : bool
        Healthy parts sing their natural lines 6 to 15 dB below the fault.
    held : bool
        A second recording at a held speed of 1800 to 2400 rpm.
    reference : bool
        A last recording at idle from when the same drive was healthy.
    """
    for layout_seed in layout_seeds:
        drive = build_drive(layout_of_seed(layout_seed))
        for number in range(scenes_per_layout):
            rng = np.random.default_rng([layout_seed, number, int(singing), 1])
            own = np.random.default_rng([layout_seed, number, int(singing), 3])
            fault, level_db = draw_fault(drive, rng)
            healthy = (2 * number + layout_seed) % 9 < HEALTHY_OF_NINE
            planted = None if healthy else fault
            settings = SceneSettings(
                conditions=draw_conditions(drive, rng, held=held, reference=reference),
                faults=() if planted is None else (planted, *draw_knocks(drive, planted, own)),
                song=HealthySong(SINGING_SHARE, fault_level_db=level_db) if singing else None,
                phone=draw_phone(number, rng),
            )
            yield TrialCase(layout_seed, number, drive, settings, planted, singing)


def draw_fault(drive: Drive, rng: np.random.Generator) -> tuple[PlantedFault, float]:
    """Draw a part, evenly, one of its mechanisms by prior weight, and its level."""
    by_part: dict[str, list[ExpectedFamily]] = {}
    for family in expected_families(drive):
        if family.tonal_lines and family.prior_weight > 0:
            by_part.setdefault(family.part, []).append(family)
    parts = sorted(by_part)
    families = by_part[parts[int(rng.integers(len(parts)))]]
    weights = np.array([family.prior_weight for family in families])
    family = families[int(rng.choice(len(families), p=weights / weights.sum()))]
    level = draw_level_db(rng)
    return PlantedFault(family.part, family.mechanism, level), level


def draw_knocks(
    drive: Drive, fault: PlantedFault, rng: np.random.Generator
) -> tuple[PlantedFault, ...]:
    """What a fault planted with its tones is heard by beside them, by the tables' chance.

    A spalled race knocks; that it makes pure tones as well is the rarer thing.
    """
    families = expected_families(drive)
    found = (f for f in families if (f.part, f.mechanism) == (fault.part, fault.mechanism))
    chance = max((line.probability for line in next(found).envelope_lines), default=0.0)
    level_db = draw_level_db(rng)
    if rng.uniform() >= chance:
        return ()
    return (replace(fault, level_db=level_db, shows_as="envelope"),)


def draw_level_db(rng: np.random.Generator) -> float:
    """Draw the level of a planted sound."""
    while True:
        level_db = float(rng.normal(*LEVEL_DB))
        if LEVEL_LIMITS_DB[0] <= level_db <= LEVEL_LIMITS_DB[1]:
            return level_db


def draw_conditions(
    drive: Drive, rng: np.random.Generator, *, held: bool, reference: bool
) -> tuple[Condition, ...]:
    """Idle for 20 to 25 s and, if wanted, a held speed and a healthy idle."""
    idle = Condition(
        name="idle",
        rpm=float(rng.uniform(*drive.engine.idle_rpm)),
        duration_s=float(round(rng.uniform(20.0, 25.0), 1)),
    )
    fast = Condition(name="held", rpm=float(rng.uniform(*HELD_RPM)), duration_s=20.0)
    before = replace(idle, name="reference", rpm=idle.rpm * float(rng.uniform(0.97, 1.03)))
    conditions = [idle]
    if held:
        conditions.append(fast)
    if reference:
        conditions.append(replace(before, healthy=True))
    return tuple(conditions)


def draw_phone(number: int, rng: np.random.Generator) -> Phone:
    """A phone with automatic gain; every second recording goes through a codec."""
    name, rates = CODECS[int(rng.choice(len(CODECS), p=(0.45, 0.4, 0.15)))]
    codec = Codec(name, int(rates[int(rng.integers(len(rates)))]))  # type: ignore[arg-type]
    return replace(Phone(), codec=codec if number % 2 else None)


def main() -> None:
    """Print how the reported cases are made up."""
    cases = list(trial_scenes())
    scenes = [case.make() for case in cases[:40]]
    faulty = [scene for scene in scenes if scene.truth.faults]
    idle = sum(bool(scene.truth.recordings[0].detectable()) for scene in faulty)
    both = sum(scene.truth.detectable for scene in faulty)
    components = [len(case.drive.layout.component) for case in cases[::10]]
    print(
        f"{len(cases)} cases on {len(components)} layouts of {min(components)} to "
        f"{max(components)} components; {sum(c.fault is None for c in cases)} healthy"
    )
    print(
        f"of the first {len(faulty)} faulty ones a planted line is detectable at idle in "
        f"{idle}, at either speed in {both}"
    )


if __name__ == "__main__":
    main()
