"""Work out again what chirps, squeal, hiss, uneven firing and flutter are worth as evidence.

    python tests/trial/fit_noises.py [--scenes N]

Scenes on the layouts for tuning, healthy and with every mechanism that shows otherwise
than by tones alone; beside them every second one of the optional phone recordings of
ordinary engines, as they are and with each noise laid over them at a stated level. The
weights of the settings in `acoustic.evidence.noises.NoiseSettings` are what it prints: a
logistic regression with both sets given equal weight, and of those without the noise half
the weight to made scenes and half to phone recordings. The phone recordings not used are
only counted.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soxr
from fit_scenes import fault_showing, prepared
from numpy.typing import NDArray
from random_layouts import layout_of_seed
from scenes import TUNING_LAYOUTS, trial_scenes
from scipy.optimize import minimize

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import read_drive
from acoustic.errors import SpeedError
from acoustic.evidence.chirps import chirp_figure, find_chirps
from acoustic.evidence.flutter import FlutterSettings, find_flutter, flutter_ln_ratio
from acoustic.evidence.hiss import high_band, hiss_figures
from acoustic.evidence.impacts import band_trains, share_in_cries
from acoustic.evidence.noises import NoiseSettings
from acoustic.evidence.order_spectrum import track_orders
from acoustic.evidence.short_time import short_time_spectrum
from acoustic.evidence.squeal import SquealSettings, find_squeal
from acoustic.evidence.uneven_firing import Unevenness, find_unevenness, uneven_ln_ratio
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Recording
from acoustic.synthetic.crank_speed import scene_clock, turn_crank
from acoustic.synthetic.critical_band import BandPower
from acoustic.synthetic.noises import make_noise
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault

ROOT = Path(__file__).resolve().parents[2]
CLIPS = ROOT.parent / "shared" / "data" / "engine_phone"
PHONE_LAYOUT = ROOT / "samples" / "layouts" / "front_four.toml"
NOISES = ("chirps", "squeal", "hiss", "uneven firing", "flutter")
LEVELS_DB = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0)
# What else may sound: it must not be taken for one of the noises above.
OTHER = ("tones", "impacts", "roughness", "impacts with firing", "impacts at random")
KINDS = ("none", *NOISES, "other", "none", *NOISES, "other", "bursts")
ONE_WEAK, ALL_AT_TIMES = "misfire, one cylinder", "misfire, all cylinders"
# Where the first figure is not above this nothing was found; a straight line knows no
# "nothing", so that is counted by itself. Nothing at all of a squeal is taken for its least.
NOTHING = {"chirps": 0.0, "flutter": FlutterSettings().least_excess_db}
LEAST_SQUEAL_DB = SquealSettings().least_figure_db
LEAST_PLANTED_DB = -3.0  # what is fainter is neither asked for nor counted as absent
CLAIMED = 3.0
RIDGE = 0.0003


@dataclass(frozen=True, slots=True)
class Row:
    """One recording: what was planted, how loud, where, and the figures of each noise."""

    kind: str
    source: str
    number: int
    level_db: float
    figures: dict[str, tuple[float, ...]]
    mechanism: str = ""


def figures(recording: Recording, drive: Drive, rpm: float | None) -> dict[str, tuple[float, ...]]:
    """Figures of every noise, as the findings take them; empty where the speed is unknown."""
    ready = prepared(recording, drive, rpm)
    if ready is None:
        return {}
    sound, speed, highest_hz = (recording, ready.stretches), ready.speed, ready.highest_hz
    try:
        orders = track_orders(*sound, speed, drive.engine, highest_hz)
    except SpeedError:
        return {}
    settings = NoiseSettings()
    swift, short, lasting = (
        short_time_spectrum(*sound, length, highest_hz)
        for length in (settings.swift_s, settings.short_s, settings.long_s)
    )
    train, squeal = find_chirps(short, swift, speed), find_squeal(lasting, speed)
    trains = band_trains(*sound, speed, drive.engine, highest_hz, cries=train)
    chirps_db = chirp_figure(train, share_in_cries(trains, train)) if train else -99.0
    band, flutter = high_band(swift), find_flutter(swift, speed, drive.engine)
    uneven = find_unevenness(swift, orders, speed, drive.engine)
    found: dict[str, tuple[float, ...]] = {
        "chirps": (max(NOTHING["chirps"], chirps_db),),
        "squeal": (max(LEAST_SQUEAL_DB, squeal.figure if squeal else -99.0),),
    }
    if band is not None:
        found["hiss"] = hiss_figures(band, settings.hiss)
    if uneven is not None:
        gap, disagreement = uneven.gap, uneven.disagreement
        told = (np.nan, np.nan) if gap is None or disagreement is None else (gap, disagreement)
        found["uneven firing"] = (*told, uneven.shortfall_db)
    if flutter is not None:
        found["flutter"] = (flutter.excess_db, flutter.turning)
    return found


def planted(drive: Drive, kind: str, level_db: float, number: int) -> PlantedFault | None:
    """Draw a mechanism of the drive that shows as wanted; None if it has none."""
    rng = np.random.default_rng([number, 81])
    wanted = OTHER[int(rng.integers(len(OTHER)))] if kind == "other" else kind
    return fault_showing(drive, wanted, level_db, rng)


def made_rows(scenes: int) -> Iterator[Row]:
    """Idle and held recordings on the layouts for tuning."""
    for number in range(scenes):
        layout = TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)]
        lap = number // len(TUNING_LAYOUTS)
        kind = KINDS[(number + lap) % len(KINDS)]
        drive = build_drive(layout_of_seed(layout))
        case = next(c for c in trial_scenes([layout], 10) if c.number == lap % 10)
        level_db = LEVELS_DB[int(np.random.default_rng(number).integers(len(LEVELS_DB)))]
        fault = None if kind == "none" else planted(drive, kind, level_db, number)
        if fault is None and kind != "none":
            continue
        condition = case.settings.conditions[number % 2]
        faults = () if fault is None else (fault,)
        settings = replace(case.settings, faults=faults, song=None, conditions=(condition,))
        scene = make_scene(drive, settings, np.random.default_rng([number, 83]))
        found = figures(scene.recordings[0], drive, condition.rpm)
        if found:
            shown = kind if fault is None else fault.shows_as
            mechanism = "" if fault is None else fault.mechanism
            yield Row(shown, condition.name, number, level_db, found, mechanism)


def phone_rows(first: int, *, laid_over: bool) -> Iterator[Row]:
    """Every second phone recording; with each noise laid over it as well if wanted."""
    if not CLIPS.is_dir():
        return
    drive = read_drive(PHONE_LAYOUT)
    for number, path in enumerate(sorted(CLIPS.glob("*.flac"))[first::2]):
        recording = read_recording(path)
        found = figures(recording, drive, None)
        if found:
            yield Row("none", "phone", number, float("-inf"), found)
        for kind in NOISES if laid_over and found else ():
            # Uneven firing is no sound laid over the engine's.
            for turn, level_db in enumerate((-6.0, 0.0, 6.0) if kind != "uneven firing" else ()):
                seed = [number, NOISES.index(kind), turn, 85]
                sound = laid(recording, drive, kind, level_db, np.random.default_rng(seed))
                again = figures(sound, drive, None)
                if again:
                    yield Row(kind, "phone", number, level_db, again)


def laid(
    recording: Recording, drive: Drive, kind: str, level_db: float, rng: np.random.Generator
) -> Recording:
    """Lay a made noise over a recording, at a level in its band."""
    rpm = float(rng.uniform(*drive.engine.idle_rpm))
    condition = Condition(rpm=rpm, duration_s=max(1.0, recording.duration_s + 0.1))
    clock = scene_clock(condition.duration_s, 48000)
    crank = turn_crank(condition, drive.engine, clock, (0.0, 0.005), rng)
    made, low_hz, high_hz = make_noise(drive, crank, kind, rng)
    noise = soxr.resample(
        np.asarray(made[clock.first :], np.float32), 48000, recording.sample_rate_hz
    )
    noise = noise[: recording.samples.size]
    powers = [
        BandPower(
            np.fft.rfft(one).astype(np.complex64), one.size, recording.sample_rate_hz
        ).between(low_hz, high_hz)
        for one in (recording.samples, noise)
    ]
    gain = np.sqrt(powers[0] / max(powers[1], 1e-30) * 10 ** (level_db / 10))
    mixed = recording.samples + np.float32(gain) * noise
    return replace(recording, samples=(mixed / max(1.0, np.abs(mixed).max())).astype(np.float32))


@dataclass(frozen=True, slots=True)
class Question:
    """One fit: the noise, which of its figures, and which mechanism alone if not any."""

    noise: str
    columns: tuple[int, ...]
    mechanism: str = ""

    def asks(self, row: Row) -> bool:
        """Whether the row holds what is asked for; cries in step with a belt are chirps."""
        chirps = self.noise == "chirps" and row.kind == "bursts"
        return (row.kind == self.noise or chirps) and self.mechanism in ("", row.mechanism)

    def inputs(self, row: Row) -> NDArray[np.float64]:
        """One and the figures."""
        return np.array([1.0, *(row.figures[self.noise][c] for c in self.columns)])

    def fits(self, row: Row) -> bool:
        """Whether a row is used: measured, and with the noise plain enough or without it."""
        absent = row.kind != self.noise and not self.asks(row)
        return (
            self.noise in row.figures
            and bool(np.isfinite(self.inputs(row)).all())
            and (absent or (self.asks(row) and row.level_db >= LEAST_PLANTED_DB))
        )


QUESTIONS = (
    Question("chirps", (0,)),
    Question("squeal", (0,)),
    Question("hiss", (0, 1)),
    Question("uneven firing", (0, 1), ONE_WEAK),
    Question("uneven firing", (2,), ALL_AT_TIMES),
    Question("flutter", (0, 1)),
)


def weights_of(rows: Sequence[Row], there: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Both sides summing to 1, and equal parts of each to its sources and kinds."""
    phone = np.array([row.source == "phone" for row in rows])
    other = np.array([row.kind != "none" for row in rows]) & ~there
    plain = ~there & ~other
    weight = np.zeros(len(rows))
    for part in (there & phone, there & ~phone, plain & phone, plain & ~phone, other):
        if part.any():
            weight[part] = 1.0 / part.sum()
    weight[there] /= weight[there].sum()
    weight[~there] /= weight[~there].sum()
    return weight


