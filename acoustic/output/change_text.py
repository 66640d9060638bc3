"""What changed, as plain text and as JSON: answer, why, next steps, then family by family."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from acoustic import __version__
from acoustic.output.json_report import plain_values
from acoustic.output.wording import RUNNING_ENGINE_CAUTION, shortened, wrapped
from acoustic.verdict.change_values import Change, FamilyChange

CHANGE_SCHEMA_NAME = "acoustic-change/1"
INDENT = "  "
LISTED_FAMILIES = 15

OUTCOME_WORDS = {
    "gone": "gone",
    "lower": "lower",
    "unchanged": "no change",
    "higher": "louder",
    "new": "new",
    "unclear": "cannot tell",
}


def render_change(change: Change, width: int = 80) -> str:
    """The comparison as text, at most `width` columns."""
    lines = [*wrapped(change.headline, width, "", ""), ""]
    lines += ["WHY"]
    for reason in change.reasons:
        lines += wrapped(reason, width, INDENT, INDENT * 2)
    lines += ["", "NEXT"]
    for number, step in enumerate(change.next_steps, start=1):
        lines += wrapped(step, width, f"{INDENT}{number}. ", INDENT * 2 + " ")
    lines += wrapped(f"Caution: {RUNNING_ENGINE_CAUTION}", width, INDENT, INDENT)
    lines += ["", "FAMILY BY FAMILY", *_table(change, width)]
    lines += ["", "LIMITS", *_limits(change, width)]
    return "\n".join(lines) + "\n"


def change_to_dict(change: Change) -> dict[str, Any]:
    """The comparison as plain values for JSON; an open end of an interval is null."""
    plain: dict[str, Any] = plain_values(change)
    return {"schema": CHANGE_SCHEMA_NAME, "version": __version__, **plain}


def change_words(row: FamilyChange) -> str:
    """The change of a family with its interval.

    An end that is open is said as more or less than the other.
    """
    if row.change_db is not None:
        return f"{row.change_db:+.1f} ({row.low_db:+.1f} to {row.high_db:+.1f})"
    if row.before_db is not None:
        return f"below {row.high_db:+.1f}"
    return f"above {row.low_db:+.1f}"


def _table(change: Change, width: int) -> list[str]:
    rows = change.families[:LISTED_FAMILIES]
    if not rows:
        return wrapped("No family of lines was heard on either side.", width, INDENT, INDENT)
    name_width = width - len(INDENT) - 2 * 8 - 24 - 13
    form = f"{INDENT}{{:<{name_width}}}{{:>8}}{{:>8}}{{:>24}}  {{:<11}}"
    first, second = ("normal", "now") if change.against == "healthy" else ("before", "after")
    lines = [form.format("part, mechanism", first, second, "change in dB", "").rstrip()]
    for row in rows:
        mark = "* " if row.is_target else ""
        swing = ", swing" if row.shows_as == "swing" else ""
        cells = (
            shortened(f"{mark}{row.part}, {row.title}{swing}", name_width - 1),
            _level(row.before_db, row.before_limit_db),
            _level(row.after_db, row.after_limit_db),
            change_words(row),
            OUTCOME_WORDS[row.outcome],
        )
        lines.append(form.format(*cells).rstrip())
    left = len(change.families) - len(rows)
    if left:
        lines += wrapped(f"{left} more in the JSON answer.", width, INDENT, INDENT)
    return [*lines, *_floors(rows, width), *_new_tones(change, width)]


def _floors(rows: Sequence[FamilyChange], width: int) -> list[str]:
    """Beside it the figure over the floor, for the target."""
    lines = []
    for row in rows:
        before, after = row.before_above_floor_db, row.after_above_floor_db
        if row.is_target and before is not None:
            then = "not found" if after is None else f"{after:.1f} dB"
            text = (
                f"{row.part}, {row.title}: {before:.1f} dB over the floor beside it, then {then}."
            )
            lines += wrapped(text, width, INDENT, INDENT * 2)
    return lines


def _new_tones(change: Change, width: int) -> list[str]:
    lines = []
    for tone in change.new_tones:
        text = (
            f"New tone at order {tone.order:.2f}, {tone.frequency_hz:.1f} Hz: {tone.after_db:.1f} "
            f"dB over the firing orders; before it lay below {tone.below_before_db:.1f} dB."
        )
        lines += wrapped(text, width, INDENT, INDENT * 2)
    return lines


def _level(level_db: float | None, limit_db: float) -> str:
    return f"{level_db:.1f}" if level_db is not None else f"<{limit_db:.1f}"


def _limits(change: Change, width: int) -> list[str]:
    texts = [
        "* what was repaired. before, after: level of the family's lines in dB over the mean of "
        "the engine's firing orders; of a swing its share of the band's loudness. < not found: "
        f"below that. Brackets: {100 * change.confidence:.0f} % interval with the scatter of "
        "putting the phone there again.",
        "A change of the engine's own loudness moves every figure over the firing orders.",
        f"{change.not_heard} families were heard on neither side.",
        *change.notes,
    ]
    return [line for text in texts for line in wrapped(text, width, INDENT, INDENT)]
