"""Recordings against suspects as a table: what each says, and where it is loudest."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.output.wording import shortened, wrapped
from acoustic.recording.taken import Taken
from acoustic.verdict.by_recording import RecordingSays, SuspectByRecording, by_recording
from acoustic.verdict.suspects import Heard, Screening

_INDENT = "  "
_PART_WIDTH = 18
_CELL_WIDTH = 9
_FOR_NAT = 1.0
"""Below a likelihood ratio of e a recording says neither."""


def taken_text(taken: Taken, rpm: float | None = None) -> str:
    """Where, how fast and with which loads a recording was taken, in a few words."""
    words = [f"at {taken.point}" if taken.point else "in front"]
    if rpm is not None:
        words.append(f"{rpm:.0f} rpm")
    words += [f"{load} on" for load in taken.loads]
    if taken.stage != "before":
        words.append("sound drive" if taken.stage == "healthy" else "after the repair")
    if taken.take > 1:
        words.append(f"take {taken.take}")
    return ", ".join(words)


def point_lines(screening: Screening, width: int = 80) -> tuple[str, ...]:
    """Write suspects down, recordings across, with what each recording says.

    Each cell holds `yes` or `no` with the loudest line's level above the floor, or `-`
    where nothing of the part could be seen. Empty where all recordings that were screened
    were taken at one place with the same loads.
    """
    rows = by_recording(screening)
    numbers = [says.recording for says in rows[0].each] if rows else []
    if len({(h.point, h.loads) for h in (screening.heard[n].taken for n in numbers)}) < 2:
        return ()
    lines = [f"{_INDENT}{n + 1:2}  {_name(screening.heard[n])}" for n in numbers]
    for chunk in _chunks(numbers, (width - _PART_WIDTH - 2) // _CELL_WIDTH):
        head = "".join(f"{n + 1:>{_CELL_WIDTH}}" for n in chunk)
        lines += ["", f"{_INDENT}{'part':{_PART_WIDTH}}{head}"]
        lines += [_table_row(row, chunk) for row in rows]
    lines += ["", *wrapped(_KEY, width, _INDENT, _INDENT)]
    for row in rows:
        if row.loudest_at:
            sentence = f"{row.part} is loudest at {row.loudest_at}, by {row.leads_db:.0f} dB."
            lines += wrapped(sentence, width, _INDENT, _INDENT)
    return tuple(line.rstrip() for line in lines)


_KEY = (
    "yes, no: the recording speaks for or against this part, neither where no word stands; the "
    "figure is how far its loudest line stands above the floor in dB; - none can be seen."
)


def _name(heard: Heard) -> str:
    rpm = None if heard.speed is None else heard.speed.mean_rpm
    return shortened(f"{taken_text(heard.taken, rpm)} ({heard.recording.name})", 72)


def _table_row(row: SuspectByRecording, chunk: Sequence[int]) -> str:
    by_number = {says.recording: says for says in row.each}
    cells = "".join(f"{_cell(by_number[n]):>{_CELL_WIDTH}}" for n in chunk)
    return f"{_INDENT}{shortened(row.part, _PART_WIDTH - 1):{_PART_WIDTH}}{cells}"


def _cell(says: RecordingSays) -> str:
    if says.level_db is None:
        return "-"
    word = "yes" if says.support_nat >= _FOR_NAT else ""
    word = "no" if says.support_nat <= -_FOR_NAT else word
    return f"{word} {says.level_db:.0f}".strip()


def _chunks(numbers: Sequence[int], size: int) -> list[Sequence[int]]:
    return [numbers[first : first + size] for first in range(0, len(numbers), size)]
