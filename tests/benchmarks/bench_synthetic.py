"""How long a made scene takes: two recordings of a drive with every part singing.

python tests/benchmarks/bench_synthetic.py
"""

from __future__ import annotations

import platform
import time
from pathlib import Path

import numpy as np

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


def main() -> None:
    """Print processor time per 25 s recording, with and without a codec."""
    drive = read_drive(LAYOUT)
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    for codec in CODECS:
        settings = SceneSettings(
            conditions=(Condition(rpm=800, duration_s=25), Condition(rpm=2000, duration_s=25)),
            faults=(PlantedFault("guide idler", "bearing", 0.0),),
            song=HealthySong(share=1.0),
            phone=Phone(codec=codec),
        )
        make_scene(drive, settings, np.random.default_rng(0))
        taken = []
        for seed in range(1, 6):
            start = time.process_time()
            make_scene(drive, settings, np.random.default_rng(seed))
            taken.append((time.process_time() - start) / 2)
        name = "no codec" if codec is None else f"{codec.name} {codec.kbit_s} kbit/s"
        print(f"{name:>16}: {np.median(taken):.2f} s for 25 s of sound")


if __name__ == "__main__":
    main()
