"""Counting right and wrong answers of the trial.

"Detectable" means that at least one planted line of the faulty part lies above 60 Hz, off
the engine's comb, and at -14 dB tone-to-noise or more in one of the recordings used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from acoustic.verdict.decision import source_probability

CALL = 0.8


@dataclass(frozen=True, slots=True)
class CaseScore:
    """One scene judged.

    `faulty` and `source` hold (stated probability, truth) per part; `rank` is the place
    of the faulty part (0 first), None without a fault or without an answer.
    `heard_source` is `source` with "has a detectable line" as the truth.
    """

    detectable: bool
    has_fault: bool
    answered: bool
    rank: int | None
    in_group: bool
    group_size: int
    faulty: tuple[tuple[float, bool], ...]
    source: tuple[tuple[float, bool], ...]
    label: str
    heard_source: tuple[tuple[float, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Scored:
    """All scenes of one kind judged on the same number of recordings."""

    scores: list[CaseScore]
    evidence: list[Any]


def score_case(case: Any, heard_lines: Any, answer: Any, group: Any) -> CaseScore:
    """Compare one answer with the truth."""
    guilty = case.fault.part if case.fault else None
    detectable = guilty is not None and any(
        line.detectable and line.role == "fault" for lines in heard_lines for line in lines
    )
    label = f"layout {case.layout_seed} scene {case.number}: {guilty}"
    if case.fault:
        label += f" / {case.fault.mechanism} {case.fault.level_db:.0f} dB"
    if answer is None:
        return CaseScore(detectable, bool(guilty), False, None, False, 0, (), (), label)
    sounding = {line.part for lines in heard_lines for line in lines}
    detectable_parts = {line.part for lines in heard_lines for line in lines if line.detectable}
    faulty = answer.result.faulty
    rank = None
    in_group = False
    if guilty in answer.parts:
        k = answer.parts.index(guilty)
        rank = int(np.sum(faulty > faulty[k]))
        in_group = k in group.parts
    return CaseScore(
        detectable,
        bool(guilty),
        True,
        rank,
        in_group,
        len(group.parts),
        tuple((float(p), part == guilty) for p, part in zip(faulty, answer.parts, strict=True)),
        tuple(
            (source_probability(answer, k), part in sounding) for k, part in enumerate(answer.parts)
        ),
        label,
        tuple(
            (source_probability(answer, k), part in detectable_parts)
            for k, part in enumerate(answer.parts)
        ),
    )


def pairs(scores: Sequence[CaseScore], what: str) -> np.ndarray:
    """Stated probability and truth of every part of every answered scene, shape (n, 2)."""
    rows = [row for s in scores for row in getattr(s, what)]
    return np.array(rows, dtype=float).reshape(-1, 2)


def precision_recall(rows: np.ndarray, missed: int = 0, call: float = CALL) -> tuple[float, float]:
    """Precision and recall of calls above `call`; unanswered truths count as missed."""
    called = rows[:, 0] > call
    right = float(rows[called, 1].sum())
    wanted = float(rows[:, 1].sum()) + missed
    return (right / called.sum() if called.any() else float("nan")), right / max(wanted, 1.0)


def render_scores(everything: Mapping[str, Mapping[int, Scored]]) -> str:
    """Write the tables of the trial as text."""
    lines = [
        "scenes        speeds   n   first or in group      first      group  fault P>.8  "
        "     healthy  source P>.8       Brier  false tones",
        "                           detectable   all   detectable   size  prec.  recall "
        " accused   prec.  recall    fault  source  per rec.",
    ]
    for name, by_count in everything.items():
        lines += [_row(name, count, scored) for count, scored in by_count.items()]
    lines += ["", "recall at P > .8 where a line of the part is detectable:"]
    for name, by_count in everything.items():
        lines += [_detectable_row(name, count, scored) for count, scored in by_count.items()]
    return "\n".join(lines)


def _row(name: str, count: int, scored: Scored) -> str:
    scores = scored.scores
    with_fault = [s for s in scores if s.has_fault]
    seen = [s for s in with_fault if s.detectable]
    hit = [s.rank == 0 or s.in_group for s in seen]
    every = [s.rank == 0 or s.in_group for s in with_fault]
    first = [s.rank == 0 for s in seen]
    healthy = [s for s in scores if not s.has_fault]
    accused = [any(p > CALL for p, _ in s.faulty) for s in healthy]
    fault, source = pairs(scores, "faulty"), pairs(scores, "source")
    unanswered = sum(not s.answered and s.has_fault for s in scores)
    p, r = precision_recall(fault, unanswered)
    sp, sr = precision_recall(source)
    false = np.array([e.false_tones[:count] for e in scored.evidence], dtype=float)
    return (
        f"{name:12} {count:5} {len(scores):6}   {np.mean(hit):8.3f} {np.mean(every):8.3f}"
        f" {np.mean(first):9.3f} {np.mean([s.group_size for s in seen]):9.2f}"
        f" {p:7.3f} {r:7.3f} {np.mean(accused):7.3f}   {sp:7.3f} {sr:7.3f}"
        f" {brier(fault):8.4f} {brier(source):7.4f} {np.mean(false > 0):8.3f}"
    )


def _detectable_row(name: str, count: int, scored: Scored) -> str:
    seen = [s for s in scored.scores if s.detectable]
    with_fault = [s for s in scored.scores if s.has_fault]
    _, fault = precision_recall(pairs(seen, "faulty"))
    _, source = precision_recall(pairs(scored.scores, "heard_source"))
    share = len(seen) / max(len(with_fault), 1)
    return (
        f"{name:12} {count:5}   fault {fault:.3f}, source {source:.3f}; "
        f"detectable at all {share:.3f} of {len(with_fault)} faults"
    )


def brier(rows: np.ndarray) -> float:
    """Mean squared error of the stated probabilities (Brier 1950)."""
    return float(np.mean((rows[:, 0] - rows[:, 1]) ** 2))
