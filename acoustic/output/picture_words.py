"""What each picture of a report shows, in words: its finding, for those who cannot see it."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.drive.drive import Drive
from acoustic.output.change_text import OUTCOME_WORDS, change_words
from acoustic.output.drive_drawing import hatched_names, pulley_numbers
from acoustic.output.knock_picture import CYCLE_DEG, KnockView
from acoustic.output.part_letters import shown_recording
from acoustic.output.points_text import taken_text
from acoustic.output.swelling_picture import SwellingView
from acoustic.output.text import shown_suspects
from acoustic.output.wording import order_text, probability_text
from acoustic.verdict.by_recording import SuspectByRecording, by_recording
from acoustic.verdict.change_values import Change
from acoustic.verdict.suspects import LineEvidence, Screening, Suspect
from acoustic.verdict.wording import hertz, times

_TOLD_LINES, _TOLD_PARTS, _TOLD_FAMILIES = 3, 4, 6
_FOR_NAT = 1.0


def sound_words(screening: Screening) -> str:
    """What the spectrogram shows of the recording that says most."""
    if not screening.heard:
        return "No recording could be drawn."
    number = shown_recording(screening)
    heard = screening.heard[number]
    speed = heard.speed
    how = "speed not known" if speed is None else f"{speed.mean_rpm:.0f} rpm"
    said = [
        f"Spectrogram of recording {number + 1}, {heard.recording.name}, "
        f"{heard.recording.duration_s:.0f} s, {how}"
        + (f" ({speed.low_rpm:.0f} to {speed.high_rpm:.0f})." if speed is not None else ".")
    ]
    suspects = shown_suspects(screening)
    if suspects and speed is not None:
        said.append(_track_words(suspects[0].part, _lines_in(suspects[0], number)))
    left = sum(out.end_s - out.start_s for out in heard.stretches.left_out)
    said.append(f"{left:.1f} s of it are hatched as left out." if left else "")
    return " ".join(filter(None, said))


def orders_words(screening: Screening) -> str:
    """What the order spectrum shows: tones with a home and without, the suspect's lines."""
    if not screening.heard:
        return "No recording could be drawn."
    number = shown_recording(screening)
    heard = screening.heard[number]
    if heard.spectrum is None:
        return "No order spectrum: the sound could not be set against the drive."
    suspects = shown_suspects(screening)
    said = [f"Order spectrum of recording {number + 1}."]
    if suspects:
        said.append(_lines_words(suspects[0].part, _lines_in(suspects[0], number)))
    strays = sorted(
        (found.tone for found in screening.unexplained if found.recording == number),
        key=lambda tone: -tone.excess_db,
    )
    if not heard.tones:
        return " ".join((*said, "No tone stands out of the floor."))
    told = ", ".join(
        f"order {order_text(tone.order)} ({hertz(tone.frequency_hz)}, {tone.excess_db:.0f} dB)"
        for tone in strays[:_TOLD_LINES]
    )
    homeless = f"{len(strays)} of them belong to no part: {told}" if strays else (
        "each has a part or the engine"
    )  # fmt: skip
    said.append(f"{len(heard.tones)} tones were found; {homeless}.")
    return " ".join(said)


def parts_words(screening: Screening) -> str:
    """How the parts compare, and which cannot be told apart."""
    suspects = shown_suspects(screening)
    if not suspects:
        return "No part stands out."
    bars = "; ".join(
        f"{one.part} {probability_text(one.probability)}, makes the sound "
        f"{probability_text(one.source_probability)}"
        for one in suspects[:_TOLD_PARTS]
    )
    alike = suspects[0].not_separable_from
    joined = f" {suspects[0].part} cannot be told from {' or '.join(alike)}." if alike else ""
    return f"Faulty by the sound: {bars}.{joined}"


def swelling_words(view: SwellingView) -> str:
    """At which orders the band swells with the leading suspect, and where it does not."""
    told = ", ".join(_line_words(line) for line in view.heard)
    missing = sum(line.state == "missing" for line in view.lines)
    more = f" Missing though they should have been heard: {missing}." if missing else ""
    return (
        f"In recording {view.recording + 1} the sound from {view.band.low_hz:.0f} to "
        f"{view.band.high_hz:.0f} Hz swells as {view.part} would make it: {told}.{more}"
    )


def knock_words(view: KnockView) -> str:
    """When in the engine cycle it knocks."""
    count = view.angle_deg.size
    said = f"{view.sentence[:1].upper()}{view.sentence[1:].rstrip('.')}."
    drawn = f"{count} knocks of recording {view.recording + 1} over the {CYCLE_DEG:.0f}° of a cycle"
    if view.firing_deg.size:
        where = (
            f"{view.near_firing} lie within an eighth of a firing interval of the engine's "
            f"loudest moments, where chance would leave about {count / 4:.0f}"
        )
    else:
        inside, start, end = view.crowded
        where = (
            f"{inside} lie in one third of it, {start:.0f}° to {end:.0f}° from an arbitrary "
            f"start, where chance would leave about {count / 3:.0f}"
        )
    return f"{said} Of {drawn} {where}."


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
    more = f" {left} more were compared." if left else ""
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


def _lines_in(suspect: Suspect, recording: int) -> list[LineEvidence]:
    return [line for line in suspect.lines if line.recording == recording]


def _track_words(part: str, lines: Sequence[LineEvidence]) -> str:
    """What is drawn over the sound: the band that swells with the suspect, or its tone."""
    heard = [line for line in lines if line.state == "heard"]
    if not heard:
        return f"No line of {part} was heard in it."
    best = max(heard, key=lambda line: line.support)
    if best.swings_hz is None:
        return f"A thin line follows the tone of {part} at {hertz(best.frequency_hz)}."
    low_hz, high_hz = best.swings_hz
    return (
        f"Dashed: the band of {low_hz:.0f} to {high_hz:.0f} Hz, which swells "
        f"{times(best.frequency_hz)} with {part}."
    )


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
