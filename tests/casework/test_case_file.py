"""The file of a case: read back as written, refused with lines, all at once."""

import tomllib

import pytest

from acoustic.casework.case_file import parse_case_file, render_case_file
from acoustic.errors import CaseError

GOOD = """\
title = "Bus 2"
opened = 2026-11-25
complaint = "It growls"
sounds_like = ["grinding"]
odometer_km = 184000
[last_service_km]
belt = 120000
"""


def test_a_case_file_is_read_back_as_it_was_written(case_file):
    """Quotes, line ends, backslashes and other scripts come through, by TOML's own reader."""
    text = render_case_file(case_file)
    assert tomllib.loads(text)["complaint"] == case_file.complaint
    assert parse_case_file(text) == case_file


def test_control_signs_come_through(case_file):
    """TOML escapes one control character more than JSON does."""
    odd = case_file.model_copy(update={"notes": "a\x7fb\x01c\u2028d"})
    assert parse_case_file(render_case_file(odd)).notes == odd.notes


def test_words_are_evidence_as_in_a_complaint():
    """The word of the tables stands for the person's."""
    assert parse_case_file(GOOD).words.sounds == ("growl",)
    assert parse_case_file('title = "x"\nopened = 2026-01-01').words is None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("odometer_km", "odomter_km",
         "case.toml:5: odomter_km: there is no such key. Did you mean 'odometer_km'?"),
        ("184000", '"184000"',
         'case.toml:5: odometer_km = "184000": must be a number without quotes.'),
        ("184000", "-1", "case.toml:5: odometer_km = -1: must be at least 0."),
        ("2026-11-25", '"25.11.2026"', "case.toml:2: opened = \"25.11.2026\": must be a date"),
        ("opened = 2026-11-25", "", "case.toml:1: the day it was opened (opened = 2026-11-25) is"),
        ("grinding", "grumbel", "case.toml:4: sounds_like 1: 'grumbel' is no word for a sound"),
        ("belt = 120000", "belts = 1", "case.toml:7: [last_service_km] belts: there is no such"),
        ("120000", "190000", "case.toml:7: [last_service_km] belt = 190000: is more than odom"),
        ("opened =", 'layout = "/a/b.toml"\nopened =',
         'case.toml:2: layout = "/a/b.toml": must be the name of a file in this folder.'),
        ("opened = ", "opened = = ", "case.toml:2: not TOML"),
    ],
)  # fmt: skip
def test_faults_are_told_with_their_lines(old, new, said):
    """In the words of the layout file."""
    with pytest.raises(CaseError) as error:
        parse_case_file(GOOD.replace(old, new, 1))
    assert said in str(error.value)


def test_all_faults_are_told_at_once():
    """Four faults, four lines, in the order of the file."""
    text = GOOD.replace("grinding", "grumbel").replace("184000", "true").replace("belt", "bolt")
    with pytest.raises(CaseError) as error:
        parse_case_file(text + "coupling = -3\n")
    lines = str(error.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["4", "5", "7", "8"]
