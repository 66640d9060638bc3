"""How often the answers were right, as plain text."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.casework.track_record import LEAST_FOR_TEMPERATURE, TrackRecord
from acoustic.output.wording import wrapped

_INDENT = "  "


def render_track_record(record: TrackRecord, left_out: Sequence[str] = (), width: int = 80) -> str:
    """Render the record over closed cases.

    Parameters
    ----------
    record : TrackRecord
    left_out : sequence of str
        Why other cases cannot be counted, a sentence for each.
    width : int
        Longest line, in characters; at least 40.
    """
    width = max(40, width)
    without = ["", "LEFT OUT", *_bullets(left_out, width)] if left_out else []
    if not record.cases:
        sentence = "No closed case to count yet. Close one with: acoustic case close FOLDER"
        return "\n".join([*wrapped(sentence, width, "", ""), *without]) + "\n"
    plural = "" if record.cases == 1 else "s"
    lines = [
        f"CLOSED CASES: {record.cases} counted{f', {len(left_out)} left out' if left_out else ''}",
        f"{_INDENT}First suspect right in {record.first_right} of {record.cases} case{plural}.",
    ]
    if record.found_nothing:
        lines.append(f"{_INDENT}No part of the layout to blame in {record.found_nothing}.")
    lines += ["", "STATED AND FOUND", f"{_INDENT}stated          parts   mean   found faulty"]
    for band in record.bands:
        lines.append(
            f"{_INDENT}{band.stated_from:.2f} to {band.stated_to:.2f} {band.count:8}"
            f"   {band.mean_stated:.2f}   {band.share_found:.2f}"
            f" ({band.low:.2f} to {band.high:.2f})"
        )
    lines += ["", "REFIT", *_refit(record, width), *without]
    return "\n".join(lines) + "\n"


def _bullets(sentences: Sequence[str], width: int) -> list[str]:
    return [line for one in sentences for line in wrapped(one, width, f"{_INDENT}- ", _INDENT * 2)]


def _refit(record: TrackRecord, width: int) -> list[str]:
    if record.temperature is None:
        sentence = (
            f"Too few cases to correct anything: {record.cases} of {LEAST_FOR_TEMPERATURE}. "
            "Answers stay as they are."
        )
        return wrapped(sentence, width, _INDENT, _INDENT)
    best, low, high = record.temperature
    way = "too sure" if best > 1.0 else "not sure enough"
    sure = low > 1.0 or high < 1.0
    verdict = f"answers are {way}" if sure else "answers are about as sure as right"
    lines = wrapped(
        f"Temperature {best:.2f} ({low:.2f} to {high:.2f}, {record.cases} cases): {verdict}.",
        width,
        _INDENT,
        _INDENT,
    )
    for kind, (factor, found) in sorted(record.priors.items(), key=lambda item: -item[1][0]):
        lines += wrapped(
            f"{kind}: found {found} time{'' if found == 1 else 's'}, {factor:.2f} times what was "
            "stated.",
            width,
            _INDENT,
            _INDENT * 2,
        )
    return [
        *lines,
        *wrapped(
            "Used only where asked for: acoustic case next FOLDER --own-record ROOT.",
            width,
            _INDENT,
            _INDENT,
        ),
    ]
