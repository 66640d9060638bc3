"""Make the sample clips again, and the truth about them.

    python samples/make_samples.py            writes beside this file
    python samples/make_samples.py FOLDER     writes into another folder

The engines, the faults and the sound are invented: nothing here was recorded.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from acoustic.drive.layout_file import read_drive
from acoustic.synthetic.clip_file import write_clip
from acoustic.synthetic.scene import Scene, make_scene
from acoustic.synthetic.scene_settings import (
    Condition,
    HealthySong,
    Phone,
    PlantedFault,
    SceneSettings,
    Surroundings,
)
from acoustic.synthetic.truth_table import render_truth_table

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class SampleCase:
    """One visit to a library bus: its layout, what is wrong, and the clips taken.

    `folder` is where its clips and their truth go, from here.
    """

    layout: str
    clips: tuple[Condition, ...]
    fault: PlantedFault
    seed: int
    kbit_s: int
    folder: str = ""


FRONT_IDLE = Condition(rpm=800, duration_s=20)
AT_PART = Condition(rpm=800, duration_s=25, probe_part="guide idler")
TAKES = ("", "_take2", "_take3")

CASES = (
    SampleCase(
        layout="front_four.toml",
        clips=(
            Condition("front_four_idler_idle.m4a", 800, duration_s=20),
            Condition("front_four_idler_2000.m4a", 2010, duration_s=20),
            Condition("front_four_healthy_idle.m4a", 790, duration_s=20, healthy=True),
        ),
        fault=PlantedFault("guide idler", "inner race", 0.0, "envelope"),
        seed=34,
        kbit_s=64,
    ),
    SampleCase(
        layout="rear_six.toml",
        clips=(
            Condition("rear_six_pump_idle.opus", 680, duration_s=20),
            Condition("rear_six_pump_1900.opus", 1900, duration_s=20),
        ),
        fault=PlantedFault("steering pump", "rough inside", 2.0, "envelope"),
        seed=13,
        kbit_s=48,
    ),
    SampleCase(
        layout="front_four.toml",
        clips=(
            replace(FRONT_IDLE, name="front_800rpm.opus"),
            Condition("front_1700rpm.opus", 1700, duration_s=20),
            replace(FRONT_IDLE, name="front_800rpm_lights-on.opus", loads=("electrical load",)),
            *(replace(AT_PART, name=f"guide-idler_800rpm_contact{n}.opus") for n in TAKES),
            replace(AT_PART, name="flat-idler_800rpm_contact.opus", probe_part="flat idler"),
            replace(AT_PART, name="steering-pump_800rpm_contact.opus", probe_part="steering pump"),
            replace(FRONT_IDLE, name="front_800rpm_healthy.opus", healthy=True),
            replace(FRONT_IDLE, name="front_800rpm_after.opus", healthy=True),
            Condition("front_1700rpm_after.opus", 1700, duration_s=20, healthy=True),
            *(
                replace(AT_PART, name=f"guide-idler_800rpm_contact_after{n}.opus", healthy=True)
                for n in TAKES
            ),
        ),
        fault=PlantedFault("guide idler", "outer race", 2.0, "envelope"),
        seed=3,
        kbit_s=32,
        folder="library_bus_case",
    ),
)


def make_case(case: SampleCase) -> Scene:
    """Make the sound of one case; healthy parts sing a little, as they do."""
    settings = SceneSettings(
        conditions=case.clips,
        faults=(case.fault,),
        song=HealthySong(share=0.5, below_db=(10.0, 18.0), fault_level_db=0.0),
        surroundings=Surroundings(noise_db=(-8.0, -3.0)),
        phone=Phone(level_db=(-24.0, -20.0)),
    )
    drive = read_drive(HERE / "layouts" / case.layout)
    return make_scene(drive, settings, np.random.default_rng(case.seed))


def main(arguments: list[str]) -> None:
    """Write every clip, and a table of the truth in each folder."""
    target = Path(arguments[0]) if arguments else HERE
    tables: dict[Path, list[str]] = {}
    for case in CASES:
        folder = target / case.folder
        folder.mkdir(parents=True, exist_ok=True)
        scene = make_case(case)
        for recording in scene.recordings:
            write_clip(folder / recording.name, recording, case.kbit_s)
        header, *lines = render_truth_table(scene.truth).splitlines()
        tables.setdefault(folder, [header]).extend(lines)
    for folder, rows in tables.items():
        (folder / "truth.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
