"""Everything a drive can make, listed: for reading and, as plain values, for programs.

The text goes from what turns (shafts, belts, gears) to every line of every part, each with
its order, frequency, how far off it may be, what hides it and where the formula is from.
Sources are numbered and told once at the end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from acoustic.drive.drive import ShowsAs
from acoustic.drive.order_table import (
    BeltRow,
    GearRow,
    NoiseMade,
    OrderRow,
    OrderTable,
    ShaftRow,
)
from acoustic.output.json_report import plain_values
from acoustic.output.wording import shortened, wrapped

ORDERS_SCHEMA_NAME = "acoustic-orders/1"
INDENT = "  "
SHOWN_SPEEDS = 2
LABEL_WIDTH = 34
SHAFT_WIDTH = 23
SHOWN_AS: Mapping[ShowsAs, str] = {
    "tones": "as tones:",
    "impacts": "not as tones but as knocks, this often; the sound swells with them:",
    "roughness": "not as tones but as rough noise that swells this often:",
    "bursts": "not as tones but as short cries, this often:",
}


def render_orders(table: OrderTable, width: int = 80) -> str:
    """Render an order table as plain text.

    Parameters
    ----------
    table : OrderTable
        From `find_order_table`; at most two speeds get a column each.
    width : int
        Longest line, in characters; at least 80.
    """
    width = max(80, width)
    sources = list(dict.fromkeys(row.source for row in (*table.engine, *table.lines)))
    blocks = [
        _head(table, width),
        ["ENGINE", *_line_head(table), *_line_rows(table.engine, sources, width)],
        ["SHAFTS", *_shafts(table, width)],
        *([["BELTS", *_belts(table.belts, width)]] if table.belts else []),
        *([["GEARS", *_gears(table.gears, width)]] if table.gears else []),
        ["LINES OF EACH PART", *_lines(table, sources, width)],
        ["SOURCES", *_sources(sources, width)],
    ]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def orders_to_dict(table: OrderTable, version: str) -> dict[str, Any]:
    """Turn an order table into plain values under their schema name; units as in the keys."""
    values: dict[str, Any] = plain_values(table)
    return {"schema": ORDERS_SCHEMA_NAME, "version": version, **values}


def _wrapped(text: str, width: int, indent: str, first: str | None = None) -> list[str]:
    return wrapped(text, width, indent if first is None else first, indent)


def _head(table: OrderTable, width: int) -> list[str]:
    lines = _wrapped(table.name, width, "")
    lines += _wrapped(
        "Orders are turns or events per turn of the crankshaft, without slip. 'off by' is how "
        "far the true order may lie from it: two standard deviations of diameters and "
        "geometry, and the whole range of slip. An asterisk marks lines that a healthy part "
        "makes too; a number in brackets is the source, told at the end. Lines under 'not as "
        "tones' are no tones of that pitch: so often the sound swells.",
        width,
        "",
    )
    for note in table.notes:
        lines += _wrapped(f"Note: {note}", width, "")
    return lines


def _speeds(table: OrderTable) -> tuple[float, ...]:
    return table.speeds_rpm[:SHOWN_SPEEDS]


def _line_head(table: OrderTable) -> list[str]:
    speeds = _speeds(table)
    upper = "".join(f"{'Hz at':>9}" for _ in speeds)
    lower = "".join(f"{f'{rpm:.0f} rpm':>9}" for rpm in speeds)
    return [
        f"{INDENT}{'':<{LABEL_WIDTH}}{'':>9}{upper}",
        f"{INDENT}{'line':<{LABEL_WIDTH}} {'order':>8}{lower}{'off by, %':>12}",
    ]


def _line_rows(rows: Iterable[OrderRow], sources: Sequence[str], width: int) -> list[str]:
    lines: list[str] = []
    for row in rows:
        hertz = "".join(f"{hz:>9.1f}" for hz in row.frequencies_hz[:SHOWN_SPEEDS])
        mark = "*" if row.natural else " "
        label = shortened(row.label, LABEL_WIDTH)
        off = _off_by(row.low_percent, row.high_percent)
        number = f"[{sources.index(row.source) + 1}]"
        left = f"{INDENT}{label:<{LABEL_WIDTH}}{mark}"
        lines.append(f"{left}{row.order:>8.3f}{hertz}{off:>12} {number}")
        if row.hidden_by:
            lines += _wrapped(f"hidden by: {'; '.join(row.hidden_by)}", width, INDENT * 4)
    return lines


def _off_by(low: float, high: float) -> str:
    """Range of an order in percent; a line locked to the crankshaft is exact."""
    if max(abs(low), abs(high)) < 0.005:
        return "exact"
    return f"{low:+.1f} {high:+.1f}"


def _lines(table: OrderTable, sources: Sequence[str], width: int) -> list[str]:
    lines: list[str] = []
    rows_of: dict[tuple[str, str], list[OrderRow]] = {}
    noises_of: dict[tuple[str, str], list[NoiseMade]] = {}
    for row in table.lines:
        rows_of.setdefault((row.part, row.mechanism), []).append(row)
    for made in table.noises:
        noises_of.setdefault((made.part, made.mechanism), []).append(made)
    for part, mechanism in _in_order_of_parts(rows_of, noises_of):
        if lines:
            lines.append("")
        lines += _wrapped(f"{part}: {mechanism}", width, INDENT)
        rows = rows_of.get((part, mechanism), [])
        if rows:
            lines += [*_line_head(table), *_rows_by_kind(rows, sources, width)]
        lines += _noises(noises_of.get((part, mechanism), []), width)
    return lines


def _in_order_of_parts(*named: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Parts with their mechanisms, each once; parts as they first come."""
    pairs = list(dict.fromkeys(pair for some in named for pair in some))
    parts = list(dict.fromkeys(part for part, _ in pairs))
    return sorted(pairs, key=lambda pair: parts.index(pair[0]))


