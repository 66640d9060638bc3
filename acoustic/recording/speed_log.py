"""Reading a speed log from a CSV file."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import SpeedError
from acoustic.recording.speed_alignment import SpeedLog, align_speed_log

Floats = NDArray[np.float64]


__all__ = ["SpeedLog", "align_speed_log", "read_speed_log"]

_LARGEST_BYTES = 20_000_000
_HIGHEST_RPM = 30_000.0
_MOST_FAULTS = 5

# In order of preference: a log may hold a gear "n" beside its "rpm".
_TIME_NAMES = ("time", "times", "timestamp", "elapsed", "elapsedtime", "seconds", "sec", "t", "s")
_SPEED_NAMES = ("enginespeed", "enginerpm", "crankspeed", "rpm", "revs", "speed", "n")
_TIME_FACTOR = {"": 1.0, "s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0}
_SPEED_FACTOR = {"": 1.0, "rpm": 1.0, "1/min": 1.0, "min-1": 1.0, "r/min": 1.0, "hz": 60.0}


def read_speed_log(path: str | Path) -> SpeedLog:
    """Read a CSV file with a time and a speed column.

    The first line that is not blank and no ``#`` comment names the columns: ``time``,
    ``time_s``, ``seconds``, ``time_ms`` ...; ``rpm``, ``speed``, ``engine_speed`` ... Units
    may follow in brackets. Commas, semicolons or tabs separate; with the latter two the
    decimal sign may be a comma. Times may be clock times (``13:05:07.2``). Rows with equal
    times are averaged.

    Raises
    ------
    SpeedError
        The file cannot be read or used; names the lines.
    """
    place = Path(path)
    lines = _read_lines(place)
    numbered = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(numbered) < 3:
        raise SpeedError(
            f"{place.name}: a speed log needs a line of column names and at least two rows "
            "below it, such as time_s,rpm."
        )
    separator = _separator(numbered[0][1])
    columns = _find_columns(place.name, numbered[0], separator)
    time_s, speed_rpm = _read_rows(place.name, numbered[1:], separator, columns)
    time_s, first = np.unique(time_s, return_index=True)
    counts = np.diff(np.append(first, speed_rpm.size))
    return SpeedLog(time_s - time_s[0], np.add.reduceat(speed_rpm, first) / counts, place.name)


def _read_lines(place: Path) -> list[str]:
    try:
        if not place.is_file():
            raise SpeedError(f"{place}: there is no such speed log. Check the name and the folder.")
        if place.stat().st_size > _LARGEST_BYTES:
            raise SpeedError(
                f"{place}: the speed log is larger than {_LARGEST_BYTES // 1_000_000} MB. Cut "
                "out the minutes of the recording."
            )
        content = place.read_bytes()
    except (OSError, ValueError) as trouble:
        raise SpeedError(f"{place}: reading the speed log failed ({trouble}).") from trouble
    if b"\0" in content and not content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SpeedError(f"{place}: this is no text file. Export the speed log as CSV.")
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        try:
            return content.decode(encoding).splitlines()
        except UnicodeError:
            continue
    raise SpeedError(f"{place}: this is no text file. Export the speed log as CSV.")


def _separator(header: str) -> str:
    return next((sign for sign in (";", "\t") if sign in header), ",")


@dataclass(frozen=True, slots=True)
class _Column:
    index: int
    name: str
    factor: float


def _find_columns(file: str, header: tuple[int, str], separator: str) -> tuple[_Column, _Column]:
    number, line = header
    names = _split(line, separator)
    time = _column(names, _TIME_NAMES, _TIME_FACTOR)
    speed = _column(names, _SPEED_NAMES, _SPEED_FACTOR)
    if time is None or speed is None:
        lacking = "time (time_s)" if time is None else "speed (rpm)"
        found = ", ".join(repr(name.strip()) for name in names)
        raise SpeedError(
            f"{file}, line {number}: no column of {lacking} among {found}. Name the columns in "
            "the first line, such as time_s,rpm."
        )
    return time, speed


def _column(names: list[str], known: tuple[str, ...], factors: dict[str, float]) -> _Column | None:
    """Find the column with the best known name."""
    read = [_word_and_unit(name, factors) for name in names]
    for word in known:
        for index, (whole, bare, unit) in enumerate(read):
            if unit in factors and word in {whole, bare}:
                return _Column(index, names[index].strip(), factors[unit])
    return None


def _word_and_unit(name: str, factors: dict[str, float]) -> tuple[str, str, str]:
    """Split ``Engine speed [1/min]`` or ``time_ms`` into name, name without unit, unit."""
    text = name.strip().strip('"').lower()
    bracketed = re.fullmatch(r"(.*?)[\s_]*[\[(]\s*(.*?)\s*[\])]", text)
    if bracketed:
        word = re.sub(r"[^a-z]", "", bracketed.group(1))
        return word, word, bracketed.group(2)
    parts = re.split(r"[\s_]+", text)
    unit = parts[-1] if len(parts) > 1 and parts[-1] in factors else ""
    bare = "".join(parts[:-1] if unit else parts)
    return re.sub(r"[^a-z]", "", text), re.sub(r"[^a-z]", "", bare), unit


def _split(line: str, separator: str) -> list[str]:
    return next(csv.reader([line], delimiter=separator))


def _read_rows(
    file: str, rows: list[tuple[int, str]], separator: str, columns: tuple[_Column, _Column]
) -> tuple[Floats, Floats]:
    faults: list[str] = []
    values: list[tuple[float, float]] = []
    for number, line in rows:
        try:
            cells = _split(line, separator)
            time_s = columns[0].factor * _cell(cells, columns[0], _seconds)
            speed_rpm = columns[1].factor * _cell(cells, columns[1], _number)
            if not 0 < speed_rpm <= _HIGHEST_RPM:
                raise ValueError(
                    f"speed is {speed_rpm:g} rpm; leave out rows without a turning engine"
                )
            if values and time_s < values[-1][0]:
                raise ValueError(f"time goes back to {time_s:g} s; put the rows in order of time")
            values.append((time_s, speed_rpm))
        except (ValueError, csv.Error) as fault:
            faults.append(f"{file}, line {number}: {fault}.")
    if faults:
        more = len(faults) - _MOST_FAULTS
        tail = [f"... and {more} more lines."] if more > 0 else []
        raise SpeedError("\n".join(faults[:_MOST_FAULTS] + tail))
    table = np.array(values)
    return table[:, 0], table[:, 1]


def _cell(cells: list[str], column: _Column, parse: Callable[[str], float]) -> float:
    if column.index >= len(cells) or not cells[column.index].strip():
        raise ValueError(f"{column.name} is missing; fill it in or leave the row out")
    text = cells[column.index].strip()
    try:
        value = parse(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise ValueError(f"{column.name} is {text!r}; a number is needed")
    return value


def _number(text: str) -> float:
    return float(text if "." in text else text.replace(",", "."))


def _seconds(text: str) -> float:
    """Seconds from a plain number or a clock time."""
    seconds = 0.0
    for part in text.split(":"):
        seconds = 60.0 * seconds + _number(part)
    return seconds
