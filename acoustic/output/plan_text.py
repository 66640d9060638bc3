"""A plan of recordings as plain text, for the terminal and for print, and as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from acoustic.casework.pair_advice import PairAdvice
from acoustic.casework.plan import Plan
from acoustic.casework.plan_steps import PlanStep
from acoustic.output.json_report import plain_values
from acoustic.output.wording import wrapped

PLAN_SCHEMA_NAME = "acoustic-plan/1"
INDENT = "  "
HIDDEN_WORDS = (
    "All likely lines of these lie on the own orders of engine or motor, at every speed. More "
    "recordings will not show them: compare points, or check by hand."
)
LINES_WORDS = (
    "Told apart by their lines at idle. In brackets the least length of a clip that parts clear "
    "lines; faint ones need the length that the steps ask for."
)


def render_plan(plan: Plan, width: int = 80) -> str:
    """Render a plan as plain text.

    Parameters
    ----------
    plan : Plan
    width : int
        Longest line, in characters; at least 40.
    """
    width = max(40, width)
    blocks = [
        [line for words in head_words(plan) for line in wrapped(words, width, "", "")],
        *[_step(step, width) for step in plan.steps],
    ]
    open_pairs = [pair for pair in plan.pairs if pair.by != "lines"]
    if open_pairs:
        blocks.append(["WHAT TELLS THESE PAIRS APART", *_open_pairs(open_pairs, width)])
    if len(open_pairs) < len(plan.pairs):
        lines = wrapped(LINES_WORDS, width, "", "")
        for part, others in pairs_by_lines(plan.pairs):
            lines += wrapped(f"{part} from {', '.join(others)}", width, INDENT, INDENT * 2)
        blocks.append(["THE OTHER PAIRS", *lines])
    if plan.hidden:
        lines = wrapped(HIDDEN_WORDS, width, "", "")
        for one in plan.hidden:
            words = f"{one.part}: {'; '.join(one.titles)}"
            lines += wrapped(words, width, INDENT, INDENT * 2)
        blocks.append(["HIDDEN AT EVERY SPEED", *lines])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def plan_to_dict(plan: Plan, version: str) -> dict[str, Any]:
    """Turn a plan into plain values under their schema name; units as in the keys."""
    values: dict[str, Any] = plain_values(plan)
    return {"schema": PLAN_SCHEMA_NAME, "version": version, **values}


def head_words(plan: Plan) -> list[str]:
    """Name the drive, then what the plan takes, then whom it is about."""
    done = sum(step.done for step in plan.steps)
    left = f"{len(plan.steps)} steps" if not done else f"{len(plan.steps) - done} steps left"
    speeds = f"{plan.idle_rpm:.0f} rpm"
    if plan.held_rpm is not None:
        speeds += f" and held at {plan.held_rpm:.0f} rpm"
    return [
        f"PLAN OF RECORDINGS: {plan.drive}",
        f"{left}, about {plan.minutes:.0f} min. Speeds: {speeds}.",
        f"Parts in question: {', '.join(plan.suspects)}.",
    ]


def pairs_by_lines(pairs: Iterable[PairAdvice]) -> list[tuple[str, list[str]]]:
    """Pairs that lines tell apart at idle: each part with the others and the clip's length."""
    grouped: dict[str, list[str]] = {}
    for pair in pairs:
        if pair.by == "lines" and pair.clip_s is not None:
            grouped.setdefault(pair.first, []).append(f"{pair.second} ({pair.clip_s:.0f} s)")
    return list(grouped.items())


def _step(step: PlanStep, width: int) -> list[str]:
    tick = "[x]" if step.done else "[ ]"
    lines = wrapped(f"{tick} {step.number}. {step.title}", width, "", INDENT * 2)
    lines += wrapped(f"{step.do} (about {step.minutes:.0f} min)", width, INDENT * 2, INDENT * 2)
    for words in step.why:
        lines += wrapped(f"Why: {words}", width, INDENT * 2, INDENT * 2)
    lines += wrapped(f"CAUTION: {' '.join(step.cautions)}", width, INDENT * 2, INDENT * 2)
    return lines


def _open_pairs(pairs: Sequence[PairAdvice], width: int) -> list[str]:
    lines = []
    for pair in pairs:
        words = f"{pair.first} / {pair.second}: {pair.by}. {pair.words}"
        lines += wrapped(words, width, INDENT, INDENT * 2)
    return lines
