"""The trial of whole cases: made drives recorded at points, speeds and loads, judged step by step.

    python tests/trial/run_cases.py                    reported cases, silent and singing
    python tests/trial/run_cases.py --tuning           the cases used for choosing settings

Every case is recorded as a technician would: in front of the drive at idle and at a held
speed first; then at the two parts that lead, then all of it again with a load switched on.
The load is the one that tells most between the leading parts. Each step is judged on all
recordings up to it, so that the table shows what it adds. "Detectable" is a planted line
that stands out in at least one of all the clips.
"""

from __future__ import annotations

import argparse
import os
import pickle
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from run_trial import cases_of
from scenes import REPORTED_LAYOUTS, TUNING_LAYOUTS, TrialCase
from scoring import CALL, CaseScore, brier, pairs, precision_recall, score_case

from acoustic.casework.check_results import CheckMade, apply_result, outcomes
from acoustic.casework.next_checks import rank_checks
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.listening import Clip, listen
from acoustic.recording.taken import Taken
from acoustic.screening import ScreenSettings
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition
from acoustic.synthetic.truth import TrueLine
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict.belief import Belief
from acoustic.verdict.groups import leading_group
from acoustic.verdict.healthy_reference import learn_healthy
from acoustic.verdict.joint_match import HeardOrders, JointAnswer, belief_of, match_drive

CLIP_S = 12.0
STEPS = {"idle": 1, "and held": 2, "and two points": 6, "and a load": 12}
REFERENCE = "and a healthy reference"
CHECKS = "and three hand checks"
MOST_CHECKS = 3
NAMED = 0.5  # a single name is given from this probability


@dataclass(frozen=True, slots=True)
class CaseRecipe:
    """Which case: small enough to send to another process."""

    layout_seed: int
    number: int
    singing: bool


@dataclass(frozen=True, slots=True)
class CaseEvidence:
    """What was heard in one case: twelve recordings and the healthy drive's."""

    recipe: CaseRecipe
    orders: tuple[HeardOrders | None, ...]
    lines: tuple[tuple[TrueLine, ...], ...]
    healthy: HeardOrders | None
    points: tuple[str, ...]
    load: str


