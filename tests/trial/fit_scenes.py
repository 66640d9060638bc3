"""What the fits of the noises share: a recording made ready, and a fault that shows so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.recording.quality import codec_cutoff_hz
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_given import speed_of
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.recording.stretches import find_stretches
from acoustic.synthetic.scene_settings import PlantedFault


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A recording as a screening listens to it: usable seconds, speed, highest frequency."""

    stretches: Stretches
    speed: SpeedTrace
    highest_hz: float


def prepared(recording: Recording, drive: Drive, rpm: float | None) -> Prepared | None:
    """Make a recording ready, its speed heard as in a screening; None if it is not."""
    stretches = find_stretches(recording)
    speed = speed_of(recording, stretches, drive.engine, rpm).trace
    if speed is None:
        return None
    return Prepared(
        stretches, speed, 0.9 * (codec_cutoff_hz(recording) or recording.sample_rate_hz / 2)
    )


def fault_showing(
    drive: Drive,
    wanted: str,
    level_db: float,
    rng: np.random.Generator,
    fit: Callable[[ExpectedFamily], bool] = lambda _: True,
) -> PlantedFault | None:
    """Draw a mechanism of the drive that shows as wanted and is fit; None if it has none."""
    able = [
        family
        for family in expected_families(drive)
        if fit(family)
        and (
            any(noise.noise == wanted for noise in family.noises)
            or any(line.shows_as == wanted for line in family.lines)
        )
    ]
    if not able:
        return None
    family = able[int(rng.integers(len(able)))]
    return PlantedFault(family.part, family.mechanism, level_db, wanted)
