"""The order table: figures for people."""

import pytest

from acoustic.drive.layout_file import parse_drive, read_drive
from acoustic.drive.order_table import find_order_rows, find_order_table, offset_range


def test_speeds(small) -> None:
    """One speed if asked for, else mid idle and about 2000 rpm."""
    drive = parse_drive(small)
    assert find_order_table(drive, rpm=1234).speeds_rpm == (1234,)
    assert find_order_table(drive).speeds_rpm == (850, 2000)


def test_shaft_rows(small) -> None:
    """Speed, sense and way of each shaft; senses as seen facing the drive."""
    rows = {row.name: row for row in find_order_table(parse_drive(small), rpm=600).shafts}
    assert rows["crankshaft"].frequencies_hz == (10,)
    assert rows["alternator"].speeds_rpm == pytest.approx((600 * 154 / 60,))
    assert (rows["crankshaft"].turns, rows["idler"].turns) == ("clockwise", "anticlockwise")
    assert rows["alternator"].way == (
        "belt main, crank pulley to alternator, pitch 154.0 to 60.0 mm",
    )


def test_ranges(small) -> None:
    """Two sd of both diameters, and the whole slip downwards."""
    drive = parse_drive(small)
    depends = {"diameter of crank pulley": 1.0, "slip of belt main": -1.0}
    low, high = offset_range(drive, depends)
    assert (low, high) == pytest.approx((-0.03 - 2 * 0.003, 2 * 0.003))
    exact = {row.name: row for row in find_order_table(drive).shafts}["crankshaft"]
    assert (exact.low_percent, exact.high_percent) == (0, 0)


def test_rows_below_the_phones_limit_say_so(small) -> None:
    """The idler turns at 28 Hz at 800 rpm, under 60 Hz, and at 70 Hz at 2000 rpm."""
    idle = find_order_rows(parse_drive(small), rpm=800)
    held = find_order_rows(parse_drive(small), rpm=2000)
    at_idle = next(row for row in idle if (row.part, row.label) == ("idler", "shaft speed"))
    at_held = next(row for row in held if (row.part, row.label) == ("idler", "shaft speed"))
    assert "below 60 Hz at 800 rpm" in at_idle.hidden_by
    assert not any("60 Hz" in text for text in at_held.hidden_by)


def test_two_pumps_on_one_shaft_hide_each_other(sample_drive) -> None:
    """Behind one pulley the shaft orders of both pumps are the same line."""
    drive = sample_drive("rear_six.toml")
    rows = find_order_rows(drive, rpm=2000)
    row = next(row for row in rows if (row.part, row.label) == ("water pump", "shaft speed"))
    assert any(text.startswith("steering pump: shaft speed") for text in row.hidden_by)
    mesh = next(row for row in rows if row.label == "gear mesh")
    assert "exactly on engine order 48" in mesh.hidden_by
    (gears,) = find_order_table(drive).gears
    assert gears.wheel_orders == pytest.approx((1, 1.297297, 1.5), abs=1e-6)
    assert gears.hunting_orders == pytest.approx((1 / 37, 1.5 / 37), abs=1e-9)


def test_engine_rows(small) -> None:
    """A four-stroke four: half orders, and firing at 2, 4, 6."""
    rows = find_order_table(parse_drive(small), rpm=600).engine
    assert [row.order for row in rows] == [0.5, 2, 4, 6]
    assert rows[1].frequencies_hz == (20,)


def test_every_sample_has_a_whole_table(sample) -> None:
    """Every line of every sample gets figures at both speeds and a source."""
    table = find_order_table(read_drive(sample))
    assert table.lines
    for row in table.lines:
        assert len(row.frequencies_hz) == len(table.speeds_rpm)
        assert row.low_percent <= 0 <= row.high_percent
        assert row.source
    for belt in table.belts:
        assert belt.turn_hz is not None


def test_lines_of_the_envelope_are_marked_and_pass_the_phone(small) -> None:
    """A beat of 28 Hz at idle is carried by a high sound, so no phone takes it away."""
    rows = find_order_rows(parse_drive(small), rpm=800)
    knock = next(r for r in rows if (r.part, r.label) == ("idler", "knock once a turn"))
    tone = next(r for r in rows if (r.part, r.label) == ("idler", "shaft speed"))
    assert knock.order == tone.order
    assert (knock.shows_as, tone.shows_as) == ("impacts", "tones")
    assert any("60 Hz" in text for text in tone.hidden_by)
    assert not any("60 Hz" in text for text in knock.hidden_by)


def test_lines_hide_only_lines_of_their_own_realm(sample_drive) -> None:
    """A tone is hidden by tones, a line of the envelope by lines of the envelope."""
    drive = sample_drive("front_four.toml")
    labels = {
        (row.part, row.label): row.shows_as == "tones" for row in find_order_rows(drive, rpm=2000)
    }
    seen = 0
    for row in find_order_rows(drive, rpm=2000):
        for text in row.hidden_by:
            part, _, rest = text.partition(": ")
            label = rest.rpartition(" (")[0]
            if (part, label) in labels:
                seen += 1
                assert labels[part, label] is (row.shows_as == "tones"), (row, text)
    assert seen > 20


def test_race_lines_near_a_multiple_of_their_shaft_say_so(sample_drive) -> None:
    """Both fall near it; a rough bearing's own turn is no such neighbour."""
    rows = [
        row for row in find_order_rows(sample_drive("bearing_bench.toml")) if row.part == "motor"
    ]
    ball = next(
        r for r in rows if r.label == "ball strikes (twice the ball spin)" and "fan" in r.mechanism
    )
    assert any("4 times its own shaft" in text for text in ball.hidden_by)
    rough = [r for r in rows if r.label == "roughness once a turn"]
    assert rough
    assert not any("its own shaft" in text for r in rough for text in r.hidden_by)


def test_a_lagging_line_hides_nothing_and_is_not_hidden(sample_drive) -> None:
    """A loose coupling's lines are the alternator's again, 0.4 to 10 % low."""
    rows = find_order_rows(sample_drive("rear_six.toml"), rpm=2000)
    own = [row for row in rows if row.part == "coupling to alternator shaft"]
    lagging = [row for row in own if row.mechanism.startswith("loose coupling")]
    assert lagging
    assert all(row.low_percent < -9 and not row.hidden_by for row in lagging)
    tones = [row for row in rows if row.shows_as == "tones"]
    assert not any("coupling to" in text for row in tones for text in row.hidden_by)
