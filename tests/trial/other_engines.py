"""Engines that fire unevenly, and two-strokes: does the whole chain work for them too?

    python tests/trial/other_engines.py              ten scenes of each, a few minutes
    python tests/trial/other_engines.py --given      the speeds told to 5 %, not heard
    python tests/trial/other_engines.py --scenes 4 --all
    python tests/trial/other_engines.py --speeds     only hears the speeds, in more noise too
    python tests/trial/other_engines.py --speeds --unstated    without the firing angles

The drives are those of the random layouts for tuning with another engine put in; scenes and
phones are drawn as for the trial, the faults at a level that is well heard. Every kind of
engine is shown beside evenly firing four-strokes on the same drives with the same faults.
Firing angles and idle speeds: common practice, no source.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from random_layouts import layout_of_seed
from scenes import (
    HEALTHY_OF_NINE,
    TUNING_LAYOUTS,
    TrialCase,
    draw_conditions,
    draw_fault,
    draw_phone,
)

from acoustic.drive.build import build_drive
from acoustic.drive.layout import Layout
from acoustic.listening import Clip
from acoustic.recording.speed_heard import hear_speed
from acoustic.recording.stretches import find_stretches
from acoustic.screening import screen
from acoustic.synthetic.scene_settings import SceneSettings

RIGHT_SPEED = 0.01
CLAIMED = 0.8
LEVEL_DB = 3.0
NOISES_DB = ((-8.0, -4.0), (-4.0, 0.0), (0.0, 4.0), (4.0, 8.0))  # re the engine
ENGINES: dict[str, dict[str, Any]] = {
    "even four": {"cylinders": 4, "idle_rpm": (720.0, 900.0)},
    "vee twin 270/450": {
        "cylinders": 2,
        "firing_angles_deg": [0.0, 270.0],
        "idle_rpm": (850.0, 1100.0),
    },
    "odd-fire vee six": {
        "cylinders": 6,
        "firing_angles_deg": [0.0, 90.0, 240.0, 330.0, 480.0, 570.0],
        "idle_rpm": (620.0, 780.0),
    },
    "twin 180/540": {
        "cylinders": 2,
        "firing_angles_deg": [0.0, 180.0],
        "idle_rpm": (1000.0, 1250.0),
    },
    "four 270/180/90/180": {
        "cylinders": 4,
        "firing_angles_deg": [0.0, 270.0, 450.0, 540.0],
        "idle_rpm": (1000.0, 1250.0),
    },
    "even twin": {"cylinders": 2, "idle_rpm": (850.0, 1100.0)},
    "single": {"cylinders": 1, "idle_rpm": (900.0, 1300.0)},
    "two-stroke single": {"cylinders": 1, "strokes": 2, "idle_rpm": (1100.0, 1500.0)},
    "two-stroke twin": {"cylinders": 2, "strokes": 2, "idle_rpm": (900.0, 1200.0)},
    "two-stroke three": {"cylinders": 3, "strokes": 2, "idle_rpm": (850.0, 1100.0)},
}


@dataclass(frozen=True, slots=True)
class EngineAnswer:
    """One scene of one engine judged.

    `speed_errors` are relative, one per recording; not a number where none was heard.
    """

    speed_errors: tuple[float, float]
    verdict: str
    first: str
    probability: float
    guilty: str

    @property
    def accused(self) -> bool:
        """Whether any part is called likely."""
        return self.probability > CLAIMED


def layout_with(engine: dict[str, Any], seed: int) -> Layout:
    """A random layout with this engine."""
    layout = layout_of_seed(seed).model_dump(by_alias=True, exclude_none=True)
    idle = engine["idle_rpm"]
    return Layout.model_validate({**layout, "engine": {**engine, "working_rpm": (idle[0], 3200.0)}})


def case_with(engine: dict[str, Any], seed: int, number: int) -> TrialCase:
    """A scene of this engine; its fault and phone hang on seed and number alone."""
    drive = build_drive(layout_with(engine, seed))
    fault, _ = draw_fault(drive, np.random.default_rng([seed, number, 11]))
    healthy = number % 9 < HEALTHY_OF_NINE
    planted = None if healthy else replace(fault, level_db=LEVEL_DB)
    rng = np.random.default_rng([seed, number, 12])
    settings = SceneSettings(
        conditions=draw_conditions(drive, rng, held=True, reference=False),
        faults=() if planted is None else (planted,),
        phone=draw_phone(number, rng),
    )
    return TrialCase(seed, number, drive, settings, planted, singing=False)


def judge_case(case: TrialCase, given: bool = False) -> EngineAnswer:
    """Make the scene, hear its speeds, screen both recordings together."""
    scene = case.make()
    speeds = [truth.speed.mean_rpm if given else None for truth in scene.truth.recordings]
    clips = [Clip(*pair) for pair in zip(scene.recordings, speeds, strict=True)]
    screening = screen(clips, case.drive)
    errors = tuple(
        one.speed.mean_rpm / truth.speed.mean_rpm - 1.0 if one.speed else float("nan")
        for one, truth in zip(screening.heard, scene.truth.recordings, strict=True)
    )
    guilty = case.fault.part if case.fault else ""
    top = screening.suspects[0] if screening.suspects else None
    return EngineAnswer(
        speed_errors=(errors[0], errors[1]),
        verdict=screening.verdict,
        first=top.part if top else "-",
        probability=top.probability if top else 0.0,
        guilty=guilty,
    )


def hear_case(case: TrialCase, unstated: bool = False) -> tuple[float, float]:
    """Relative errors of the two heard speeds, the noise by number; nan where refused."""
    noise_db = NOISES_DB[case.number % len(NOISES_DB)]
    around = replace(case.settings.surroundings, noise_db=noise_db)
    scene = replace(case, settings=replace(case.settings, surroundings=around)).make()
    engine = case.drive.engine
    if unstated:
        engine = replace(engine, firing_phases=(), odd_fire=False)
    errors = []
    for recording, truth in zip(scene.recordings, scene.truth.recordings, strict=True):
        heard = hear_speed(recording, find_stretches(recording), engine).trace
        errors.append(heard.mean_rpm / truth.speed.mean_rpm - 1 if heard else float("nan"))
    return errors[0], errors[1]


def speed_counts(errors: np.ndarray) -> str:
    """Right, wrong and not heard, at idle and held; `errors` has shape (scenes, 2)."""
    heard = np.isfinite(errors)
    right = np.abs(np.where(heard, errors, 1.0)) < RIGHT_SPEED
    return "  ".join(
        f"{right[:, k].sum():2}/{(heard & ~right)[:, k].sum():2}/{(~heard)[:, k].sum():2}"
        for k in (0, 1)
    )


def render(name: str, answers: Sequence[EngineAnswer]) -> str:
    """One line of the table."""
    errors = np.array([a.speed_errors for a in answers])
    faulty = [a for a in answers if a.guilty]
    healthy = [a for a in answers if not a.guilty]
    return (
        f"{name:20} {len(answers):4}   {speed_counts(errors)}"
        f"   {sum(a.first == a.guilty for a in faulty):3} of {len(faulty):2}"
        f"   {sum(a.accused and a.first == a.guilty for a in faulty):3}"
        f"   {sum(a.accused and a.first != a.guilty for a in faulty):3}"
        f"   {sum(a.accused for a in healthy):3} of {len(healthy)}"
    )


def hear_only(scenes: int, unstated: bool) -> None:
    """Print how the speeds are heard, engine by engine."""
    print("speed right/wrong/not heard at idle and held")
    for name, engine in ENGINES.items():
        cases = [
            case_with(engine, TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)], number)
            for number in range(scenes)
        ]
        errors = np.array([hear_case(case, unstated) for case in cases])
        print(f"{name:20} {scenes:4}   {speed_counts(errors)}", flush=True)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the scenes and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--given", action="store_true", help="tell the speeds to 5 %%")
    parser.add_argument("--all", action="store_true", help="a line per scene as well")
    parser.add_argument("--speeds", action="store_true", help="only hear the speeds")
    parser.add_argument("--unstated", action="store_true", help="then without firing angles")
    options = parser.parse_args(argv)
    if options.speeds:
        hear_only(options.scenes, options.unstated)
        return 0
    print("speed right/wrong/not heard at idle and held; P(faulty) above 0.8 counts as accused")
    print(
        "engine             scenes   idle      held       faulty first  right wrong"
        "  healthy accused"
    )
    for name, engine in ENGINES.items():
        answers = []
        for number in range(options.scenes):
            case = case_with(engine, TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)], number)
            answers.append(judge_case(case, options.given))
            if options.all:
                print("   ", number, answers[-1], flush=True)
        print(render(name, answers), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
