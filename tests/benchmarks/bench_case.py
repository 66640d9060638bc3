"""How long a whole case takes: twelve clips of 30 s screened together, and one more added.

    python tests/benchmarks/bench_case.py

Three places, idle and a held speed, a load off and on, on the layout of the library bus. A
case should answer within 6 s on two cores, and a clip added within 2 s. Nothing here fails.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import time
from pathlib import Path

import numpy as np

from acoustic.casework.gate import check_take
from acoustic.drive.layout_file import read_drive
from acoustic.listening import Clip
from acoustic.recording.taken import Taken
from acoustic.screening import ScreenSettings, screen
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, HealthySong, PlantedFault, SceneSettings
from acoustic.verdict.joint_match import MatchSettings

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"
CLIP_S = 30.0


def main() -> None:
    """Make the clips, screen them with one worker and with two, print the times."""
    drive = read_drive(LAYOUT)
    conditions = tuple(
        Condition(rpm=rpm, duration_s=CLIP_S, probe_part=point, loads=loads)
        for point in (None, "guide idler", "alternator")
        for rpm in (800.0, 1700.0)
        for loads in ((), ("electrical load",))
    )
    settings = SceneSettings(
        conditions=conditions,
        faults=(PlantedFault("guide idler", "outer race", 0.0),),
        song=HealthySong(),
    )
    scene = make_scene(drive, settings, np.random.default_rng(1))
    clips = [
        Clip(recording, taken=Taken(point=one.probe_part or "", loads=one.loads))
        for recording, one in zip(scene.recordings, conditions, strict=True)
    ]
    for workers in (1, 2):
        start_s, start_cpu_s = time.perf_counter(), time.process_time()
        answer = screen(clips, drive, settings=ScreenSettings(match=MatchSettings(workers=workers)))
        wall_s, cpu_s = time.perf_counter() - start_s, time.process_time() - start_cpu_s
        print(
            f"{len(clips)} clips of {CLIP_S:.0f} s, {workers} at a time: {wall_s:5.1f} s "
            f"({cpu_s:.1f} s of processor), 6 s at most; {answer.headline}"
        )
    start_s = time.perf_counter()
    check_take(clips[0], drive)
    print(f"one clip at the gate: {time.perf_counter() - start_s:.2f} s, 2 s at most")
    print(f"largest memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