def fitted(rows: Sequence[Row], question: Question) -> tuple[float, NDArray[np.float64]]:
    """Weight of nothing found, and constant and slopes of the regression where something was.

    The shares in which something was found stay in the weights, so that the constant holds
    their ratio.
    """
    rows = [row for row in rows if question.fits(row)]
    there = np.array([question.asks(row) for row in rows])
    weight = weights_of(rows, there)
    inputs = np.array([question.inputs(row) for row in rows])
    found = inputs[:, 1] > NOTHING.get(question.noise, -np.inf)
    few = 1.0 / len(rows)
    nothing = np.log((weight[there & ~found].sum() + few) / (weight[~there & ~found].sum() + few))
    inputs, weight, sign = inputs[found], weight[found], np.where(there[found], 1.0, -1.0)
    middle, spread = inputs[:, 1:].mean(axis=0), inputs[:, 1:].std(axis=0) + 1e-9
    scaled = np.hstack([inputs[:, :1], (inputs[:, 1:] - middle) / spread])

    def cost(values: NDArray[np.float64]) -> float:
        loss = np.logaddexp(0.0, -sign * (scaled @ values))
        return float(np.sum(weight * loss) + RIDGE * np.sum(values[1:] ** 2))

    best = minimize(cost, np.zeros(inputs.shape[1])).x
    slopes = best[1:] / spread
    return float(nothing), np.concatenate([[best[0] - slopes @ middle], slopes])


