"""The trial: screen made scenes whose truth is known, and count what was right.

    python tests/trial/run_trial.py                    reported scenes, silent and singing
    python tests/trial/run_trial.py --tuning           the scenes used for choosing settings
    python tests/trial/run_trial.py --reference        singing parts, without and with a
                                                       recording of the healthy drive
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
from functools import cache
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from scenes import REPORTED_LAYOUTS, TUNING_LAYOUTS, TrialCase, trial_scenes
from scoring import CaseScore, Scored, render_scores, score_case

from acoustic.drive.expected import expected_families
from acoustic.evidence.findings import Tone
from acoustic.evidence.tones import claimed
from acoustic.listening import Clip, listen
from acoustic.screening import ScreenSettings
from acoustic.synthetic.truth import RecordingTruth, TrueLine
from acoustic.verdict.groups import leading_group
from acoustic.verdict.healthy_reference import learn_healthy
from acoustic.verdict.joint_match import HeardOrders, match_drive


@dataclass(frozen=True, slots=True)
class Recipe:
    """Which scene: small enough to send to another process.

    With `reference` its last recording is of the same drive before the fault came.
    """

    layout_seed: int
    number: int
    singing: bool
    reference: bool = False


@dataclass(frozen=True, slots=True)
class TrialEvidence:
    """What was heard in one scene, and its true lines per recording, without samples."""

    recipe: Recipe
    orders: tuple[HeardOrders | None, ...]
    false_tones: tuple[int, ...]
    speed_errors: tuple[float, ...]
    lines: tuple[tuple[TrueLine, ...], ...]


@cache
def cases_of(
    layout_seed: int, singing: bool, count: int, reference: bool = False
) -> tuple[TrialCase, ...]:
    """All scenes of a layout."""
    return tuple(trial_scenes([layout_seed], count, singing=singing, reference=reference))


def case_of(recipe: Recipe) -> TrialCase:
    """The scene of a recipe."""
    count = 10 * (recipe.number // 10 + 1)
    return cases_of(recipe.layout_seed, recipe.singing, count, recipe.reference)[recipe.number]


def hear_case(recipe: Recipe) -> TrialEvidence:
    """Make one scene and listen to it."""
    case = case_of(recipe)
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
    lines = tuple(truth.lines for truth in scene.truth.recordings)
    return TrialEvidence(recipe, tuple(orders), tuple(false_tones), tuple(errors), lines)


def _false_tones(tones: Iterable[Tone], truth: RecordingTruth) -> int:
    """Claimed tones that no planted line accounts for, nor a multiple of what knocks."""
    true_orders = np.array([line.order for line in truth.lines])
    knocking = np.array([sound.order for sound in truth.in_band if sound.order])
    count = 0
    for tone in tones:
        reach = max(0.004 * tone.order, 0.12)
        multiples = knocking * np.maximum(np.round(tone.order / knocking), 1.0)
        near = np.abs(np.concatenate([true_orders, multiples]) - tone.order) < reach
        count += not near.any()
    return count


def judge(
    evidence: TrialEvidence, recordings: int, settings: ScreenSettings, with_reference: bool = False
) -> CaseScore:
    """Match one scene on its first `recordings` recordings and score it.

    With `with_reference` its last recording, of the healthy drive, is learnt from first;
    where the speed was not heard in that one, the scene is judged without.
    """
    case = case_of(evidence.recipe)
    families = expected_families(case.drive)
    heard = [o for o in evidence.orders[:recordings] if o is not None]
    if not heard:
        return score_case(case, evidence.lines[:recordings], None, None)
    healthy = None
    before = evidence.orders[-1]
    if with_reference and before is not None:
        healthy = learn_healthy(case.drive, families, [before], settings.match)
    answer = match_drive(case.drive, families, heard, settings.match, healthy)
    group = leading_group(case.drive, families, answer)
    return score_case(case, evidence.lines[:recordings], answer, group)


def evidence_of(cases: Sequence[Recipe], kept: Path | None) -> list[TrialEvidence]:
    """Listen to all cases, two at a time; kept in `kept` if given."""
    if kept and kept.exists():
        with kept.open("rb") as stream:
            return list(pickle.load(stream))  # noqa: S301 - our own file
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        heard = list(pool.map(hear_case, cases, chunksize=4))
    if kept:
        with kept.open("wb") as stream:
            pickle.dump(heard, stream)
    return heard


def run(
    layouts: Sequence[int], per_layout: int, singing: bool, kept: Path | None
) -> dict[int, Scored]:
    """Scores at one speed and at two."""
    cases = [Recipe(seed, n, singing) for seed in layouts for n in range(per_layout)]
    evidence = evidence_of(cases, kept)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        judged = list(pool.map(judge_both, evidence, chunksize=4))
    return {n: Scored([pair[n - 1] for pair in judged], evidence) for n in (1, 2)}


def judge_both(evidence: TrialEvidence) -> tuple[CaseScore, CaseScore]:
    """Judge one scene on its first recording and on both."""
    settings = ScreenSettings()
    return judge(evidence, 1, settings), judge(evidence, 2, settings)


def judge_against_reference(
    evidence: TrialEvidence,
) -> tuple[tuple[CaseScore, CaseScore], tuple[CaseScore, CaseScore]]:
    """Judge one scene as `judge_both` does, without and with its reference."""
    settings = ScreenSettings()
    known = judge(evidence, 1, settings, True), judge(evidence, 2, settings, True)
    return judge_both(evidence), known


def run_with_reference(
    layouts: Sequence[int], per_layout: int, kept: Path | None
) -> dict[str, dict[int, Scored]]:
    """Scores of the same singing scenes without and with a recording of the healthy drive."""
    cases = [Recipe(seed, n, True, True) for seed in layouts for n in range(per_layout)]
    evidence = evidence_of(cases, kept)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        judged = list(pool.map(judge_against_reference, evidence, chunksize=4))
    return {
        name: {n: Scored([both[kind][n - 1] for both in judged], evidence) for n in (1, 2)}
        for kind, name in enumerate(("alone", "referred"))
    }


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--per-layout", type=int, default=8)
    parser.add_argument("--layouts", type=int, default=0, help="only the first so many")
    parser.add_argument("--cache", type=Path, help="folder to keep what was heard in")
    parser.add_argument("--reference", action="store_true")
    parser.add_argument("--picture", type=Path)
    options = parser.parse_args(argv)
    layouts = TUNING_LAYOUTS if options.tuning else REPORTED_LAYOUTS
    layouts = layouts[: options.layouts] if options.layouts else layouts
    names = ["reference"] if options.reference else ["silent", "singing"]
    everything = {}
    for name in names:
        stem = f"{'tuning' if options.tuning else 'reported'}_{name}_{options.per_layout}"
        kept = options.cache / f"{stem}_{len(layouts)}.pickle" if options.cache else None
        if options.reference:
            everything = run_with_reference(layouts, options.per_layout, kept)
        else:
            everything[name] = run(layouts, options.per_layout, name == "singing", kept)
    print(render_scores(everything))
    if options.picture:
        from reliability import write_reliability_picture

        write_reliability_picture(everything, options.picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
