"""How often knocks come once an engine stands, with and without a rattle that runs on.

    python tests/trial/fit_run_down.py [--scenes N]

Scenes on the layouts for tuning in which the engine is switched off; every second one has
a rattle that runs on. The settings `healthy_rate` and `rattle_rate` of
`acoustic.evidence.run_down.RunDownSettings` are what it prints for the even layouts; the
odd ones are counted.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from random_layouts import layout_of_seed
from scenes import TUNING_LAYOUTS, trial_scenes
from scipy.optimize import minimize
from scipy.stats import nbinom

from acoustic.drive.build import build_drive
from acoustic.drive.expected import expected_families
from acoustic.evidence.run_down import RUN_ON, RunDown, find_run_down, run_on_finding
from acoustic.recording.quality import codec_cutoff_hz
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault

LEVELS_DB = (-6.0, 0.0, 6.0, 12.0)
LENGTH_S, LEFT_S = 12.0, 6.0
# Rates scatter from engine to engine at least as much as a gamma law of this shape says, and
# a yard is not as quiet as a made one (steps, doors, metal that cools): judgement.
MOST_ALIKE = 1.0
LEAST_RATE = 0.3


@dataclass(frozen=True, slots=True)
class Row:
    """One recording: whether it rattles on, at which level, and what was found."""

    layout: int
    level_db: float | None
    stopped_s: float
    found: RunDown | None


def made_rows(scenes: int) -> Iterator[Row]:
    """Make engines that are switched off, every second with a rattle that runs on."""
    for number in range(scenes):
        layout = TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)]
        lap = number // len(TUNING_LAYOUTS)
        drive = build_drive(layout_of_seed(layout))
        case = next(c for c in trial_scenes([layout], 10) if c.number == lap % 10)
        rng = np.random.default_rng([number, 83])
        faults: tuple[PlantedFault, ...] = ()
        if (number + lap) % 2:
            able = [
                family
                for family in expected_families(drive)
                if any(noise.noise == RUN_ON for noise in family.noises)
            ]
            if not able:
                continue
            family = able[int(rng.integers(len(able)))]
            level_db = float(LEVELS_DB[int(rng.integers(len(LEVELS_DB)))])
            faults = (PlantedFault(family.part, family.mechanism, level_db, RUN_ON),)
        rpm = case.settings.conditions[0].rpm
        off = Condition("switched off", rpm=rpm, duration_s=LENGTH_S, switch_off_s=LEFT_S)
        settings = replace(case.settings, faults=faults, song=None, conditions=(off,))
        (recording,) = make_scene(drive, settings, np.random.default_rng([number, 85])).recordings
        highest_hz = 0.9 * (codec_cutoff_hz(recording) or recording.sample_rate_hz / 2)
        level = faults[0].level_db if faults else None
        yield Row(layout, level, LENGTH_S - LEFT_S, find_run_down(recording, highest_hz))


def fit(rows: Sequence[Row]) -> tuple[float, float]:
    """Rate [1/s] and shape of the negative binomial law that fits best."""
    found = [row.found for row in rows if row.found is not None]
    count = np.array([one.times_s.size for one in found])
    looked = np.array([one.looked_s for one in found])

    def cost(log_values: np.ndarray) -> float:
        rate, shape = np.exp(log_values)
        rate, shape = max(rate, LEAST_RATE), min(shape, MOST_ALIKE)
        return -float(np.sum(nbinom.logpmf(count, shape, shape / (shape + looked * rate))))

    rate, shape = np.exp(minimize(cost, np.log([1.0, 1.0]), method="Nelder-Mead").x)
    return round(float(max(rate, LEAST_RATE)), 2), round(float(min(shape, MOST_ALIKE)), 2)


def main(argv: Sequence[str] | None = None) -> int:
    """Fit on every second layout, count on the others."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=240)
    options = parser.parse_args(argv)
    rows = list(made_rows(options.scenes))
    used = set(TUNING_LAYOUTS[::2])
    fitted = [row for row in rows if row.layout in used]
    healthy = fit([row for row in fitted if row.level_db is None])
    rattle = fit([row for row in fitted if row.level_db is not None])
    print(f"healthy_rate {healthy}, rattle_rate {rattle}")
    print("level    scenes  stop found  within 0.3 s  knocks (median)  ratio > 0  > 2")
    for level_db in (None, *LEVELS_DB):
        some = [row for row in rows if row.level_db == level_db and row.layout not in used]
        found = [row for row in some if row.found is not None]
        off = [abs(row.found.stopped_s - row.stopped_s) for row in found if row.found]
        ratios = [run_on_finding(row.found).ln_ratio for row in found]
        knocks = np.median([row.found.times_s.size for row in found if row.found] or [0])
        word = "healthy" if level_db is None else f"{level_db:+.0f} dB"
        print(
            f"{word:8} {len(some):6} {len(found):11} {sum(o < 0.3 for o in off):13}"
            f" {knocks:16.0f} {sum(r > 0 for r in ratios):10} {sum(r > 2 for r in ratios):4}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