def _rows_by_kind(rows: Sequence[OrderRow], sources: Sequence[str], width: int) -> list[str]:
    """Rows under a word for what they show as; none where all are tones."""
    lines: list[str] = []
    for shown_as, some in groupby(rows, key=lambda row: row.shows_as):
        if lines or shown_as != "tones":
            lines += _wrapped(SHOWN_AS[shown_as], width, INDENT)
        lines += _line_rows(some, sources, width)
    return lines


def _noises(made: Sequence[NoiseMade], width: int) -> list[str]:
    if not made:
        return []
    told = "; ".join(f"{one.title} ({one.probability:.0%} of cases)" for one in made)
    return _wrapped(f"noises it makes: {told}", width, INDENT * 3, INDENT)


def _shafts(table: OrderTable, width: int) -> list[str]:
    upper = "".join(f"{'rpm at':>9}" for _ in _speeds(table))
    lower = "".join(f"{f'{rpm:.0f} rpm':>9}" for rpm in _speeds(table))
    lines = [
        f"{INDENT}{'':<{SHAFT_WIDTH}}{'':>9}{upper}",
        f"{INDENT}{'shaft':<{SHAFT_WIDTH}}{'× crank':>9}{lower}{'off by, %':>12}  turns",
    ]
    for shaft in table.shafts:
        lines.append(_shaft_row(shaft))
        if shaft.way:
            lines += _wrapped(f"by {', '.join(shaft.way)}", width, INDENT * 4)
    return lines


def _shaft_row(shaft: ShaftRow) -> str:
    speeds = "".join(f"{rpm:>9.0f}" for rpm in shaft.speeds_rpm[:SHOWN_SPEEDS])
    off = _off_by(shaft.low_percent, shaft.high_percent)
    name = shortened(shaft.name, SHAFT_WIDTH - 1)
    return f"{INDENT}{name:<{SHAFT_WIDTH}}{shaft.ratio:>9.4f}{speeds}{off:>12}  {shaft.turns}"


def _belts(belts: Sequence[BeltRow], width: int) -> list[str]:
    lines: list[str] = []
    for belt in belts:
        told = [f"{belt.name}: {belt.section}"]
        if belt.length_mm is not None:
            told.append(f"pitch length {belt.length_mm:.0f} mm ({belt.length_basis})")
        if belt.turn_order is not None:
            told.append(f"comes round at order {belt.turn_order:.4f}")
        if belt.speeds_m_s:
            told.append(f"runs at {' and '.join(f'{v:.1f}' for v in belt.speeds_m_s)} m/s")
        lines += _wrapped(", ".join(told), width, INDENT * 2, INDENT)
        if belt.wrap_deg:
            wraps = ", ".join(f"{name} {deg:.0f}°" for name, deg in belt.wrap_deg.items())
            lines += _wrapped(f"wrap: {wraps}", width, INDENT * 3, INDENT * 2)
        for span in belt.spans:
            hertz = ""
            if span.frequencies_hz:
                hertz = f", flaps at {' and '.join(f'{f:.1f}' for f in span.frequencies_hz)} Hz"
            lines += _wrapped(
                f"span {span.from_pulley} to {span.to_pulley}: {span.length_mm:.0f} mm{hertz}",
                width, INDENT * 3, INDENT * 2,
            )  # fmt: skip
    return lines


def _gears(gears: Sequence[GearRow], width: int) -> list[str]:
    lines: list[str] = []
    for gear in gears:
        teeth = "–".join(str(t) for t in gear.teeth)
        hunting = ", ".join(f"{order:.4f}" for order in gear.hunting_orders)
        phases = ", ".join(str(p) for p in gear.assembly_phases)
        text = (
            f"{gear.name}: {teeth} teeth, mesh order {gear.mesh_order:g}, same teeth meet at "
            f"order {hunting} (assembly phases {phases})"
        )
        lines += _wrapped(text, width, INDENT * 2, INDENT)
    return lines


def _sources(sources: Sequence[str], width: int) -> list[str]:
    lines: list[str] = []
    for number, source in enumerate(sources, start=1):
        lines += _wrapped(source, width, INDENT * 3, f"{INDENT}[{number}] ")
    return lines
