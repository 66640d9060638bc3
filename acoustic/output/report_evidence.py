"""The evidence of a report: the suspects with what speaks for and against, what was heard."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from acoustic.casework.history import CheckDone
from acoustic.output.page_pieces import Element, Piece, element, listed, paragraphs, table
from acoustic.output.points_text import taken_text
from acoustic.output.report_matter import SUSPECTED_FROM, ReportMatter, events_of
from acoustic.output.report_pictures import (
    knock_picture,
    picture_figure,
    points_picture,
    screening_pictures,
    swelling_picture,
)
from acoustic.output.text import shown_suspects, telling_lines
from acoustic.output.wording import (
    STATE_WORDS,
    VERDICT_WORDS,
    frequency_text,
    order_text,
    probability_text,
    said_text,
    speed_text,
)
from acoustic.verdict.by_recording import RecordingSays, by_recording
from acoustic.verdict.suspects import Heard, LineEvidence, Suspect

_DETAILED, _TELLING, _LISTED_TONES = 3, 8, 8
_FOR_NAT = 1.0


def answer_section(matter: ReportMatter) -> Element:
    """The answer of the sound in one sentence, why, and whether it is the one that is kept."""
    screening = matter.screening
    said = "" if screening.words is None else said_text(screening.words)
    return element(
        "section",
        element("h3", "What the sound says"),
        element("p", element("strong", screening.headline)),
        element("p", f"Verdict by the sound alone: {VERDICT_WORDS[screening.verdict]}."),
        *listed([*screening.reasons, *(slip.words for slip in screening.slips)]),
        *paragraphs([said]),
        *paragraphs([matter.kept_answer], "note"),
    )


def suspects_section(matter: ReportMatter) -> Element:
    """The suspects side by side, then one by one what speaks for and against each."""
    suspects = shown_suspects(matter.screening)
    details = [_suspect(matter, one) for one in _detailed(matter, suspects)]
    left = len(matter.screening.suspects) - len(suspects)
    rest = f"{left} more parts are below 0.05 on both counts." if left and suspects else ""
    none = "" if suspects else "No part stands out."
    return element(
        "section",
        element("h3", "Suspects, for and against"),
        *paragraphs([none]),
        *table("Suspects by probability", _suspect_head(matter), _suspect_rows(matter)),
        *paragraphs([rest]),
        *(piece for detail in details for piece in detail),
    )


def heard_section(matter: ReportMatter) -> Element:
    """What was heard: the picture of the recording that says most, then all recordings."""
    screening = matter.screening
    pictures = (
        *screening_pictures(screening, matter.case.drive),
        swelling_picture(screening),
        knock_picture(screening, matter.case.drive),
    )
    tones = sorted(screening.unexplained, key=lambda found: -found.tone.excess_db)
    rows = [
        (
            f"{found.recording + 1}: order {order_text(found.tone.order)}",
            frequency_text(found.tone.frequency_hz),
            f"{found.tone.excess_db:.1f}",
            found.remark or found.tone.kind,
        )
        for found in tones[:_LISTED_TONES]
    ]
    swells = [
        (
            f"{found.recording + 1}: order {order_text(found.line.order)}",
            frequency_text(found.line.frequency_hz),
            f"{found.line.low_hz:.0f} to {found.line.high_hz:.0f}",
            f"{found.line.excess_db:.1f}",
        )
        for found in screening.unexplained_swelling[:_LISTED_TONES]
    ]
    return element(
        "section",
        element("h3", "What was heard"),
        *(picture_figure(one) for one in pictures if one is not None),
        *table(
            "Recordings", ("recording", "taken", "speed", "used"),
            [_recording_row(n, one) for n, one in enumerate(screening.heard, start=1)],
        ),
        *table(
            "Tones that no part of this layout accounts for, loudest first",
            ("recording and order", "Hz", "dB above floor", "remark"), rows,
        ),
        *table(
            "Swelling of the loudness that no part accounts for (no tones)",
            ("recording and order", "times a second", "band in Hz", "dB above floor"), swells,
        ),
        *listed([f"Noise: {one.sentence}" for one in screening.noises]),
    )  # fmt: skip


def points_section(matter: ReportMatter) -> Element | None:
    """Recordings against suspects; None with fewer than two recordings to compare."""
    picture = points_picture(matter.screening)
    if picture is None:
        return None
    rows = by_recording(matter.screening)
    heard = matter.screening.heard
    body = []
    for place, says in enumerate(rows[0].each):
        one = heard[says.recording]
        rpm = None if one.speed is None else one.speed.mean_rpm
        name = f"{says.recording + 1}: {taken_text(one.taken, rpm)}"
        body.append((name, *(_says_cell(row.each[place]) for row in rows)))
    loudest = [
        f"{row.part} is loudest at {row.loudest_at}, by {row.leads_db:.0f} dB."
        for row in rows
        if row.loudest_at
    ]
    return element(
        "section",
        element("h3", "Where it is loudest"),
        picture_figure(picture),
        *paragraphs(loudest),
        element(
            "p",
            "In the table: whether the recording speaks for or against the suspect, with its "
            "loudest line in dB above the floor; a stroke where nothing of it could be seen.",
        ),
        *table("Recordings against suspects", ("recording", *(r.part for r in rows)), body),
    )  # fmt: skip


def _detailed(matter: ReportMatter, suspects: Sequence[Suspect]) -> list[Suspect]:
    """The leading suspect, and those that stand out by the sound or after the hand checks."""
    kept = [
        one
        for place, one in enumerate(suspects)
        if place == 0 or max(one.probability, matter.faulty(one.part) or 0.0) >= SUSPECTED_FROM
    ]
    return kept[:_DETAILED]


def _suspect_head(matter: ReportMatter) -> tuple[str, ...]:
    head = ("part", "likeliest fault", "makes the sound", "faulty by the sound")
    return (*head, "after hand checks") if _was_checked(matter) else head


def _was_checked(matter: ReportMatter) -> bool:
    """Whether hand checks have anything to add to what the sound says."""
    return matter.belief is not None and bool(events_of(matter.case.events, CheckDone))


def _suspect_rows(matter: ReportMatter) -> list[tuple[str, ...]]:
    rows = []
    for one in shown_suspects(matter.screening):
        row: tuple[str, ...] = (
            one.part, one.mechanism, probability_text(one.source_probability),
            probability_text(one.probability),
        )  # fmt: skip
        after = matter.faulty(one.part)
        if _was_checked(matter):
            row = (*row, "not asked" if after is None else probability_text(after))
        rows.append(row)
    return rows


def _suspect(matter: ReportMatter, suspect: Suspect) -> list[Piece]:
    lines = telling_lines(suspect, _TELLING)
    alike = " or ".join(suspect.not_separable_from)
    reason = f": {suspect.group_reason.rstrip('.')}" if suspect.group_reason else ""
    several = len(matter.screening.heard) > 1
    return [
        element("h4", f"{suspect.part}: {suspect.mechanism}"),
        *paragraphs([f"Cannot be told from {alike} by ear{reason}." if alike else ""]),
        *_sided("For", suspect.evidence),
        *_sided("Against", suspect.against),
        *table(
            f"Lines of {suspect.part} that say most",
            ("line", "order", "Hz", "dB above floor", "state"),
            [_line_row(line, several) for line in lines],
        ),
    ]  # fmt: skip


def _sided(side: str, phrases: Iterable[str]) -> list[Piece]:
    told = list(phrases)
    if not told:
        return [element("p", element("strong", f"{side}: "), "nothing to name.")]
    return [element("p", element("strong", f"{side}:"), class_="side"), *listed(told)]


def _line_row(line: LineEvidence, several: bool) -> tuple[str, ...]:
    order = line.order if line.heard_order is None else line.heard_order
    name = f"{line.recording + 1}: {line.label}" if several else line.label
    above = "" if line.excess_db is None else f"{line.excess_db:.1f}"
    swings = "" if line.swings_hz is None else " (swells)"
    hz = f"{frequency_text(line.frequency_hz)}{swings}"
    return (name, order_text(order), hz, above, STATE_WORDS[line.state])


def _recording_row(number: int, heard: Heard) -> tuple[str, ...]:
    rpm = None if heard.speed is None else heard.speed.mean_rpm
    speed = heard.speed_reason or "not known" if heard.speed is None else speed_text(heard.speed)
    used = f"{heard.stretches.used_s:.1f} s of {heard.recording.duration_s:.1f} s"
    return (f"{number}: {heard.recording.name}", taken_text(heard.taken, rpm), speed, used)


def _says_cell(says: RecordingSays) -> str:
    if says.level_db is None:
        return "\u2013"
    word = "for" if says.support_nat >= _FOR_NAT else ""
    word = "against" if says.support_nat <= -_FOR_NAT else word
    return f"{word} {says.level_db:.0f}".strip()
