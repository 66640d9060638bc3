"""The random drives and scenes of the trial are what the trial says they are."""

import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from acoustic.drive.build import build_drive

TRIAL = Path(__file__).resolve().parents[1] / "trial"


@pytest.fixture(scope="module")
def trial() -> Iterator[tuple[ModuleType, ModuleType]]:
    """The two trial modules, imported as the trial commands import them."""
    sys.path.insert(0, str(TRIAL))
    import random_layouts
    import scenes

    yield random_layouts, scenes
    sys.path.remove(str(TRIAL))


def test_layouts_are_valid_and_varied(trial: tuple[ModuleType, ModuleType]) -> None:
    """All layouts of the trial build; between them they hold every build wanted."""
    layouts, scenes = trial
    seeds = [*scenes.TUNING_LAYOUTS, *scenes.REPORTED_LAYOUTS]
    all_layouts = [layouts.layout_of_seed(seed) for seed in seeds]
    drives = [build_drive(layout) for layout in all_layouts]
    assert all(4 <= len(layout.component) <= 12 for layout in all_layouts)
    assert {layout.engine.cylinders for layout in all_layouts} >= {3, 4, 5, 6, 8}
    assert {len(layout.belt) for layout in all_layouts} == {1, 2}
    rear = [
        layout for layout in all_layouts if any(s.name == "accessory shaft" for s in layout.shaft)
    ]
    assert 0.2 < len(rear) / len(all_layouts) < 0.7
    kinds = [s.driven_by.kind for layout in all_layouts for s in layout.shaft]
    assert {"gears", "coupling"} <= set(kinds)
    pulleys = [pulley for drive in drives for pulley in drive.pulleys.values()]
    assert {pulley.overrunning for pulley in pulleys} == {"no", "one-way", "decoupler"}
    measured = {pulley.measured for pulley in pulleys}
    assert {
        "drawing",
        "caliper over ribs",
        "tape round the belt",
        "flat back-side pulley",
    } <= measured
    estimated = sum(pulley.measured == "estimate" for pulley in pulleys)
    assert 0 < estimated < 0.15 * len(pulleys)


def test_tuning_and_reported_layouts_are_apart(trial: tuple[ModuleType, ModuleType]) -> None:
    """No seed in both; at least 20 layouts and 300 scenes can be reported."""
    _, scenes = trial
    assert not set(scenes.TUNING_LAYOUTS) & set(scenes.REPORTED_LAYOUTS)
    assert len(scenes.REPORTED_LAYOUTS) >= 20


def test_cases_are_made_up_as_stated(trial: tuple[ModuleType, ModuleType]) -> None:
    """20 to 25 % healthy, half through a codec, gain control on, level limits kept."""
    _, scenes = trial
    cases = list(scenes.trial_scenes(scenes.REPORTED_LAYOUTS[:6], 18, singing=True))
    assert len(cases) == 108
    assert 0.20 <= sum(case.fault is None for case in cases) / len(cases) <= 0.25
    assert sum(case.settings.phone.codec is not None for case in cases) == 54
    assert all(case.settings.phone.agc_s is not None for case in cases)
    levels = [case.fault.level_db for case in cases if case.fault is not None]
    low, high = scenes.LEVEL_LIMITS_DB
    assert low <= min(levels)
    assert max(levels) <= high
    for case in cases:
        idle, held = case.settings.conditions
        assert 20 <= idle.duration_s <= 25
        assert 1800 <= held.rpm <= 2400
        if case.fault is not None:
            assert case.fault.part in case.drive.parts


def test_a_case_makes_the_same_scene_twice(trial: tuple[ModuleType, ModuleType]) -> None:
    """Two listings, two makings: the same samples and truth."""
    _, scenes = trial
    first, again = (
        next(iter(scenes.trial_scenes((2001,), 1, held=False))).make() for _ in range(2)
    )
    assert np.array_equal(first.recordings[0].samples, again.recordings[0].samples)
    assert first.truth.recordings[0].lines == again.truth.recordings[0].lines
