"""Times of reading, stretches and quality checks for a made clip of 60 s, and of 1 h.

    python tests/benchmarks/bench_reading.py

Prints the machine, the best of five in milliseconds, the ratio to one pass of a short-time
Fourier transform over the same samples, and the peak memory of the process.
"""

from __future__ import annotations

import platform
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from scipy.fft import rfft

from acoustic.recording.audio_file import read_recording
from acoustic.recording.codec_band import codec_cutoff_hz
from acoustic.recording.quality import check_recording
from acoustic.recording.recording import Samples
from acoustic.recording.stretches import find_stretches
from acoustic.synthetic.clip_file import write_clip

RATE_HZ = 48000


def best_ms(call: Callable[[], object], repeats: int = 5) -> float:
    """Best time of some repeats after one to warm up. [ms]."""
    call()
    times_s = []
    for _ in range(repeats):
        start_s = time.perf_counter()
        call()
        times_s.append(time.perf_counter() - start_s)
    return 1e3 * min(times_s)


def short_time_transform(samples: Samples) -> float:
    """Mean power of frames of 4096, hop 1024: the yardstick."""
    window = np.hanning(4096).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(samples, 4096)[::1024]
    total = 0.0
    for start in range(0, frames.shape[0], 64):
        total += float(np.sum(np.abs(rfft(frames[start : start + 64] * window)) ** 2))
    return total


def main() -> None:
    """Make the clips, time everything, print."""
    print(platform.platform(), platform.python_version())
    samples = (0.1 * np.random.default_rng(1).standard_normal(60 * RATE_HZ)).astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        soundfile.write(place / "clip.wav", samples, RATE_HZ)
        soundfile.write(place / "clip.flac", samples, RATE_HZ, subtype="PCM_24")
        recording = read_recording(place / "clip.wav")
        write_clip(place / "clip.m4a", recording)
        yardstick = best_ms(lambda: short_time_transform(recording.samples))
        stretches = find_stretches(recording)
        for name, call in {
            "read wav": lambda: read_recording(place / "clip.wav"),
            "read flac": lambda: read_recording(place / "clip.flac"),
            "read m4a": lambda: read_recording(place / "clip.m4a"),
            "find_stretches": lambda: find_stretches(recording),
            "check_recording": lambda: check_recording(recording, stretches, None),
            "codec_cutoff_hz": lambda: codec_cutoff_hz(recording),
            "short-time transform": lambda: short_time_transform(recording.samples),
        }.items():
            took = best_ms(call)
            print(f"{name:22s}{took:8.1f} ms {took / yardstick:6.2f} x")
        with soundfile.SoundFile(place / "hour.wav", "w", RATE_HZ, 1) as hour:
            for _ in range(60):
                hour.write(samples)
        before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        took = best_ms(lambda: read_recording(place / "hour.wav"), 1)
        after_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        print(f"{'read 1 h wav':22s}{took:8.1f} ms, peak {before_mb:.0f} -> {after_mb:.0f} MB")


if __name__ == "__main__":
    main()
