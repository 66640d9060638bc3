"""Time of hearing the crankshaft speed in a made clip of 60 s, 48 kHz.

    python tests/benchmarks/bench_speed.py

Prints the machine, then the best of several in milliseconds with nothing kept from call to
call, for an ordinary and for the widest usual range of speeds, and the ratio to one pass of
a short-time Fourier transform over the same samples.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import platform
import time
from collections.abc import Callable

import numpy as np
from scipy.fft import rfft

from acoustic.drive.drive import Engine
from acoustic.recording import speed_comb
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_follow import follow_closely, follow_widely
from acoustic.recording.speed_heard import DEFAULT, hear_speed
from acoustic.recording.speed_sound import speed_views

RATE_HZ, SECONDS = 48000, 60.0
WORKING_RPM = {"to 2200 rpm": (600.0, 2200.0), "to 4500 rpm": (600.0, 4500.0)}


def best_ms(call: Callable[[], object], repeats: int = 7) -> float:
    """Best time of some repeats, each with an empty cache. [ms]."""
    times_s = []
    for _ in range(repeats):
        speed_comb._kernel.cache_clear()
        start_s = time.perf_counter()
        call()
        times_s.append(time.perf_counter() - start_s)
    return 1e3 * min(times_s)


def engine_clip() -> Recording:
    """An idling four with 1 % of wander in white noise as loud as itself."""
    rng = np.random.default_rng(1)
    time_s = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    turns = np.cumsum(13.1 * (1 + 0.01 * np.sin(2 * np.pi * 0.3 * time_s))) / RATE_HZ
    sound = np.zeros(time_s.size)
    for cycle in range(1, 120):
        level = (1.0 if cycle % 4 == 0 else 0.3) / cycle
        sound += level * np.cos(2 * np.pi * (0.5 * cycle * turns + rng.uniform()))
    sound = sound / sound.std() + rng.standard_normal(time_s.size)
    return Recording((0.1 * sound).astype(np.float32), RATE_HZ)


def short_time_transform(recording: Recording) -> float:
    """Mean power of frames of 4096, hop 1024: the yardstick."""
    window = np.hanning(4096).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(recording.samples, 4096)[::1024]
    total = 0.0
    for start in range(0, frames.shape[0], 64):
        total += float(np.sum(np.abs(rfft(frames[start : start + 64] * window)) ** 2))
    return total


def main() -> None:
    """Make the clip, time everything, print."""
    print(platform.platform(), platform.python_version())
    recording = engine_clip()
    whole = Stretches((Stretch(0.0, SECONDS),), ())
    yardstick = best_ms(lambda: short_time_transform(recording))
    print(f"{yardstick:7.1f} ms  short-time Fourier transform")
    for name, working in WORKING_RPM.items():
        engine = Engine(4, 4, 2.0, 0.5, False, (650.0, 1050.0), working, "clockwise")
        spent = best_ms(lambda engine=engine: hear_speed(recording, whole, engine))  # type: ignore[misc]
        heard = hear_speed(recording, whole, engine)
        print(
            f"{spent:7.1f} ms  hear_speed {name}, {spent / yardstick:.1f} x; "
            f"{heard.best_rpm:.1f} rpm of {60 * 13.1:.1f}"
        )
    s = DEFAULT
    views = speed_views(recording, whole, s.rate_hz, s.top_hz)
    rough = follow_widely(views, engine, (9.0, 75.0), s)
    assert rough is not None
    steps: dict[str, Callable[[], object]] = {
        "views": lambda: speed_views(recording, whole, s.rate_hz, s.top_hz),
        "first search": lambda: follow_widely(views, engine, (9.0, 75.0), s),
        "second search": lambda: follow_closely(views, engine, rough, s.near, s),
        "third search": lambda: follow_closely(views, engine, rough, s.fine, s),
    }
    for name, call in steps.items():
        print(f"{best_ms(call):7.1f} ms    of which {name}")


if __name__ == "__main__":
    main()
