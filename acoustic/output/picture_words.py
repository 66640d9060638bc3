"""What each picture of a report shows, in words: its finding, for those who cannot see it."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.drive.drive import Drive
from acoustic.output.change_text import OUTCOME_WORDS, change_words
from acoustic.output.drive_drawing import hatched_names, pulley_numbers
from acoustic.output.part_letters import shown_recording
from acoustic.output.points_text import taken_text
from acoustic.output.swelling_picture import SwellingView
from acoustic.output.text import shown_suspects
from acoustic.output.wording import order_text, probability_text
from acoustic.verdict.by_recording import SuspectByRecording, by_recording
from acoustic.verdict.change_values import Change
from acoustic.verdict.suspects import LineEvidence, Screening
from acoustic.verdict.wording import hertz

_TOLD_LINES, _TOLD_PARTS, _TOLD_FAMILIES = 3, 4, 6
_FOR_NAT = 1.0


def screening_words(screening: Screening) -> str:
    """What spectrogram, order spectrum and bars show of the recording that says most."""
    if not screening.heard:
        return "No recording could be drawn."
    number = shown_recording(screening)
    heard = screening.heard[number]
    speed = "speed not known" if heard.speed is None else f"{heard.speed.mean_rpm:.0f} rpm"
    said = [f"Recording {number + 1}, {heard.recording.name}, {speed}."]
    if heard.spectrum is None:
        return f"{said[0]} Its sound over time only: it could not be set against the drive."
    suspects = shown_suspects(screening)
    if suspects:
        first = suspects[0]
        lines = [line for line in first.lines if line.recording == number]
        said.append(_lines_words(first.part, lines))
    strays = sum(found.recording == number for found in screening.unexplained)
    no_home = f"{strays} of them belong to no part" if strays else "each has a part or the engine"
    said.append(f"{len(heard.tones)} tones were found; {no_home}." if heard.tones else "")
    bars = ", ".join(
        f"{one.part} {probability_text(one.probability)}" for one in suspects[:_TOLD_PARTS]
    )
    said.append(f"Faulty by the sound: {bars}." if bars else "No part stands out.")
    return " ".join(filter(None, said))


def swelling_words(view: SwellingView) -> str:
    """At which orders the band swells with the leading suspect, and where it does not."""
    told = ", ".join(_line_words(line) for line in view.heard)
    missing = sum(line.state == "missing" for line in view.lines)
    more = f" Missing though they should have been heard: {missing}." if missing else ""
    return (
        f"In recording {view.recording + 1} the sound from {view.band.low_hz:.0f} to "
        f"{view.band.high_hz:.0f} Hz swells as {view.part} would make it: {told}.{more}"
    )


def points_words(screening: Screening) -> str:
    """Which recordings speak for which suspect, and where it is loudest."""
    rows = by_recording(screening)
    if not rows:
        return "No suspect has lines to compare between recordings."
    return " ".join(_row_words(screening, row) for row in rows[:_TOLD_PARTS])


def change_picture_words(change: Change) -> str:
    """What changed, family by family, the repaired one first."""
    told = [
        f"{row.part}, {row.title}: {OUTCOME_WORDS[row.outcome]}, {change_words(row)} dB"
        for row in change.families[:_TOLD_FAMILIES]
    ]
    left = len(change.families) - len(told)
    more = f" {left} more in the table." if left else ""
    tones = f" {len(change.new_tones)} new tones belong to no part." if change.new_tones else ""
    return f"{change.headline} {'; '.join(told)}.{more}{tones}" if told else change.headline


def drive_words(drive: Drive, suspects: Sequence[str]) -> str:
    """How the belts run, and where the suspects sit."""
    numbers = pulley_numbers(drive)
    belts = [f"Belt {b.name} runs over {', '.join(b.path)}." for b in drive.belts.values()]
    said = belts or [f"A drive without belts: {', '.join(drive.parts)}."]
    hatched = [
        f"{name} (number {numbers[name]})" if name in numbers else name
        for name in dict.fromkeys(hatched_names(drive, suspects))
    ]
    marked = f"Suspected: {', '.join(hatched)}." if hatched else "No part is marked as suspected."
    return " ".join((*said, marked))


def _lines_words(part: str, lines: Sequence[LineEvidence]) -> str:
    heard = sorted((x for x in lines if x.state == "heard"), key=lambda x: -x.support)
    visible = sum(x.state != "hidden" for x in lines)
    if not visible:
        return f"None of the lines of {part} could be seen in it."
    told = ", ".join(_line_words(line) for line in heard[:_TOLD_LINES])
    named = f": {told}" if told else ""
    more = " and others" if len(heard) > _TOLD_LINES else ""
    return f"Of {visible} visible lines of {part} {len(heard)} were heard{named}{more}."


def _line_words(line: LineEvidence) -> str:
    order = line.order if line.heard_order is None else line.heard_order
    above = "" if line.excess_db is None else f", {line.excess_db:.0f} dB above the floor"
    return f"{line.label} at order {order_text(order)} ({hertz(line.frequency_hz)}{above})"


def _row_words(screening: Screening, row: SuspectByRecording) -> str:
    speaking = [x for x in row.each if x.support_nat >= _FOR_NAT]
    said = f"{row.part}: {len(speaking)} of {len(row.each)} recordings speak for it"
    if row.loudest_at:
        return f"{said}, loudest at {row.loudest_at}, by {row.leads_db:.0f} dB."
    levels = [x for x in row.each if x.level_db is not None]
    if not levels:
        return f"{said}; none of its lines could be seen."
    top = max(levels, key=lambda x: x.level_db or 0.0)
    heard = screening.heard[top.recording]
    rpm = None if heard.speed is None else heard.speed.mean_rpm
    where = taken_text(heard.taken, rpm)
    return f"{said}; its loudest line stands {top.level_db:.0f} dB above the floor ({where})."
