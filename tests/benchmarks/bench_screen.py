"""How long a whole screening takes and how much memory, against plain tools in the same run.

    python tests/benchmarks/bench_screen.py            everything, about a minute
    python tests/benchmarks/bench_screen.py --profile  the costliest functions of one screening, too

A clip of 60 s, 48 kHz, one channel, and a layout of ten parts. Every figure is printed
beside what it should be; nothing here fails. Set on one core; figures of different machines
compare as ratios only.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")

import argparse
import cProfile
import json
import platform
import pstats
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

import numpy as np
import soundfile
from scipy.fft import rfft

from acoustic import (
    Clip,
    Drive,
    Recording,
    ScreenSettings,
    listening,
    read_drive,
    read_recording,
    screen,
    screening,
)
from acoustic.synthetic.clip_file import write_clip
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, HealthySong, PlantedFault, SceneSettings

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
RATE_HZ, SECONDS = 48000, 60.0
EXTRA_PARTS = """
[[component]]
name = "vacuum pump"
kind = "vacuum pump"
on = "alternator"
vanes = 4
bearings = [{ designation = "6202" }]

[[component]]
name = "fan"
kind = "fan"
on = "water pump"
blades = 7
"""
COMMAND = "import sys; from acoustic.cli import main; sys.exit(main())"
# Runs a program and tells its own wall time and the largest memory of it alone.
MEASURED = (
    "import json, resource, subprocess, sys, time\n"
    "start = time.perf_counter()\n"
    "code = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode\n"
    "spent = time.perf_counter() - start\n"
    "peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024\n"
    "print(json.dumps([code, spent, peak]))\n"
)
PLAIN_SCRIPT = """
import sys
import librosa
samples, rate = librosa.load(sys.argv[1], sr=None, mono=True)
spectrum = abs(librosa.stft(samples, n_fft=4096, hop_length=1024))
low = librosa.resample(samples, orig_sr=rate, target_sr=4000)
speed = librosa.pyin(low, fmin=20, fmax=80, sr=4000, frame_length=2048, hop_length=128)
print(spectrum.shape, float(speed[0].mean()))
"""


def best_s(call: Callable[[], object], repeats: int = 5) -> float:
    """Best time of some repeats after one to warm up. [s]."""
    call()
    times_s = []
    for _ in range(repeats):
        start_s = time.perf_counter()
        call()
        times_s.append(time.perf_counter() - start_s)
    return min(times_s)


def short_time_transform(recording: Recording) -> float:
    """Mean power of frames of 4096, hop 1024, 64 at a time."""
    window = np.hanning(4096).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(recording.samples, 4096)[::1024]
    total = 0.0
    for start in range(0, frames.shape[0], 64):
        total += float(np.sum(np.abs(rfft(frames[start : start + 64] * window)) ** 2))
    return total


def run_alone(*program: str) -> tuple[float, float]:
    """Best wall time and largest memory of a program run three times on its own. [s, MB]."""
    results = []
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, *program], capture_output=True, text=True, check=True
        )
        code, spent_s, peak_mb = json.loads(done.stdout)
        if code:
            raise SystemExit(f"{program[-1]}: ended with {code}: {done.stderr[-500:]}")
        results.append((spent_s, peak_mb))
    return min(r[0] for r in results), max(r[1] for r in results)


def tell(name: str, value: str, goal: str = "") -> None:
    """Print one figure, and beside it what it should be."""
    print(f"{name:44s}{value:>14s}   {goal}", flush=True)


def write_case(folder: Path) -> tuple[Drive, Path, Path]:
    """Write a layout of ten parts and a minute of its sound at idle."""
    layout = folder / "ten_parts.toml"
    layout.write_text((SAMPLES / "layouts" / "front_four.toml").read_text("utf-8") + EXTRA_PARTS)
    drive = read_drive(layout)
    settings = SceneSettings(
        conditions=(Condition("clip", rpm=800, duration_s=SECONDS),),
        faults=(PlantedFault("guide idler", "outer race", 3.0),),
        song=HealthySong(),
    )
    scene = make_scene(drive, settings, np.random.default_rng(1))
    write_clip(folder / "clip.wav", scene.recordings[0])
    return drive, layout, folder / "clip.wav"


def write_long(folder: Path, minute: Recording, minutes: int) -> Path:
    """Write the minute so many times over."""
    path = folder / f"{minutes}_minutes.flac"
    with soundfile.SoundFile(path, "w", RATE_HZ, 1, subtype="PCM_16") as clip:
        for _ in range(minutes):
            clip.write(minute.samples)
    return path


@contextmanager
def timed_steps(spent_s: dict[str, float]) -> Iterator[None]:
    """Add up the time of every step that `screen` calls, by the step's name."""
    names = [
        "frame_levels", "find_stretches", "codec_cutoff_hz", "speed_of", "check_recording",
        "track_orders", "comb_levels", "spectrum_over_hz", "find_tones", "transformed",
        "envelope_spectra", "find_noises", "expected_families", "match_drive", "decide",
    ]  # fmt: skip
    homes = {name: home for home in (listening, screening) for name in names if hasattr(home, name)}
    originals = {name: getattr(home, name) for name, home in homes.items()}

    def timed(name: str) -> Callable[..., object]:
        def call(*arguments: object, **options: object) -> object:
            start_s = time.perf_counter()
            try:
                return originals[name](*arguments, **options)
            finally:
                spent_s[name] = spent_s.get(name, 0.0) + time.perf_counter() - start_s

        return call

    try:
        for name, home in homes.items():
            setattr(home, name, timed(name))
        yield
    finally:
        for name, home in homes.items():
            setattr(home, name, originals[name])


