"""Reading speed logs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from acoustic.errors import SpeedError
from acoustic.recording.speed_log import read_speed_log


@pytest.fixture
def log(tmp_path: Path) -> Callable[[str], Path]:
    """Write text as a log file."""

    def write(text: str) -> Path:
        place = tmp_path / "log.csv"
        place.write_bytes(text.encode("utf-8"))
        return place

    return write


@pytest.mark.parametrize(
    "text",
    [
        "time_s,rpm\n10,850\n10.5,860\n11,855\n",
        "time,speed\n10,850\n10.5,860\n11,855\n",
        "# bus 4, cold\n\nSeconds; Engine speed [1/min]\n10;850\n10,5;860,0\n11;855\n",
        "n;gear;RPM;Time (s)\nx;1;850;10\nx;1;860;10,5\nx;1;855;11\n",
        'time,"engine_rpm"\n"10,0","850,0"\n"10,5","860,0"\n"11,0","855,0"\n',
        "time_ms\tspeed_hz\n10000\t14.166666667\n10500\t14.333333333\n11000\t14.25\n",
        "\ufefftime,rpm\r\n13:05:10,850\r\n13:05:10.5,860\r\n13:05:11,855\r\n",
        "time_s,rpm\n10,840\n10,860\n10.5,860\n11,855\n",
    ],
)
def test_reads_many_spellings(log: Callable[[str], Path], text: str) -> None:
    """Names, units, separators, decimal signs, clock times, doubled times: one meaning."""
    speed_log = read_speed_log(log(text))
    assert speed_log.time_s == pytest.approx([0.0, 0.5, 1.0])
    assert speed_log.speed_rpm == pytest.approx([850.0, 860.0, 855.0])
    assert speed_log.name == "log.csv"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "at least two rows"),
        ("time,rpm\n1,850\n", "at least two rows"),
        ("when,rpm\n1,850\n2,850\n", "line 1: no column of time.*'when', 'rpm'"),
        ("# bus\ntime,gear\n1,2\n2,2\n", "line 2: no column of speed"),
        ("time,rpm\n1,850\n2,abc\n3,850\n", "line 3: rpm is 'abc'; a number"),
        ("time,rpm\n1,850\n2,nan\n3,850\n", "line 3: rpm is 'nan'; a number"),
        ("time,rpm\n1,850\n2\n3,850\n", "line 3: rpm is missing"),
        ("time,rpm\n1,850\n2,0\n3,850\n", "line 3: speed is 0 rpm"),
        ("time,rpm\n1,850\n2,-5\n3,850\n", "line 3: speed is -5 rpm"),
        ("time,rpm\n1,850\n3,850\n2,850\n", "line 4: time goes back to 2 s"),
        ("time;rpm\n1;1.234,5\n2;850\n", "line 2: rpm is '1.234,5'"),
        ("time,rpm\n" + "1,x\n" * 8, "line 6: .*\n.*3 more lines"),
        ("RIFF\0\0\0\0WAVE", "no text file"),
    ],
)
def test_says_which_line_is_wrong(log: Callable[[str], Path], text: str, told: str) -> None:
    """Each fault names the line, the column and the value."""
    with pytest.raises(SpeedError, match=told):
        read_speed_log(log(text))


def test_missing_log(tmp_path: Path) -> None:
    """A missing file and a folder are said as such."""
    with pytest.raises(SpeedError, match="no such speed log"):
        read_speed_log(tmp_path / "missing.csv")
    with pytest.raises(SpeedError, match="no such speed log"):
        read_speed_log(tmp_path)


def test_huge_logs_are_refused(tmp_path: Path) -> None:
    """A file of 21 MB is no log of one recording."""
    place = tmp_path / "log.csv"
    with place.open("wb") as file:
        file.truncate(21_000_000)
    with pytest.raises(SpeedError, match="larger than 20 MB"):
        read_speed_log(place)
