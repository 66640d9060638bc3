"""How long a made scene takes: two recordings of a drive with every part singing.

python tests/benchmarks/bench_synthetic.py
"""

from __future__ import annotations

import platform
import time
from pathlib import Path

import numpy as np

from acoustic.drive.drive import Drive
from acoustic.drive.layout_file import read_drive
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import (
    Codec,
    Condition,
    HealthySong,
    Phone,
    PlantedFault,
    SceneSettings,
)

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"
CODECS = (None, Codec("opus", 32), Codec("aac", 96), Codec("mp3", 64))
WAYS = ("tones", "impacts", "roughness")  # what the bearing of an idler may be heard by
MECHANISM = {"roughness": "rough bearing"}


def main() -> None:
    """Print processor time per 25 s recording, by codec and by what the fault is heard by."""
    drive = read_drive(LAYOUT)
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    for codec in CODECS:
        name = "no codec" if codec is None else f"{codec.name} {codec.kbit_s} kbit/s"
        print(f"{name:>16}: {median_s(drive, 'tones', codec):.2f} s for 25 s of sound")
    for way in WAYS:
        print(f"{way:>16}: {median_s(drive, way, None):.2f} s for 25 s of sound")


def median_s(drive: Drive, way: str, codec: Codec | None) -> float:
    """Processor time of one recording, median of five scenes of two. [s]"""
    fault = PlantedFault("guide idler", MECHANISM.get(way, "outer race"), 0.0, way)
    settings = SceneSettings(
        conditions=(Condition(rpm=800, duration_s=25), Condition(rpm=2000, duration_s=25)),
        faults=(fault,),
        song=HealthySong(share=1.0),
        phone=Phone(codec=codec),
    )
    make_scene(drive, settings, np.random.default_rng(0))
    taken = []
    for seed in range(1, 6):
        start = time.process_time()
        make_scene(drive, settings, np.random.default_rng(seed))
        taken.append((time.process_time() - start) / 2)
    return float(np.median(taken))


if __name__ == "__main__":
    main()
