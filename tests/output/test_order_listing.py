"""The list of everything a drive can make."""

import json
import re

import pytest

from acoustic.drive.order_table import find_order_table
from acoustic.output.json_report import render_json
from acoustic.output.order_listing import orders_to_dict, render_orders


@pytest.fixture(scope="module")
def table(drive):
    """Make the sample drive's table at 850 and 2000 rpm."""
    return find_order_table(drive)


def test_every_line_of_every_part_is_listed_once(table):
    """As many numbered rows as the table has lines, engine rows included."""
    rows = re.findall(r"\[\d+\]$", render_orders(table), flags=re.MULTILINE)
    assert len(rows) == len(table.lines) + len(table.engine)


def test_a_row_can_be_worked_out_by_hand(table, drive):
    """Alternator 60 mm pitch on a 170.45 mm crank pulley turns at order 2.841: 94.7 Hz at 2000."""
    listing = render_orders(table)
    alternator = listing[listing.index("  alternator: unbalance") :]
    row = next(line for line in alternator.splitlines() if line.startswith("  shaft speed "))
    ratio = (
        drive.pulleys["crank pulley"].pitch_diameter_mm
        / drive.pulleys["alternator"].pitch_diameter_mm
    )
    assert f"{ratio:.3f}" in row
    assert f"{ratio * 2000 / 60:.1f}" in row


def test_lines_fit_80_columns_and_end_clean(table):
    """For a terminal and a printed sheet."""
    lines = render_orders(table).splitlines()
    assert max(map(len, lines)) <= 80
    assert all(line == line.rstrip() for line in lines)


def test_columns_share_their_decimal_points(table):
    """Orders stand under each other all the way down."""
    rows = [line for line in render_orders(table).splitlines() if re.search(r"\[\d+\]$", line)]
    assert len({re.search(r"(\.)\d{3} ", row).start(1) for row in rows}) == 1


def test_lines_of_the_swelling_are_told_from_tones(table):
    """As knocks, growl or cries: each such line stands under its words, tones under none.

    A worn pulley's chirp once a turn is no tone at that pitch.
    """
    kinds = {"as tones": "tones", "as knocks": "impacts", "rough noise": "roughness",
             "short cries": "bursts"}  # fmt: skip
    counted = dict.fromkeys(kinds.values(), 0)
    kind = "tones"
    listing = render_orders(table).split("LINES OF EACH PART\n")[1].split("\n\nSOURCES")[0]
    for line in listing.splitlines():
        heads = [shown for words, shown in kinds.items() if words in line and line.endswith(":")]
        if re.match(r"  \S.*: \S", line) or not line:
            kind = "tones"
        if heads:
            kind = heads[-1]
        counted[kind] += bool(re.search(r"\[\d+\]$", line))
    assert counted == {kind: sum(row.shows_as == kind for row in table.lines) for kind in counted}
    assert min(counted.values()) > 0


def test_noises_without_lines_are_listed(table):
    """Each mechanism's noises by their titles; the engine's hiss and misfire have no lines."""
    text = " ".join(render_orders(table).split())
    listed = [noise.title for noise in table.noises]
    assert text.count("noises it makes: ") == len({(n.part, n.mechanism) for n in table.noises})
    assert all(title in text for title in listed)
    assert {noise.noise for noise in table.noises} >= {"hiss", "uneven firing"}
    report = orders_to_dict(table, "9.9")
    assert report["noises"][0].keys() == {"part", "mechanism", "noise", "title", "probability"}


def test_what_hides_a_line_is_said(table):
    """Shaft speed of the water pump lies below what a phone passes at idle."""
    assert re.search(r"hidden by: below 60 Hz at 850", render_orders(table))


def test_each_source_is_told_once(table):
    """Every number used has its source, and none is told twice."""
    text = render_orders(table)
    body, sources = text.split("SOURCES\n")
    used = set(re.findall(r"\[(\d+)\]$", body, flags=re.MULTILINE))
    told = re.findall(r"^  \[(\d+)\] ", sources, flags=re.MULTILINE)
    assert used == set(told)
    assert len(told) == len(set(told))


def test_gears_are_exact_and_slipping_belts_are_not(rear_drive):
    """A gear-driven shaft's order is exact; one behind a belt carries a range."""
    text = render_orders(find_order_table(rear_drive, 700))
    row = next(line for line in text.splitlines() if line.startswith("  accessory shaft"))
    assert "exact" in row
    row = next(line for line in text.splitlines() if line.startswith("  pumps pulley"))
    assert re.search(r"-\d\.\d \+\d\.\d", row)


def test_the_values_for_programs_hold_the_whole_table(table):
    """Shafts, belts, lines with order and source; JSON takes it without NaN."""
    report = json.loads(render_json(orders_to_dict(table, "9.9")))
    assert (report["schema"], report["version"]) == ("acoustic-orders/1", "9.9")
    assert len(report["lines"]) == len(table.lines)
    assert {s["name"] for s in report["shafts"]} >= {"crankshaft", "alternator"}
    assert all(line["source"] for line in report["lines"])
