"""The answer as plain text: for a terminal, a pipe, a mail or a note on the job card.

The order is that of a person reading: the answer in one sentence, how sure and why, what
to do next, what was seen, limits and settings. On a terminal the last lines are the ones
that stay in view, so there the same blocks are printed the other way round, answer last.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from acoustic.evidence.run_down import RUN_ON
from acoustic.output.points_text import point_lines
from acoustic.output.wording import (
    RUNNING_ENGINE_CAUTION,
    SOURCE_IS_NOT_FAULT,
    STATE_WORDS,
    probability_text,
    said_text,
    shortened,
    speed_text,
    wrapped,
)
from acoustic.recording.recording import QualityRemark
from acoustic.verdict.suspects import (
    Heard,
    LineEvidence,
    Screening,
    Suspect,
    UnexplainedSwelling,
    UnexplainedTone,
)
from acoustic.verdict.wording import swelling_word

INDENT = "  "
SHOWN_PROBABILITY = 0.05
DETAILED_SUSPECTS = 3
LISTED_SUSPECTS = 8
LISTED_LINES = 10
LISTED_PHRASES = 3
LISTED_TONES = 10


@dataclass(frozen=True, slots=True)
class TextBlock:
    """One block of the answer: a heading and its lines, already wrapped."""

    heading: str
    lines: tuple[str, ...]


def render_text(screening: Screening, width: int = 80, *, answer_last: bool = False) -> str:
    """Render a screening as plain text.

    Parameters
    ----------
    screening : Screening
    width : int
        Longest line, in characters; at least 40.
    answer_last : bool
        Turn the blocks round, answer at the end, for a terminal where the end stays in view.

    Returns
    -------
    str
        Lines without trailing blanks, ending in a newline.
    """
    blocks = text_blocks(screening, max(40, width))
    if answer_last:
        blocks = blocks[::-1]
    return "\n\n".join("\n".join((b.heading, *b.lines)) for b in blocks if b.lines) + "\n"


def text_blocks(screening: Screening, width: int) -> tuple[TextBlock, ...]:
    """Make the blocks in reading order, answer first."""
    return (
        TextBlock("ANSWER", _answer(screening, width)),
        TextBlock("HOW SURE AND WHY", _bullets(_reasons(screening), width)),
        TextBlock("WHAT TO DO NEXT", _next_steps(screening, width)),
        TextBlock("WHAT WAS SEEN", _seen(screening, width)),
        TextBlock("WHAT EACH RECORDING SAYS", point_lines(screening, width)),
        TextBlock("LIMITS AND SETTINGS", _limits(screening, width)),
    )


def shown_suspects(screening: Screening) -> tuple[Suspect, ...]:
    """Pick the suspects worth a line: those with any real probability, best first."""
    return tuple(
        s
        for s in screening.suspects
        if max(s.probability, s.source_probability) >= SHOWN_PROBABILITY
    )[:LISTED_SUSPECTS]


def _wrapped(text: str, width: int, first: str = INDENT, rest: str | None = None) -> list[str]:
    return wrapped(text, width, first, " " * len(first) if rest is None else rest)


def _bullets(sentences: Iterable[str], width: int, sign: str = "- ") -> tuple[str, ...]:
    lines = [line for s in sentences for line in _wrapped(s, width, INDENT + sign)]
    return tuple(lines)


def _answer(screening: Screening, width: int) -> tuple[str, ...]:
    lines = _wrapped(screening.headline, width)
    told: set[frozenset[str]] = set()
    for suspect in shown_suspects(screening)[:DETAILED_SUSPECTS]:
        group = frozenset((suspect.part, *suspect.not_separable_from))
        if len(group) > 1 and group not in told:
            told.add(group)
            lines += _wrapped(_group_sentence(suspect), width)
    return tuple(lines)


def _group_sentence(suspect: Suspect) -> str:
    others = " or ".join(suspect.not_separable_from)
    reason = f": {suspect.group_reason.rstrip('.')}" if suspect.group_reason else ""
    return f"Cannot tell {suspect.part} from {others}{reason}."


def _reasons(screening: Screening) -> tuple[str, ...]:
    said = () if screening.words is None else (said_text(screening.words),)
    return (*screening.reasons, *(slip.words for slip in screening.slips), *said)


def _next_steps(screening: Screening, width: int) -> tuple[str, ...]:
    lines: list[str] = []
    for number, step in enumerate(screening.next_steps, start=1):
        lines += _wrapped(step, width, f"{INDENT}{number}. ")
    cautions = dict.fromkeys(
        s.caution for s in shown_suspects(screening)[:DETAILED_SUSPECTS] if s.caution
    )
    for caution in (*cautions, RUNNING_ENGINE_CAUTION):
        lines += _wrapped(f"Caution: {caution}", width, INDENT, INDENT)
    return tuple(lines)


def _seen(screening: Screening, width: int) -> tuple[str, ...]:
    lines: list[str] = []
    for number, heard in enumerate(screening.heard, start=1):
        lines += _recording_lines(number, heard, width)
    suspects = shown_suspects(screening)
    if suspects:
        lines += ["", *_suspect_table(suspects, width)]
        left = len(screening.suspects) - len(suspects)
        if left:
            lines += _wrapped(f"{left} more below {SHOWN_PROBABILITY:.2f} on both counts.", width)
        lines += _wrapped(SOURCE_IS_NOT_FAULT, width)
    for suspect in suspects[:DETAILED_SUSPECTS]:
        detail = _suspect_detail(suspect, len(screening.heard), width)
        lines += ["", *detail] if detail else []
    if screening.unexplained:
        lines += ["", *_unexplained_table(screening, width)]
    if screening.unexplained_swelling:
        lines += ["", *_swelling_table(screening.unexplained_swelling, width)]
    return tuple(lines)


def _recording_lines(number: int, heard: Heard, width: int) -> list[str]:
    recording = heard.recording
    speed = speed_text(heard.speed) if heard.speed else "engine speed not known"
    lines = _wrapped(f"Recording {number}: {recording.name}", width)
    used = f"{heard.stretches.used_s:.1f} s of {recording.duration_s:.1f} s used"
    lines += _wrapped(f"{speed}; {used}; {len(heard.tones)} tones found", width, INDENT * 2)
    if heard.speed and heard.speed.note:
        lines += _wrapped(heard.speed.note, width, INDENT * 2)
    if heard.switched_off_s is not None:
        found = "".join(f"; {one.words}" for one in heard.noises if one.noise == RUN_ON)
        lines += _wrapped(f"switched off at {heard.switched_off_s:.1f} s{found}", width, INDENT * 2)
    return lines


def _suspect_table(suspects: Sequence[Suspect], width: int) -> list[str]:
    part_width = max(4, *(len(s.part) for s in suspects))
    room = width - len(INDENT) - 2 * 16 - 2
    part_width = min(part_width, room // 2)
    mechanism_width = room - part_width
    row = f"{INDENT}{{:<{part_width}}}  {{:<{mechanism_width}}}{{:>16}}{{:>16}}"
    lines = [row.format("part", "mechanism", "makes the sound", "faulty")]
    lines += [
        row.format(
            shortened(s.part, part_width),
            shortened(s.mechanism, mechanism_width - 1),
            probability_text(s.source_probability),
            probability_text(s.probability),
        )
        for s in suspects
    ]
    return lines


def _suspect_detail(suspect: Suspect, recordings: int, width: int) -> list[str]:
    """Why this part: phrases for and against, then its lines; nothing where there is none."""
    shown = telling_lines(suspect)
    if not (suspect.evidence or suspect.against or shown):
        return []
    lines = _wrapped(f"{suspect.part}: {suspect.mechanism}", width)
    lines += _bullets(suspect.evidence[:LISTED_PHRASES], width, "  + ")
    lines += _bullets(suspect.against[:LISTED_PHRASES], width, "  - ")
    if shown:
        lines += _line_table(shown, recordings, width)
        left = len(suspect.lines) - len(shown)
        if left:
            lines += _wrapped(f"{left} more lines in the JSON answer.", width, INDENT * 2)
    return lines


def telling_lines(suspect: Suspect, most: int = LISTED_LINES) -> list[LineEvidence]:
    """Pick the lines that say most, heard before missing before hidden; by order within."""
    rank = {"heard": 0, "missing": 1, "hidden": 2}
    telling = sorted(suspect.lines, key=lambda line: (rank[line.state], -abs(line.support)))
    return sorted(telling[:most], key=lambda line: (line.recording, rank[line.state], line.order))


def _line_table(shown: Sequence[LineEvidence], recordings: int, width: int) -> list[str]:
    label_width = min(34, max(12, width - 42))
    row = f"{INDENT * 2}{{:<{label_width}}}{{:>8}}{{:>10}}{{:>11}}  {{}}"
    lines = [row.format("line", "order", "Hz", "dB above", "state").rstrip()]
    for line in shown:
        label = f"{line.recording + 1}: {line.label}" if recordings > 1 else line.label
        excess = "" if line.excess_db is None else f"{line.excess_db:.1f}"
        order = line.order if line.heard_order is None else line.heard_order
        lines.append(
            row.format(
                shortened(label, label_width - 1),
                f"{order:.2f}",
                f"{line.frequency_hz:.1f}",
                excess,
                STATE_WORDS[line.state],
            )
        )
    return lines


def _unexplained_table(screening: Screening, width: int) -> list[str]:
    """Tones without a home, gathered by what is said of them, loudest first."""
    lines = _wrapped("Tones that no part of this layout accounts for:", width)
    gathered: dict[str, list[UnexplainedTone]] = {}
    loudest = sorted(screening.unexplained, key=lambda found: -found.tone.excess_db)
    for found in loudest[:LISTED_TONES]:
        said = f"{found.tone.kind}; {found.remark}" if found.remark else found.tone.kind
        gathered.setdefault(said, []).append(found)
    row = f"{INDENT * 3}{{:>9}}{{:>10}}{{:>10}}{{:>11}}"
    for said, tones in gathered.items():
        lines += _wrapped(f"{said}:", width, INDENT * 2)
        lines.append(row.format("recording", "order", "Hz", "dB above"))
        for found in tones:
            tone = found.tone
            cells = (f"{tone.order:.2f}", f"{tone.frequency_hz:.1f}", f"{tone.excess_db:.1f}")
            lines.append(row.format(found.recording + 1, *cells))
    left = len(screening.unexplained) - LISTED_TONES
    if left > 0:
        lines += _wrapped(f"{left} more in the JSON answer.", width)
    return lines


def _swelling_table(swelling: Sequence[UnexplainedSwelling], width: int) -> list[str]:
    """Swelling without a home, strongest first, each with its remark."""
    lines = _wrapped(
        "Swelling that no part of this layout accounts for. These are no tones: the loudness of "
        "a band of the sound comes and goes so often a second (Hz).",
        width,
    )
    row = f"{INDENT * 2}{{:>9}}{{:>9}}{{:>8}}{{:>15}}{{:>10}}  {{}}"
    lines.append(row.format("recording", "order", "Hz", "band in Hz", "dB above", "strength"))
    strongest = sorted(swelling, key=lambda found: -found.line.excess_db)
    for found in strongest[:LISTED_TONES]:
        line = found.line
        band = f"{line.low_hz:.0f} to {line.high_hz:.0f}"
        cells = (f"{line.order:.3f}", f"{line.frequency_hz:.1f}", band, f"{line.excess_db:.1f}")
        lines.append(row.format(found.recording + 1, *cells, swelling_word(line.excess_db)))
        if found.remark:
            lines += _wrapped(found.remark, width, INDENT * 3)
    left = len(swelling) - LISTED_TONES
    if left > 0:
        lines += _wrapped(f"{left} more in the JSON answer.", width)
    return lines


def all_remarks(heard: Heard) -> tuple[QualityRemark, ...]:
    """Remarks from reading the file and from listening to it, each told once."""
    by_key = {(r.code, r.message): r for r in (*heard.recording.remarks, *heard.quality)}
    return tuple(by_key.values())


def _limits(screening: Screening, width: int) -> tuple[str, ...]:
    lines: list[str] = []
    if screening.detectable:
        lines += _wrapped(screening.detectable, width)
    if screening.unseen_parts:
        lines += _wrapped(
            "Could not be seen in these recordings, so nothing is said about: "
            f"{', '.join(screening.unseen_parts)}.",
            width,
        )
    for number, heard in enumerate(screening.heard, start=1):
        lines += _recording_limits(number, heard, width)
    lines += _wrapped(
        "dB above: over the noise floor beside the line. Order: turns (or events) per turn "
        "of the crankshaft. Hidden: under the engine's own lines or outside what the phone "
        "passes.",
        width,
    )
    lines += _wrapped(f"acoustic {screening.version}", width)
    return tuple(lines)


def _recording_limits(number: int, heard: Heard, width: int) -> list[str]:
    lines: list[str] = []
    for remark in all_remarks(heard):
        lines += _wrapped(
            f"Recording {number}, {remark.severity}: {remark.message} {remark.advice}", width
        )
    for out in heard.stretches.left_out:
        lines += _wrapped(
            f"Recording {number}, {out.start_s:.1f} to {out.end_s:.1f} s left out: "
            f"{out.reason.rstrip('.')}.",
            width,
        )
    if heard.recording.sha256:
        lines += _wrapped(
            f"Recording {number}, digest (SHA-256): {heard.recording.sha256[:16]}…", width
        )
    return lines
