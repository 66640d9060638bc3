"""How often a recording without any accessory tone is said to hold one.

    python tests/trial/false_tones.py [--scenes N]

Made scenes on the reported layouts, no fault and no song: every claimed tone is false.
Half go through a lossy codec. The speed is heard from the sound.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from run_trial import cases_of
from scenes import REPORTED_LAYOUTS

from acoustic.evidence.tones import claimed
from acoustic.listening import Clip, listen
from acoustic.screening import ScreenSettings
from acoustic.synthetic.scene import make_scene


def false_tones(number: int) -> list[tuple[str, str, float]]:
    """Name, codec and least chance of each recording of one silent scene."""
    layout = REPORTED_LAYOUTS[number % len(REPORTED_LAYOUTS)]
    case = cases_of(layout, False, 10)[(number // len(REPORTED_LAYOUTS)) % 10]
    settings = replace(case.settings, faults=(), song=None)
    scene = make_scene(case.drive, settings, np.random.default_rng([number, 77]))
    codec = settings.phone.codec.name if settings.phone.codec else "none"
    rows = []
    for recording in scene.recordings:
        heard = listen(Clip(recording), case.drive, ScreenSettings(), lambda _: None).heard
        if heard.spectrum is not None:
            least = min((t.p_value for t in heard.tones if not t.on_comb), default=1.0)
            rows.append(
                (recording.name, codec, least if claimed(heard.tones) else max(least, 0.01))
            )
    return rows


def main(argv: Sequence[str] | None = None) -> int:
    """Count false tones by speed and codec."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=168)
    options = parser.parse_args(argv)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        rows = [r for one in pool.map(false_tones, range(options.scenes)) for r in one]
    print("recordings  codec     n   claimed at 1 %  at 5 %  at 20 %")
    for name in ("idle", "held"):
        for codec in sorted({row[1] for row in rows}):
            chance = np.array([row[2] for row in rows if row[:2] == (name, codec)])
            if chance.size:
                shares = [f"{np.mean(chance < level):8.3f}" for level in (0.01, 0.05, 0.2)]
                print(f"{name:10} {codec:6} {chance.size:4}  ", *shares)
    chance = np.array([row[2] for row in rows])
    print(f"all: {np.mean(chance < 0.01):.3f} of {chance.size} at the nominal 1 %")
    return 0


if __name__ == "__main__":
    sys.exit(main())
