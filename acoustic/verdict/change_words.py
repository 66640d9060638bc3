"""The one verdict of a comparison, and the sentences that say why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from acoustic.drive.drive import Drive
from acoustic.verdict.change_values import Change, ChangeName, ChangeSettings, FamilyChange
from acoustic.verdict.wording import hertz

_WANTED_TAKES = 3
_NAMED = 3


def judge(drive: Drive, change: Change, settings: ChangeSettings) -> Change:
    """The change with its verdict, headline, reasons and next steps."""
    target = [row for row in change.families if row.is_target]
    new = [row for row in change.families if _is_new(row, change)]
    verdict = _verdict(change, target, new, settings)
    return replace(
        change,
        verdict=verdict,
        headline=_headline(verdict, change),
        reasons=tuple(_reasons(drive, change, target, new)),
        next_steps=tuple(_next_steps(verdict, change)),
    )


def _is_new(row: FamilyChange, change: Change) -> bool:
    """Whether a family is a new sound, and not the target's own lines grown louder."""
    shared = change.target is not None and change.target.part in row.shares_lines_with
    return row.outcome == "new" and not row.is_target and not shared


def _verdict(
    change: Change,
    target: Sequence[FamilyChange],
    new: Sequence[FamilyChange],
    settings: ChangeSettings,
) -> ChangeName:
    """The target decides; a new sound beside it forbids to say cured.

    Of several figures of the target those count that could tell; all of them must agree.
    """
    outcomes = {row.outcome for row in target}
    if outcomes & {"higher", "new"}:
        return "worse"
    if new or change.new_tones:
        return "new_sound"
    counted = [row for row in target if row.telling] or list(target)
    if not counted:
        return "cannot_tell"
    if all(row.outcome in ("gone", "lower") for row in counted):
        cured = all(_cured(row, settings) for row in counted) and change.against == "before"
        return "cured" if cured else "clearly_lower"
    if all(row.outcome == "unchanged" for row in counted):
        return "unchanged"
    return "cannot_tell"


def _cured(row: FamilyChange, settings: ChangeSettings) -> bool:
    return row.outcome == "gone" or (
        row.change_db is not None and row.change_db <= -settings.cured_db
    )


def _headline(verdict: ChangeName, change: Change) -> str:
    part = change.target.part if change.target else "the drive"
    if change.against == "healthy":
        return {
            "clearly_lower": f"Softer than normal: {part} sounds clearly less than when sound.",
            "unchanged": f"As normal: {part} sounds as it does in the sound drive.",
            "worse": f"Louder than normal: {part} sounds more than in the sound drive.",
            "new_sound": "Not normal: there is a sound that the sound drive does not make.",
        }.get(verdict, f"Cannot tell whether {part} differs from normal.")
    return {
        "cured": f"Cured: the sound of {part} is gone or far lower, and nothing new is heard.",
        "clearly_lower": f"Clearly lower, but not cured: {part} is still heard.",
        "unchanged": f"Unchanged: {part} sounds as before.",
        "worse": f"Worse: {part} is louder than before.",
        "new_sound": "New sound: something is heard that was not there before.",
        "cannot_tell": f"Cannot tell whether the sound of {part} changed.",
    }[verdict]


def _reasons(
    drive: Drive, change: Change, target: Sequence[FamilyChange], new: Sequence[FamilyChange]
) -> list[str]:
    reasons = []
    if change.target is None:
        reasons.append("No part was named, and the screening before has no leading suspect.")
    elif not target:
        reasons.append(
            f"No line of {change.target.part} was heard on either side: nothing to compare. "
            f"{_hidden(drive, change)}"
        )
    reasons += [_told(row, change) for row in target]
    for row in new[:_NAMED]:
        shared = f" (or {', '.join(row.shares_lines_with)})" if row.shares_lines_with else ""
        reasons.append(f"New: {row.part}{shared}, {row.title}: {_told_new(row)}")
    for tone in change.new_tones[:_NAMED]:
        reasons.append(
            f"New: a tone at order {tone.order:.2f} ({hertz(tone.frequency_hz)}) that no part of "
            f"the layout accounts for; before it would have been seen from "
            f"{tone.after_db - tone.below_before_db:.0f} dB lower."
        )
    before, after = change.takes
    reasons.append(
        f"{before} recording{'s' * (before > 1)} before, {after} after; takes differ by "
        f"{change.scatter.sd_db:.1f} dB ({change.scatter.basis})."
    )
    return reasons


def _hidden(drive: Drive, change: Change) -> str:
    part = drive.parts.get(change.target.part) if change.target else None
    where = f" at {part.probe_at}" if part is not None and part.probe_at else " at the part"
    return (
        f"It may be too soft, or lie under the engine's own lines: record{where} and at 2000 rpm."
    )


def _told(row: FamilyChange, change: Change) -> str:
    what = "tones" if row.shows_as == "tones" else "swing of loudness"
    percent = f"{100 * change.confidence:.0f} % interval"
    name = f"{row.part}, {row.title}, {what}"
    if row.change_db is not None:
        return (
            f"{name}: {row.change_db:+.1f} dB ({percent} {row.low_db:+.1f} to "
            f"{row.high_db:+.1f} dB): {_OUTCOME_WORDS[row.outcome]}."
        )
    if row.before_db is not None:
        return (
            f"{name}: heard before, not after: at least {max(0.0, -row.high_db):.1f} dB lower "
            f"({percent}): {_OUTCOME_WORDS[row.outcome]}."
        )
    return f"{name}: {_told_new(row)}"


def _told_new(row: FamilyChange) -> str:
    return (
        f"heard after, not before: at least {max(0.0, row.low_db):.1f} dB louder than it could "
        "have been unseen."
    )


_OUTCOME_WORDS = {
    "gone": "gone",
    "lower": "clearly lower",
    "unchanged": "no change that matters",
    "higher": "clearly louder",
    "new": "new",
    "unclear": "too uncertain to call a change or none",
}


def _next_steps(verdict: ChangeName, change: Change) -> list[str]:
    steps = []
    if verdict == "cannot_tell" and change.target is None:
        steps.append("Say which part was repaired.")
    elif verdict == "cannot_tell":
        few = min(change.takes) < _WANTED_TAKES
        if few:
            steps.append(
                "Record three takes of each side, setting the phone down anew each time: one "
                "take may differ from the next by as much as the repair."
            )
        if "held in the hand" in change.scatter.basis:
            steps.append(
                "Mark a point on a fixed bracket and rest the phone on it for every take: "
                "half the scatter. Never on or near a moving part."
            )
        steps = steps or ["Check by hand: sound alone does not settle this change."]
    if verdict == "new_sound":
        steps.append("Screen the recordings after by themselves; look at what was last touched.")
    if verdict in ("unchanged", "worse"):
        steps.append("Go back to the suspects: this part was not, or not alone, the source.")
    if verdict == "clearly_lower":
        steps.append("Listen again after some days in use; a second source may be left.")
    if verdict == "cured":
        steps.append("Keep these recordings as the healthy reference of this drive.")
    return steps
