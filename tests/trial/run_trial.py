"""The trial: screen made scenes whose truth is known, and count what was right.

    python tests/trial/run_trial.py                    reported scenes, silent and singing
    python tests/trial/run_trial.py --tuning           the scenes used for choosing settings
    python tests/trial/run_trial.py --picture FILE     reliability picture as well

Scenes for tuning and scenes reported stand on different layouts (see scenes.py). The
speed is heard from the sound in every recording.
"""

from __future__ import annotations

import argparse
import os
import pickle
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from scenes import REPORTED_LAYOUTS, TUNING_LAYOUTS, TrialCase, trial_scenes
from scoring import CaseScore, Scored, render_scores, score_case

from acoustic.drive.expected import expected_families
from acoustic.evidence.tones import claimed
from acoustic.screening import Clip, ScreenSettings, listen
from acoustic.verdict.groups import leading_group
from acoustic.verdict.joint_match import HeardOrders, match_drive


@dataclass(frozen=True, slots=True)
class TrialEvidence:
    """What was heard in one scene, and the truth, without the samples."""

    case: TrialCase
    orders: tuple[HeardOrders | None, ...]
    false_tones: tuple[int, ...]
    speed_errors: tuple[float, ...]
    truth: object


def hear_case(case: TrialCase) -> TrialEvidence:
    """Make one scene and listen to it."""
    scene = case.make()
    settings = ScreenSettings()
    orders, false_tones, errors = [], [], []
    for recording, truth in zip(scene.recordings, scene.truth.recordings, strict=True):
        one = listen(Clip(recording), case.drive, settings, lambda _: None)
        orders.append(one.orders)
        true_rpm = truth.speed.mean_rpm
        heard_rpm = one.heard.speed.mean_rpm if one.heard.speed else float("nan")
        errors.append(heard_rpm / true_rpm - 1.0)
        false_tones.append(_false_tones(claimed(one.heard.tones), truth))
    return TrialEvidence(case, tuple(orders), tuple(false_tones), tuple(errors), scene.truth)


def _false_tones(tones: Iterable[object], truth: object) -> int:
    """Claimed tones that no planted line accounts for."""
    true_orders = np.array([line.order for line in truth.lines])
    count = 0
    for tone in tones:
        near = np.abs(true_orders - tone.order) < np.maximum(0.004 * tone.order, 0.12)
        count += not near.any()
    return count


def judge(evidence: TrialEvidence, recordings: int, settings: ScreenSettings) -> CaseScore:
    """Match one scene on its first `recordings` recordings and score it."""
    case = evidence.case
    families = expected_families(case.drive)
    heard = [o for o in evidence.orders[:recordings] if o is not None]
    if not heard:
        return score_case(evidence, recordings, None, None)
    answer = match_drive(case.drive, families, heard, settings.match)
    group = leading_group(case.drive, families, answer)
    return score_case(evidence, recordings, answer, group)


def evidence_of(cases: Sequence[TrialCase], cache: Path | None) -> list[TrialEvidence]:
    """Listen to all cases, two at a time; kept in `cache` if given."""
    if cache and cache.exists():
        with cache.open("rb") as stream:
            return list(pickle.load(stream))  # noqa: S301 - our own file
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        heard = list(pool.map(hear_case, cases, chunksize=4))
    if cache:
        with cache.open("wb") as stream:
            pickle.dump(heard, stream)
    return heard


def run(
    layouts: Sequence[int], per_layout: int, singing: bool, cache: Path | None
) -> dict[int, Scored]:
    """Scores at one speed and at two."""
    cases = list(trial_scenes(layouts, per_layout, singing=singing))
    evidence = evidence_of(cases, cache)
    settings = ScreenSettings()
    return {n: Scored([judge(e, n, settings) for e in evidence], evidence) for n in (1, 2)}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--per-layout", type=int, default=8)
    parser.add_argument("--layouts", type=int, default=0, help="only the first so many")
    parser.add_argument("--cache", type=Path, help="folder to keep what was heard in")
    parser.add_argument("--picture", type=Path)
    options = parser.parse_args(argv)
    layouts = TUNING_LAYOUTS if options.tuning else REPORTED_LAYOUTS
    layouts = layouts[: options.layouts] if options.layouts else layouts
    everything = {}
    for singing in (False, True):
        name = "singing" if singing else "silent"
        cache = options.cache / f"{'tuning' if options.tuning else 'reported'}_{name}.pickle" if (
            options.cache
        ) else None
        everything[name] = run(layouts, options.per_layout, singing, cache)
    print(render_scores(everything))
    if options.picture:
        from reliability import write_reliability_picture

        write_reliability_picture(everything, options.picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
