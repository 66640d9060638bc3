"""Count how often cries keep step with the mechanism that makes them, and with one that does not.

    python tests/trial/count_cry_steps.py [--scenes N]

Scenes on the layouts for tuning: cries once a turn, chirps in no step, knocks, other noises
and none. The ratio of `acoustic.verdict.cry_steps.CryStepSettings` is the share of recordings
with plain cries once a turn in which they keep step with their own mechanism, over that of
recordings with other cries in which they seem to keep step with anything; and `most_per_s` is
where the first share breaks down.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from fit_scenes import fault_showing, prepared
from random_layouts import layout_of_seed
from scenes import TUNING_LAYOUTS, trial_scenes

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.evidence.chirps import ChirpTrain, find_chirps
from acoustic.evidence.noises import NoiseSettings
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.recording.recording import Recording
from acoustic.synthetic.scene import make_scene
from acoustic.verdict.claims import CRIES
from acoustic.verdict.cry_steps import CryStepSettings, cries_in_step
from acoustic.verdict.drive_sources import sources_of

KINDS = (CRIES, "impacts", "chirps", "none", CRIES, "impacts", CRIES, "other")
OTHER = ("impacts with firing", "impacts at random", "roughness", "squeal", "tones")
LEVELS_DB = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0)


@dataclass(frozen=True, slots=True)
class Row:
    """One recording: what was planted, how often it cries, and what cries kept step with.

    `in_step` holds parts and mechanisms; it is None where no cries were found.
    """

    shows_as: str
    fault: tuple[str, str]
    level_db: float
    per_s: float
    in_step: frozenset[tuple[str, str]] | None


def steps_of(
    recording: Recording, drive: Drive, rpm: float | None
) -> tuple[float, frozenset[tuple[str, str]] | None] | None:
    """Speed of the crankshaft, and what the cries keep step with; None if it is not heard."""
    ready = prepared(recording, drive, rpm)
    if ready is None:
        return None
    settings = NoiseSettings()
    swift, short = (
        short_time_spectrum(recording, ready.stretches, length, min(ready.highest_hz, most_hz))
        for length, most_hz in (
            (settings.swift_s, settings.hiss.high_hz[1]),
            (settings.short_s, 7000.0),
        )
    )
    train = find_chirps(short, swift, ready.speed)
    speed_hz = float(np.mean(ready.speed.at(np.arange(1.0, recording.duration_s - 1.0))))
    return speed_hz, None if train is None else _in_step(drive, train, ready.speed.uncertainty)


def _in_step(drive: Drive, train: ChirpTrain, speed_sd: float) -> frozenset[tuple[str, str]]:
    sources = sources_of(drive, expected_families(drive), speed_sd)
    turning = (sources.groups, sources.belts)
    found = cries_in_step(drive.engine, sources.voices, turning, [train], CryStepSettings())
    families = [family for v in found if (family := sources.voices[v].family)]
    return frozenset((family.part, family.mechanism) for family in families)


def made_rows(scenes: int) -> Iterator[Row]:
    """Idle and held recordings on the layouts for tuning."""
    for number in range(scenes):
        layout, lap = TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)], number // len(TUNING_LAYOUTS)
        kind = KINDS[(number + lap) % len(KINDS)]
        drive = build_drive(layout_of_seed(layout))
        case = next(c for c in trial_scenes([layout], 10) if c.number == lap % 10)
        rng = np.random.default_rng([number, 181])
        level_db = LEVELS_DB[int(rng.integers(len(LEVELS_DB)))]
        wanted = OTHER[int(rng.integers(len(OTHER)))] if kind == "other" else kind
        fault = None if kind == "none" else fault_showing(drive, wanted, level_db, rng)
        if fault is None and kind != "none":
            continue
        condition = case.settings.conditions[number % 2]
        faults = () if fault is None else (fault,)
        settings = replace(case.settings, faults=faults, song=None, conditions=(condition,))
        scene = make_scene(drive, settings, np.random.default_rng([number, 183]))
        found = steps_of(scene.recordings[0], drive, condition.rpm)
        if found is None:
            continue
        orders = [sound.order or 0.0 for sound in scene.truth.recordings[0].in_band]
        named = (fault.part, fault.mechanism) if fault else ("", "")
        per_s = found[0] * max(orders, default=0.0)
        yield Row(fault.shows_as if fault else "none", named, level_db, per_s, found[1])


def render(rows: Sequence[Row], most_per_s: float) -> str:
    """Counts of recordings: in all, with cries, in step with their own, with others alone."""
    counts: dict[str, Counter[str]] = {}
    for row in rows:
        name = row.shows_as
        if name == CRIES:
            name += ", slow" if row.per_s < most_per_s else ", fast"
            name += ", plain" if row.level_db >= 0.0 else ", faint"
        one = counts.setdefault(name, Counter())
        one["all"] += 1
        one["cries"] += row.in_step is not None
        one["own"] += row.fault in (row.in_step or ())
        one["other"] += bool(row.in_step) and row.fault not in (row.in_step or ())
    head = f"{'':24}recordings  cries found  in step with their own  with others alone"
    return "\n".join(
        [head]
        + [
            f"{name:24}{one['all']:10}{one['cries']:13}{one['own']:24}{one['other']:19}"
            for name, one in sorted(counts.items())
        ]
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Make, listen, count and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=400)
    options = parser.parse_args(argv)
    print(render(list(made_rows(options.scenes)), CryStepSettings().most_per_s))
    return 0


if __name__ == "__main__":
    sys.exit(main())
