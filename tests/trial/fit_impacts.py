"""Work out again what knocks are worth as evidence for a rattle, and how often they are right.

    python tests/trial/fit_impacts.py [--scenes N] [--first N]

Scenes on the layouts for tuning: healthy, with a rattle in step with the firing, with one
in no step, with knocks in step with a shaft, and with growl or chirps; beside them every
second one of the optional phone recordings of ordinary engines. The weights are fitted on
every second of these layouts and counted on the others. The settings `firing` and `random`
of `acoustic.evidence.impact_findings.RattleSettings` are what it prints.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from fit_scenes import fault_showing, prepared
from random_layouts import layout_of_seed
from scenes import TUNING_LAYOUTS, trial_scenes
from scipy.optimize import minimize

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive, Engine
from acoustic.drive.layout_file import read_drive
from acoustic.evidence.chirps import find_chirps
from acoustic.evidence.impact_findings import (
    AT_RANDOM,
    WITH_FIRING,
    RattleFeatures,
    RattleSettings,
    RattleWeights,
    ln_ratio,
    rattle_features,
)
from acoustic.evidence.impacts import find_impacts
from acoustic.evidence.noises import NoiseSettings
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Recording
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import EngineSound, PlantedFault

ROOT = Path(__file__).resolve().parents[2]
CLIPS = ROOT.parent / "shared" / "data" / "engine_phone"
PHONE_LAYOUT = ROOT / "samples" / "layouts" / "front_four.toml"
LEVELS_DB = (-12.0, -9.0, -6.0, -3.0, 0.0, 3.0, 6.0)
KINDS = ("none", WITH_FIRING, AT_RANDOM, "impacts", "none", WITH_FIRING, AT_RANDOM, "other")
OTHER = ("roughness", "chirps", "hiss", "flutter")
# Sharp noises of sound engines, against the comb. [dB]
SHARP = ("injector_db", "diesel_knock_db", "fuel_pump_db")
SHARP_DB = (-20.0, -6.0)
# Share of each kind among what is there without the rattle, which a fit is to stand against.
WITHOUT = {"none": 0.4, "phone": 0.2, "impacts": 0.15, "other": 0.1, "the other rattle": 0.15}
RIDGE = 0.02


@dataclass(frozen=True, slots=True)
class Row:
    """One recording: what was planted, at which level and speed, and what was measured."""

    kind: str
    layout: int
    level_db: float
    true_db: float
    held: bool
    engine: Engine
    features: RattleFeatures


def measured(recording: Recording, drive: Drive, rpm: float | None) -> RattleFeatures | None:
    """Features of one recording, its speed heard as in a screening."""
    ready = prepared(recording, drive, rpm)
    if ready is None:
        return None
    swift, short = (
        short_time_spectrum(recording, ready.stretches, length, ready.highest_hz)
        for length in (NoiseSettings().swift_s, NoiseSettings().short_s)
    )
    train = find_impacts(
        recording,
        ready.stretches,
        ready.speed,
        drive.engine,
        ready.highest_hz,
        cries=find_chirps(short, swift, ready.speed),
    )
    return None if train is None else rattle_features(train, drive.engine)


def planted(drive: Drive, kind: str, level_db: float, number: int) -> PlantedFault | None:
    """Draw a mechanism of the drive that shows as wanted; None if it has none."""
    rng = np.random.default_rng([number, 77])
    wanted = OTHER[int(rng.integers(len(OTHER)))] if kind == "other" else kind
    # Of knocks only those in step with a shaft: balls slip, the envelope weighs races.
    return fault_showing(
        drive, wanted, level_db, rng, lambda f: wanted != "impacts" or f.own_tolerance == 0.0
    )


def engine_sound(usual: EngineSound, number: int) -> EngineSound:
    """Every second engine ticks or clatters sharply, as sound ones do."""
    rng = np.random.default_rng([number, 81])
    sharp = SHARP[int(rng.integers(len(SHARP)))]
    return replace(usual, **{sharp: SHARP_DB}) if rng.random() < 0.5 else usual


def made_rows(first: int, scenes: int) -> Iterator[Row]:
    """Measure idle and held recordings of many scenes on the layouts for tuning."""
    for number in range(first, first + scenes):
        layout = TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)]
        lap = number // len(TUNING_LAYOUTS)
        kind = KINDS[(number + lap) % len(KINDS)]
        drive = build_drive(layout_of_seed(layout))
        case = next(c for c in trial_scenes([layout], 10) if c.number == lap % 10)
        level_db = LEVELS_DB[int(np.random.default_rng(number).integers(len(LEVELS_DB)))]
        fault = None if kind == "none" else planted(drive, kind, level_db, number)
        if fault is None and kind != "none":
            continue
        # Every third scene is the held speed alone, so that its level is the one planted.
        held = number % 3 == 2
        conditions = (case.settings.conditions[1 if held else 0],)
        settings = replace(
            case.settings,
            faults=() if fault is None else (fault,),
            song=None,
            engine=engine_sound(case.settings.engine, number),
            conditions=conditions,
        )
        scene = make_scene(drive, settings, np.random.default_rng([number, 79]))
        features = measured(scene.recordings[0], drive, conditions[0].rpm)
        if features is not None:
            sounds = scene.truth.recordings[0].in_band
            true_db = sounds[0].level_db if sounds else float("-inf")
            yield Row(kind, layout, level_db, true_db, held, drive.engine, features)


def phone_rows(first: int) -> Iterator[Row]:
    """Every second phone recording, from the first or second; none where they are absent."""
    if not CLIPS.is_dir():
        return
    drive = read_drive(PHONE_LAYOUT)
    for number, path in enumerate(sorted(CLIPS.glob("*.flac"))[first::2]):
        features = measured(read_recording(path), drive, None)
        if features is not None:
            yield Row("phone", number, 0.0, float("-inf"), False, drive.engine, features)


def inputs(row: Row, noise: str, settings: RattleSettings) -> tuple[float, float]:
    """Rate and power that speak for a noise, as the finding takes them."""
    one = row.features
    if noise == WITH_FIRING:
        return float(np.log(one.in_step + settings.few)), one.power_in_step_db
    return float(np.log(one.in_no_step + settings.few)), one.power_in_no_step_db


def group(row: Row, noise: str) -> str:
    """Kind of a row as seen by the fit for one noise."""
    return row.kind if row.kind in (*WITHOUT, noise) else "the other rattle"


def fit(rows: Sequence[Row], noise: str, settings: RattleSettings) -> RattleWeights:
    """Logistic regression with both sides weighing alike, so that the logit is ln_ratio."""
    groups = [group(row, noise) for row in rows]
    count = Counter(groups)
    shares = {name: share for name, share in WITHOUT.items() if count[name]} | {noise: 1.0}
    total = sum(share for name, share in shares.items() if name != noise)
    weight = np.array([shares[g] / count[g] / (1.0 if g == noise else total) for g in groups])
    sign = np.array([1.0 if g == noise else -1.0 for g in groups])
    values = np.array([(1.0, *inputs(row, noise, settings)) for row in rows])
    values[:, 2] /= 10.0

    def cost(beta: np.ndarray) -> float:
        loss = np.sum(weight * np.logaddexp(0.0, -sign * (values @ beta)))
        return float(loss + RIDGE * np.sum(beta[1:] ** 2) / 2)

    best = minimize(cost, np.zeros(3), method="BFGS").x
    constant, rate, power = (float(value) for value in best)
    return RattleWeights(round(constant, 2), round(rate, 2), round(power / 10.0, 3))


def judged(row: Row, settings: RattleSettings) -> dict[str, float]:
    """ln_ratio of both noises."""
    one = row.features
    return {
        WITH_FIRING: ln_ratio(one.in_step, one.power_in_step_db, settings.firing, settings),
        AT_RANDOM: ln_ratio(one.in_no_step, one.power_in_no_step_db, settings.random, settings),
    }


def called(row: Row, settings: RattleSettings) -> str:
    """Which way a recording is called if its knocks alone decide."""
    ratios = judged(row, settings)
    best = max(ratios, key=lambda noise: ratios[noise])
    if ratios[best] > 0:
        return best
    turning = row.features.turning
    sure = turning.p_value < settings.significant and turning.vector_strength > 0.3
    return "impacts" if sure else "none"


def print_confusion(rows: Sequence[Row], settings: RattleSettings) -> None:
    """Counts of what was called, by what was planted and its level."""
    names = (WITH_FIRING, "impacts", AT_RANDOM, "none")
    print(f"{'planted':20} {'level':>12} {'speed':>5} " + " ".join(f"{n:>19}" for n in names))
    for kind in (WITH_FIRING, "impacts", AT_RANDOM, "other", "none", "phone"):
        levels = LEVELS_DB if kind in (WITH_FIRING, "impacts", AT_RANDOM) else (None,)
        for level in levels:
            for held in (False, True):
                some = [
                    row
                    for row in rows
                    if row.kind == kind and level in (None, row.level_db) and row.held == held
                ]
                if some:
                    count = Counter(called(row, settings) for row in some)
                    word = "" if level is None else f"{level:+.0f} dB"
                    figures = " ".join(f"{count[name]:19}" for name in names)
                    print(f"{kind:20} {word:>12} {'held' if held else 'idle':>5} {figures}")


def print_reliability(rows: Sequence[Row], settings: RattleSettings) -> None:
    """Observed against stated ln_ratio, each side weighing alike."""
    for noise in (WITH_FIRING, AT_RANDOM):
        value = np.array([judged(row, settings)[noise] for row in rows])
        there = np.array([row.kind == noise for row in rows])
        print(f"{noise}: stated ln_ratio, with and without, observed ln ratio of shares")
        for low, high in ((-9, -2), (-2, -1), (-1, 0), (0, 1), (1, 2), (2, 4), (4, 9)):
            inside = (value >= low) & (value < high)
            with_it, without = int(np.sum(inside & there)), int(np.sum(inside & ~there))
            ratio = (with_it + 0.5) / (there.sum() + 1) / ((without + 0.5) / (np.sum(~there) + 1))
            print(f"  {low:+d} to {high:+d}: {with_it:4} {without:4}  {np.log(ratio):+.1f}")


def main(argv: Sequence[str] | None = None) -> int:
    """Fit, then count on what was not fitted."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=720)
    parser.add_argument("--first", type=int, default=0, help="number of the first scene")
    options = parser.parse_args(argv)
    rows = list(made_rows(options.first, options.scenes))
    used = set(TUNING_LAYOUTS[::2])
    fitted = [row for row in rows if row.layout in used] + list(phone_rows(1))
    counted = [row for row in rows if row.layout not in used] + list(phone_rows(0))
    shipped = RattleSettings()
    fitted_now = replace(
        shipped, firing=fit(fitted, WITH_FIRING, shipped), random=fit(fitted, AT_RANDOM, shipped)
    )
    print(f"{len(fitted)} recordings fitted: {fitted_now.firing}, {fitted_now.random}")
    for word, settings in (("fitted now", fitted_now), ("as shipped", shipped)):
        print(f"\n{len(counted)} other recordings, weights {word}")
        print_confusion(counted, settings)
        print_reliability(counted, settings)
    return 0


if __name__ == "__main__":
    sys.exit(main())