def scene_of(recipe: CaseRecipe) -> TrialCase:
    """The made drive and its fault, as in the main trial."""
    count = 10 * (recipe.number // 10 + 1)
    return cases_of(recipe.layout_seed, recipe.singing, count)[recipe.number]


def hear_case(recipe: CaseRecipe) -> CaseEvidence:
    """Record a case step by step: where to hold the phone follows from the first two clips."""
    case = scene_of(recipe)
    idle, held = case.settings.conditions[:2]
    speeds = [replace(one, duration_s=CLIP_S) for one in (idle, held)]
    first, _ = _recorded(case, speeds)
    heard = [one for one in first if one is not None]
    points, load = _where_next(case.drive, heard)
    conditions = list(speeds)
    conditions += [replace(one, probe_part=point) for point in points for one in speeds]
    conditions += [replace(one, loads=(load,)) for one in conditions]
    reference = replace(speeds[0], healthy=True)
    orders, lines = _recorded(case, [*conditions, reference])
    return CaseEvidence(recipe, orders[:-1], lines[:-1], orders[-1], points, load)


def _where_next(drive: Drive, heard: Sequence[HeardOrders]) -> tuple[tuple[str, ...], str]:
    """The two leading parts, and the load that changes their levels most differently."""
    families = expected_families(drive)
    parts = list(dict.fromkeys(f.part for f in families))
    if heard:
        answer = match_drive(drive, families, heard, ScreenSettings().match)
        parts = [answer.parts[k] for k in np.argsort(-answer.result.faulty)]
    chosen = tuple(part for part in parts if drive.parts[part].shaft)[:2]
    effects = [_load_effects(families, part) for part in chosen]
    names = sorted({name for one in effects for name in one})
    if not names:
        return chosen, "electrical load"
    apart = [
        max(e.get(n, 0.0) for e in effects) - min(e.get(n, 0.0) for e in effects) for n in names
    ]
    return chosen, names[int(np.argmax(apart))]


def _load_effects(families: Sequence, part: str) -> dict[str, float]:
    """What each load does to the part's mechanisms, weighed by how usual they are."""
    effects: dict[str, float] = {}
    for family in families:
        if family.part == part:
            for name, change_db in family.load_db.items():
                effects[name] = effects.get(name, 0.0) + family.prior_weight * change_db
    return effects


def _recorded(
    case: TrialCase, conditions: Sequence[Condition]
) -> tuple[tuple[HeardOrders | None, ...], tuple[tuple[TrueLine, ...], ...]]:
    """Make the recordings, the same for the same beginning of the list, and listen to them."""
    rng = np.random.default_rng([case.layout_seed, case.number, int(case.singing), 4])
    scene = make_scene(case.drive, replace(case.settings, conditions=tuple(conditions)), rng)
    orders = []
    for recording, condition in zip(scene.recordings, conditions, strict=True):
        taken = Taken(point=condition.probe_part or "", loads=condition.loads)
        one = listen(Clip(recording, taken=taken), case.drive, ScreenSettings(), lambda _: None)
        orders.append(one.orders)
    return tuple(orders), tuple(truth.lines for truth in scene.truth.recordings)


def judge_case(evidence: CaseEvidence) -> dict[str, CaseScore]:
    """Judge a case after each step."""
    scores = {name: _score(evidence, count, None) for name, count in STEPS.items()}
    before = evidence.healthy if evidence.recipe.singing else None
    if before is not None:
        scores[REFERENCE] = _score(evidence, max(STEPS.values()), before)
    scores[CHECKS] = _score(evidence, max(STEPS.values()), before, checked=True)
    return scores


def _score(
    evidence: CaseEvidence, count: int, before: HeardOrders | None, *, checked: bool = False
) -> CaseScore:
    case = scene_of(evidence.recipe)
    families = expected_families(case.drive)
    heard = [one for one in evidence.orders[:count] if one is not None]
    if not heard:
        return _against_all(score_case(case, evidence.lines[:count], None, None), evidence)
    match = ScreenSettings().match
    healthy = None if before is None else learn_healthy(case.drive, families, [before], match)
    answer: JointAnswer = match_drive(case.drive, families, heard, match, healthy)
    if checked:
        answer = _after_checks(case, answer)
    group = leading_group(case.drive, families, answer)
    return _against_all(score_case(case, evidence.lines[:count], answer, group), evidence)


def _after_checks(case: TrialCase, answer: JointAnswer) -> JointAnswer:
    """Make the hand checks ranked first, one after the other, as the truth lets them come out.

    Their results are drawn by the tables' own chances, so this shows what checks as good as
    the tables say would add, not how good they are.
    """
    knowledge, rng = load_knowledge(), np.random.default_rng([case.layout_seed, case.number, 5])
    belief = belief_of(answer)
    faulty = () if case.fault is None else (belief.parts.index(case.fault.part),)
    shares = [dict(one) for one in belief.mechanisms]
    if case.fault is not None:
        shares[faulty[0]] = {case.fault.mechanism: 1.0}
    truth = Belief(belief.parts, ((faulty, 1.0),), tuple(shares))
    done: list[CheckMade] = []
    for _ in range(MOST_CHECKS):
        ranked = rank_checks(case.drive, belief, knowledge, done)
        if not ranked:
            break
        first = ranked[0]
        results = outcomes(case.drive, truth, first.check, first.part, knowledge)
        chances = np.array([chance for _, chance, _ in results])
        drawn = int(rng.choice(len(results), p=chances / chances.sum()))
        done.append(results[drawn][0])
        belief = apply_result(case.drive, belief, done[-1], knowledge)
    result = replace(answer.result, faulty=belief.faulty, sets=dict(belief.sets))
    return replace(answer, result=result)


def _against_all(score: CaseScore, evidence: CaseEvidence) -> CaseScore:
    """Detectable is what stands out in any clip of the case, whatever the step."""
    seen = any(x.detectable and x.role == "fault" for lines in evidence.lines for x in lines)
    return replace(score, detectable=score.has_fault and seen)


def hear_and_judge(job: tuple[CaseRecipe, Path | None]) -> dict[str, CaseScore]:
    """Listen to one case, or take what was heard from the folder, and judge it."""
    recipe, folder = job
    kept = folder and folder / f"{recipe.layout_seed}_{recipe.number}_{recipe.singing}.pickle"
    if kept and kept.exists():
        with kept.open("rb") as stream:
            evidence = pickle.load(stream)  # noqa: S301 - our own file
    else:
        evidence = hear_case(recipe)
        if kept:
            with kept.open("wb") as stream:
                pickle.dump(evidence, stream)
    return judge_case(evidence)


def render(by_kind: Mapping[str, Sequence[Mapping[str, CaseScore]]]) -> str:
    """The table: what each step adds."""
    lines = [
        "cases     step                       n  detectable  first or   single name  P>.8 "
        "           healthy  Brier",
        "                                        (of faults)  in group   given right  right  found"
        "  accused",
    ]
    for kind, judged in by_kind.items():
        steps = dict.fromkeys(name for one in judged for name in one)
        lines += [_row(kind, step, [one[step] for one in judged if step in one]) for step in steps]
    return "\n".join(lines)


def _row(kind: str, step: str, scores: Sequence[CaseScore]) -> str:
    faults = [s for s in scores if s.has_fault]
    seen = [s for s in faults if s.detectable]
    hit = np.mean([s.rank == 0 or s.in_group for s in seen])
    single = [s for s in seen if s.group_size == 1 and max(p for p, _ in s.faulty) > NAMED]
    right = np.mean([s.rank == 0 for s in single]) if single else float("nan")
    healthy = [s for s in scores if not s.has_fault]
    accused = sum(any(p > CALL for p, _ in s.faulty) for s in healthy)
    precision, recall = precision_recall(pairs(seen + healthy, "faulty"))
    return (
        f"{kind:9} {step:24} {len(scores):4} {len(seen):4} of {len(faults):3} {hit:9.2f}"
        f" {len(single) / max(len(seen), 1):8.2f} {right:5.2f} {precision:7.2f} {recall:6.2f}"
        f" {accused:4} of {len(healthy):2} {brier(pairs(scores, 'faulty')):8.4f}"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--per-layout", type=int, default=2)
    parser.add_argument("--layouts", type=int, default=0, help="only the first so many")
    parser.add_argument("--cache", type=Path, help="folder to keep what was heard in")
    options = parser.parse_args(argv)
    layouts = TUNING_LAYOUTS if options.tuning else REPORTED_LAYOUTS
    layouts = layouts[: options.layouts] if options.layouts else layouts
    by_kind = {}
    for singing in (False, True):
        jobs = [
            (CaseRecipe(seed, n, singing), options.cache)
            for seed in layouts
            for n in range(options.per_layout)
        ]
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            by_kind["singing" if singing else "silent"] = list(pool.map(hear_and_judge, jobs))
    print(render(by_kind))
    return 0


if __name__ == "__main__":
    sys.exit(main())