def given(row: Row, settings: NoiseSettings) -> dict[str, float]:
    """What the settings as they stand make of a row. [nat]"""
    one: dict[str, float] = {}
    for noise, weighing in (
        ("chirps", settings.chirps.weighing),
        ("squeal", settings.squeal.weighing),
    ):
        one[noise] = weighing.ln_ratio(row.figures[noise][0])
    if "hiss" in row.figures:
        quiet_db, ln_unevenness = row.figures["hiss"]
        figure = quiet_db - settings.hiss.evenness_db * ln_unevenness
        one["hiss"] = settings.hiss.weighing.ln_ratio(figure)
    if "uneven firing" in row.figures:
        gap, disagreement, shortfall_db = row.figures["uneven firing"]
        told = (None, None) if np.isnan(gap) else (gap, disagreement)
        unevenness = Unevenness(*told, shortfall_db, scatter_db=0.0, half_db=None)
        one["uneven firing"] = uneven_ln_ratio(unevenness, settings.uneven)
    if "flutter" in row.figures:
        excess_db, turning = row.figures["flutter"]
        one["flutter"] = flutter_ln_ratio(excess_db, turning, settings.flutter)
    return one


def render_counts(rows: Sequence[Row], unused: Sequence[Row], noise: str) -> str:
    """How often the settings as they stand give more than `CLAIMED` nats, by level and kind."""
    settings, question = NoiseSettings(), Question(noise, ())
    lines = [f"{noise}: share above {CLAIMED:g} nats, and mean weight"]
    for source in ("idle", "held", "phone"):
        words = []
        for level in LEVELS_DB:
            members = [r for r in rows if question.asks(r) and r.level_db == level]
            one = _weights([r for r in members if r.source == source], noise, settings)
            if one.size:
                words.append(f"{level:+.0f} dB {np.mean(one > CLAIMED):.2f} ({one.size})")
        lines.append(f"  {source:6} " + "  ".join(words))
    made = [row for row in rows if row.source != "phone"]
    kinds = sorted({row.kind for row in made if not question.asks(row)})
    groups = [(kind, [row for row in made if row.kind == kind]) for kind in kinds]
    phone = [row for row in rows if (row.source, row.kind) == ("phone", "none")]
    groups += [("phone, fitted", phone), ("phone, not used", list(unused))]
    for name, members in groups:
        one = _weights(members, noise, settings)
        if one.size:
            lines.append(
                f"  without, {name:20} {np.mean(one > CLAIMED):.3f} of {one.size:3}, highest "
                f"{one.max():+.1f}, mean of exp {np.mean(np.exp(one)):.2f}"
            )
    return "\n".join(lines)


def _weights(rows: Sequence[Row], noise: str, settings: NoiseSettings) -> NDArray[np.float64]:
    return np.array([given(row, settings)[noise] for row in rows if noise in row.figures])


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, fit and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=560)
    options = parser.parse_args(argv)
    rows = [*made_rows(options.scenes), *phone_rows(1, laid_over=True)]
    unused = list(phone_rows(0, laid_over=False))
    for question in QUESTIONS:
        nothing, values = fitted(rows, question)
        print(
            f"{question.noise} {question.mechanism}: constant {values[0]:.3f}, slopes "
            f"{np.round(values[1:], 4)}, even {-values[0] / values[1]:.2f}, nothing {nothing:.2f}"
        )
    for noise in NOISES:
        print(render_counts(rows, unused, noise))
    return 0


if __name__ == "__main__":
    sys.exit(main())
