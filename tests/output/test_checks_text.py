"""The ranked checks and the decision as plain text."""

from pathlib import Path

import pytest

from acoustic.casework.next_checks import rank_checks
from acoustic.casework.repair_choice import ChoiceSettings, choose_repair
from acoustic.casework.service_due import Mileage
from acoustic.drive.layout_file import read_drive
from acoustic.output.checks_text import render_checks, render_choice
from acoustic.verdict.belief import Belief

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"


@pytest.fixture(scope="module")
def case():
    """Pump or idler, with a rate and an odometer reading."""
    drive = read_drive(LAYOUT)
    belief = Belief(
        ("water pump", "guide idler"),
        (((), 0.1), ((0,), 0.5), ((1,), 0.4)),
        ({"rough inside": 1.0}, {"rough bearing": 1.0}),
    )
    ranked = rank_checks(drive, belief, drive.knowledge)
    settings = ChoiceSettings(labour_rate_per_hour=50, currency="EUR")
    choice = choose_repair(drive, belief, ranked, drive.knowledge, Mileage(250_000), settings)
    return ranked, choice


@pytest.mark.parametrize("width", [40, 80, 120])
def test_lines_keep_their_width(case, width):
    """No line is longer, none has blanks behind it."""
    ranked, choice = case
    for text in (render_checks(ranked, choice, width), render_choice(choice, width)):
        assert text.endswith("\n") and not text.endswith("\n\n")
        for line in text.splitlines():
            assert len(line) <= width
            assert line == line.rstrip()


def test_checks_show_steps_results_and_caution(case):
    """In order of rank, with minutes, tools and what each result would do."""
    ranked, choice = case
    text = render_checks(ranked, choice, 400, most=2)
    first, second, third = ranked[:3]
    assert text.index(f"1. {first.check.title}: {first.part}") < text.index(
        f"2. {second.check.title}: {second.part}"
    )
    assert f"3. {third.check.title}" not in text
    assert f"{len(ranked) - 2} more settle less per minute." in text
    for step in first.check.how:
        assert f"- {step}" in text
    for result in first.results:
        assert f"> {result.result}: {result.sentence}" in text
    assert f'acoustic case check FOLDER "{first.check.id}"' in text
    assert f"Caution: {first.check.caution}" in text
    assert f"{first.minutes:.0f} min, engine {first.check.engine}" in text
    assert choice.stop.sentence in text
    assert "The maker's manual" in text


def test_the_decision_shows_both_ways_and_the_work(case):
    """Hours and money of opening now and of a check first, each suspect, service, words."""
    _, choice = case
    text = render_choice(choice, 600)
    now, first = choice.open_now, choice.check_first
    hours = now.working_hours
    assert f"Open now: {hours:.2f} h of work expected = {hours * 50:.0f} EUR" in text
    assert f"({now.expected_hours:.2f} h in the comparison)" in text
    assert f"{first.working_hours:.2f} h of work expected" in text
    for part in ("water pump: worn inside", "guide idler: worn bearing"):
        assert part in text
    assert "access 3.5 h; own workshop" in text
    assert "Change together: Coolant and gasket" in text
    assert "water pump: due unless it has been changed" in text
    assert "FOR THE CUSTOMER" in text


def test_nothing_left_is_said(case):
    """An empty ranking is an answer too."""
    _, choice = case
    assert "None left." in render_checks((), choice)