def bench_in_process(drive: Drive, clip: Path, profile: bool) -> None:
    """Time the whole way from file to answer after imports, and its steps."""

    def whole() -> object:
        return screen([read_recording(clip)], drive)

    recording = read_recording(clip)
    reading_s, yardstick_s = (
        best_s(lambda: read_recording(clip)),
        best_s(lambda: short_time_transform(recording)),
    )
    whole_s = best_s(whole)
    plain_s = reading_s + yardstick_s
    tell("read the clip", f"{1e3 * reading_s:.0f} ms")
    tell("one short-time Fourier transform", f"{1e3 * yardstick_s:.0f} ms")
    tell("read and screen, whole", f"{1e3 * whole_s:.0f} ms", "1000 ms at most")
    tell("  against read and transform", f"{whole_s / plain_s:.1f} x", "25 x at most, 10 x wanted")
    given_s = best_s(lambda: screen([Clip(recording, rpm=800)], drive))
    tell("screen, speed given", f"{1e3 * given_s:.0f} ms")
    spent_s: dict[str, float] = {}
    with timed_steps(spent_s):
        for _ in range(5):
            screen([recording], drive, settings=ScreenSettings())
    for name, total_s in sorted(spent_s.items(), key=lambda item: -item[1]):
        tell(f"    of which {name}", f"{1e3 * total_s / 5:.0f} ms")
    if profile:
        watch = cProfile.Profile()
        watch.runcall(whole)
        pstats.Stats(watch).strip_dirs().sort_stats("tottime").print_stats(25)


def bench_alone(layout: Path, clip: Path, folder: Path) -> None:
    """Time whole programs from the outside, byte code kept as of any installed package."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "byte_code")
    command = (sys.executable, "-c", COMMAND)
    spent_s, peak_mb = run_alone(*command, "screen", str(clip), "--layout", str(layout))
    tell("acoustic screen, whole command", f"{spent_s:.2f} s", "1.8 s at most")
    tell("  its largest memory", f"{peak_mb:.0f} MB", "350 MB at most")
    spent_s, peak_mb = run_alone(*command, "--help")
    tell("acoustic --help", f"{spent_s:.2f} s", "0.4 s at most")
    for minutes, goal in ((3, ""), (60, "no more than three minutes need")):
        long = write_long(folder, read_recording(clip), minutes)
        spent_s, peak_mb = run_alone(*command, "screen", str(long), "--layout", str(layout))
        tell(f"acoustic screen, a clip of {minutes} minutes", f"{spent_s:.2f} s")
        tell("  its largest memory", f"{peak_mb:.0f} MB", goal)
    script = folder / "plain.py"
    script.write_text(PLAIN_SCRIPT)
    spent_s, peak_mb = run_alone(sys.executable, str(script), str(clip))
    tell("plain librosa script (load, stft, pyin)", f"{spent_s:.2f} s", "its kernels kept compiled")
    tell("  its largest memory", f"{peak_mb:.0f} MB")


def main() -> None:
    """Make the case, time everything, print."""
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    options.add_argument("--profile", action="store_true", help="print the costliest functions")
    asked = options.parse_args()
    print(platform.platform(), f"{os.cpu_count()} cores,", "Python", platform.python_version())
    print(*(f"{name} {version(name)}" for name in ("numpy", "scipy", "librosa", "av")))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        drive, layout, clip = write_case(folder)
        print(f"{SECONDS:.0f} s, {RATE_HZ} Hz, {len(drive.parts)} parts", end="; ")
        answer = screen([read_recording(clip)], drive)
        print(answer.verdict, answer.suspects[0].part, f"{answer.suspects[0].probability:.2f}")
        bench_in_process(drive, clip, asked.profile)
        bench_alone(layout, clip, folder)


if __name__ == "__main__":
    main()
