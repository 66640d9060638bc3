"""How well the crankshaft speed is heard: phone clips of ordinary engines, made scenes.

    python tests/trial/speed_on_phone_clips.py              the phone clips
    python tests/trial/speed_on_phone_clips.py --scenes 60  made scenes instead, that many
                                                            of each noise and cylinder count

The phone clips are the optional shared ones; their speeds are estimates without a log, from
the engine-cycle period where the manifest says so. Every clip is heard with one plain
four-cylinder engine, whatever engine it holds.

Two answers differ from the estimates. Recording 117: estimate 682 rpm, heard 851 rpm, also
when heard as a three, five or six. Bass and high-band envelope, each by itself, have lines
0.6 to 3.0 nat over their surroundings at 7.08 Hz times 2, 3, 5, 6 and 7, beside the firing
line of 28.3 Hz and its multiples; at 5.67 Hz times 1 to 4 and 6 to 9 the strongest has 0.8.
So the engine has four firings a cycle and the estimate took five for one. Recording 145:
its estimate takes four cylinders for granted; its lines and its high-band envelope repeat
at 7.35 Hz, a fifth of the firing line: five cylinders, 882 rpm.

Made scenes are random in everything else;
their layouts are neither those used for tuning nor those of the reported trial.
"""

from __future__ import annotations

import csv
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
from random_layouts import layout_of_seed
from scenes import HELD_RPM, draw_phone

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive, Engine
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Stretch, Stretches
from acoustic.recording.speed_given import speed_of
from acoustic.recording.speed_heard import HeardSpeed, hear_speed
from acoustic.recording.stretches import find_stretches
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, SceneSettings, Surroundings

CLIPS = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "engine_phone"
PLAIN_FOUR = Engine(4, 4, 2.0, 0.5, False, (700.0, 1100.0), (700.0, 2100.0), "clockwise")
RIGHT = 0.02
NOISES_DB = ((-8.0, -4.0), (-4.0, 0.0), (0.0, 4.0), (4.0, 8.0))
CYLINDERS = (3, 4, 5, 6, 8)
FIRST_SEED = 9000


def phone_clips() -> None:
    """Print a line per clip and the counts."""
    if not CLIPS.is_dir():
        print("the shared phone clips are not here: nothing done")
        return
    with (CLIPS / "MANIFEST.csv").open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["file"].endswith(".flac")]
    counts: Counter[str] = Counter()
    print("clip               estimate basis      heard   ratio  gap    told   best other")
    for row in rows:
        recording = read_recording(CLIPS / row["file"])
        heard = speed_of(recording, find_stretches(recording), PLAIN_FOUR)
        estimate = float(row["rpm_est"] or "nan")
        basis = row["rpm_est_basis"].split(" (")[0].split(",")[0] or "none"
        ratio = heard.best_rpm / estimate
        told = heard.trace is not None
        counts[f"{basis}: {outcome(ratio, told)}"] += 1
        other = f"{heard.others[0].rpm:.0f}" if heard.others else "-"
        print(
            f"{row['file'][:16]:18} {estimate:7.0f}  {basis[:12]:12} {heard.best_rpm:6.0f}"
            f"  {ratio:6.3f} {heard.confidence:6.1f}  {'yes' if told else 'no':5}  {other}"
        )
    for what, count in sorted(counts.items()):
        print(f"{count:4}  {what}")


def outcome(ratio: float, told: bool) -> str:
    """Sort one answer."""
    if np.isnan(ratio):
        return "told without an estimate" if told else "refused without an estimate"
    word = "right" if abs(ratio - 1) < RIGHT else "other than the estimate"
    return word if told else f"refused ({word})"


def drives_by_cylinders(count: int) -> dict[int, list[Drive]]:
    """Random drives, `count` for each number of cylinders, one seed after the other."""
    found: dict[int, list[Drive]] = {cylinders: [] for cylinders in CYLINDERS}
    seed = FIRST_SEED
    while min(len(drives) for drives in found.values()) < count:
        drive = build_drive(layout_of_seed(seed))
        if len(found[drive.engine.cylinders]) < count:
            found[drive.engine.cylinders].append(drive)
        seed += 1
    return found


def made_scenes(count: int) -> None:
    """Print error rates by noise and number of cylinders, idle and held speed in turn."""
    print("noise re engine  cyl  told wrong/told/all  best wrong  momentary rms  mean rms")
    drives = drives_by_cylinders(count)
    for noise_db in NOISES_DB:
        for cylinders in CYLINDERS:
            answers = [
                one_scene(drive, noise_db, number) for number, drive in enumerate(drives[cylinders])
            ]
            told = [a for a in answers if a[1]]
            wrong = sum(abs(a[0] - 1) > RIGHT for a in told)
            best_wrong = sum(abs(a[0] - 1) > RIGHT for a in answers)
            good = np.array([a[2:] for a in told if abs(a[0] - 1) <= RIGHT]).reshape(-1, 2)
            momentary, mean = 100 * np.sqrt(np.mean(good**2, axis=0))
            print(
                f"{noise_db[0]:+4.0f} to {noise_db[1]:+3.0f} dB  {cylinders:4}"
                f"  {wrong:6} /{len(told):4} /{len(answers):4}  {best_wrong:10}"
                f"  {momentary:11.3f} %  {mean:7.4f} %",
                flush=True,
            )


def one_scene(drive: Drive, noise_db: tuple[float, float], number: int) -> tuple[float, ...]:
    """Ratio of heard to true speed, whether told, momentary rms and mean error."""
    rng = np.random.default_rng([FIRST_SEED, number, int(noise_db[0]) + 100])
    idle = number % 2 == 0
    rpm = float(rng.uniform(*(drive.engine.idle_rpm if idle else HELD_RPM)))
    settings = SceneSettings(
        conditions=(Condition(rpm=rpm, duration_s=20.0),),
        surroundings=replace(Surroundings(), noise_db=noise_db),
        phone=draw_phone(number // 2, rng),
    )
    scene = make_scene(drive, settings, rng)
    recording, truth = scene.recordings[0], scene.truth.recordings[0].speed
    whole = Stretches((Stretch(0.0, recording.duration_s),), ())
    heard: HeardSpeed = hear_speed(recording, whole, drive.engine)
    ratio = heard.best_rpm / truth.mean_rpm
    if heard.trace is None:
        return ratio, 0.0, np.nan, np.nan
    time_s = np.arange(0.5, recording.duration_s - 0.5, 0.02)
    error = heard.trace.at(time_s) / truth.at(time_s) - 1
    return ratio, 1.0, float(np.sqrt(np.mean(error**2))), float(error.mean())


if __name__ == "__main__":
    if sys.argv[1:2] == ["--scenes"]:
        made_scenes(int(sys.argv[2]) if len(sys.argv) > 2 else 20)
    else:
        phone_clips()
