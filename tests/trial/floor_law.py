"""How far noise alone rises over its floor, against the law the match takes for it.

    python tests/trial/floor_law.py [--scenes N]

Silent scenes on the layouts for tuning. The settings `floor_bias` and `freedom_shares` of
`acoustic.verdict.line_likelihood.LikelihoodSettings` were chosen by this table.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from run_trial import cases_of
from scenes import TUNING_LAYOUTS
from scipy.special import fdtri

from acoustic.evidence.findings import OrderBand
from acoustic.listening import Clip, listen
from acoustic.screening import ScreenSettings
from acoustic.synthetic.scene import make_scene
from acoustic.verdict.line_likelihood import LikelihoodSettings

SHARES = (0.75, 0.95, 0.99, 0.999)


def silent_bands(number: int) -> list[tuple[str, int, OrderBand]]:
    """Speed, band number and band of every recording of one silent scene."""
    layout = TUNING_LAYOUTS[number % len(TUNING_LAYOUTS)]
    case = cases_of(layout, False, 10)[(number // len(TUNING_LAYOUTS)) % 10]
    settings = replace(case.settings, faults=(), song=None)
    scene = make_scene(case.drive, settings, np.random.default_rng([number, 78]))
    rows = []
    for recording in scene.recordings:
        heard = listen(Clip(recording), case.drive, ScreenSettings(), lambda _: None).heard
        bands = heard.spectrum.bands if heard.spectrum else ()
        rows += [(recording.name, n, band) for n, band in enumerate(bands)]
    return rows


def main(argv: Sequence[str] | None = None) -> int:
    """Print found and assumed quantiles of power over floor, per speed and band."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenes", type=int, default=42)
    options = parser.parse_args(argv)
    rows = [row for number in range(options.scenes) for row in silent_bands(number)]
    law = LikelihoodSettings()
    print("speed  band  degrees     " + "  ".join(f"{100 * s:g} %" for s in SHARES))
    for speed in ("idle", "held"):
        for n, bias in enumerate(law.floor_bias):
            bands = [band for name, number, band in rows if (name, number) == (speed, n)]
            if not bands:
                continue
            found = np.exp(
                np.quantile(np.concatenate([b.excess[b.visible] for b in bands]), SHARES)
            )
            freedom = float(np.mean([b.freedom for b in bands]))
            d1, d2 = (share * freedom for share in law.freedom_shares)
            assumed = fdtri(d1, d2, SHARES) * np.exp(-bias)
            for word, values in (("found", found), ("law", assumed)):
                figures = "  ".join(f"{value:5.2f}" for value in values)
                print(f"{speed:6} {n:4} {freedom:8.0f}  {word:6} {figures}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
