"""What the customer and the workshop are told."""

import re

import pytest

from acoustic.casework.choice_words import customer_sentences, tenths_words, work_order_line
from acoustic.casework.next_checks import rank_checks
from acoustic.casework.repair_choice import ChoiceSettings, choose_repair
from acoustic.casework.service_due import Mileage
from acoustic.verdict.belief import Belief

JARGON = re.compile(
    r"\b(probabilit|likelihood|nat|entropy|Hz|dB|spectr|orders?|mechanism|suspect|harmonic|P\()",
)


def decide(drive, belief, knowledge, mileage=None, **settings):
    """Rank and choose."""
    ranked = rank_checks(drive, belief, knowledge)
    return choose_repair(drive, belief, ranked, knowledge, mileage, ChoiceSettings(**settings))


@pytest.fixture
def likely_pump() -> Belief:
    """Water pump 0.7, idler 0.1, none of them 0.2."""
    return Belief(
        ("water pump", "guide idler"),
        (((), 0.2), ((0,), 0.7), ((1,), 0.1)),
        ({"rough inside": 1.0}, {"rough bearing": 1.0}),
    )


def test_the_customer_is_told_plainly_and_what_is_not_certain(front_four, likely_pump, knowledge):
    """The likeliest first, the others, that it may be none, a check first, no jargon."""
    told = customer_sentences(decide(front_four, likely_pump, knowledge))
    text = " ".join(told)
    assert told[0].startswith("The noise most likely comes from this part: water pump.")
    assert "of ten vehicles with these signs about seven" in text.lower()
    assert "It could also be: idler pulley." in text
    assert "In about two of ten such cases it is none of the parts we looked at." in text
    assert "one more check" in text
    assert "it can be less or more" in text
    assert "no proof" in told[-1]
    assert not JARGON.search(text), JARGON.search(text)


def test_hours_and_money_of_opening(front_four, likely_pump, knowledge):
    """No check left, 60 an hour: the idler goes first, being quickly reached, then the pump."""
    settings = ChoiceSettings(labour_rate_per_hour=60.0, currency="EUR")
    choice = choose_repair(front_four, likely_pump, (), knowledge, settings=settings)
    text = " ".join(customer_sentences(choice))
    # 0.1 in 0.4 h is 0.25 an hour, 0.7 in 3.5 h 0.2 an hour.
    assert "look into this part first: idler pulley." in text
    assert "about 0.4 hours (24 EUR)" in text
    assert "quickly reached" in text
    # 0.4 + 0.9 x 3.5 = 3.55 h, at 60 an hour 213.
    assert re.search(r"about 3\.[56] hours of work on average \(213 EUR\)", text)


def test_a_weak_suspicion_is_not_called_likely(front_four, knowledge):
    """0.3: far from certain; 0.1: no part is named."""
    shares = ({"rough inside": 1.0},)
    weak = Belief(("water pump",), (((), 0.7), ((0,), 0.3)), shares)
    assert "far from certain" in " ".join(customer_sentences(decide(front_four, weak, knowledge)))
    none = Belief(("water pump",), (((), 0.9), ((0,), 0.1)), shares)
    told = customer_sentences(decide(front_four, none, knowledge))
    assert told[0].startswith("The signs so far do not point clearly")
    assert told[1] == "In question are: water pump."


def test_the_work_order_is_one_line(front_four, likely_pump, knowledge):
    """Check first, what to open, what then, what with it, what is due."""
    choice = decide(front_four, likely_pump, knowledge, Mileage(250_000))
    line = work_order_line(choice)
    assert "\n" not in line
    first = choice.check_first.ranked
    assert line.startswith(f"First check {first.part}, {first.minutes:.0f} min: ")
    assert first.check.title in line
    assert "Due by distance: water pump" in line
    assert "belt main" in line


def test_the_work_order_of_a_sure_part(with_hours, two_idlers, only_check):
    """Part, how likely, access, who, and what comes next if it is not that."""
    drive = with_hours({"guide idler": None, "flat idler": 0.4})
    belief = Belief(two_idlers.parts, (((0,), 0.96), ((1,), 0.04)), two_idlers.mechanisms)
    line = work_order_line(decide(drive, belief, only_check(0.1, 0.9)))
    assert line.startswith(
        "Open guide idler: worn bearing, rough all round (faulty 0.96); access time not in the "
        "layout, reckoned with 1.0 h; own workshop, to the maker's manual."
    )
    assert "If it is not that: flat idler (then >0.99)." in line


def test_nothing_worth_opening(with_hours, two_idlers, only_check):
    """It says so and what to do instead, however cheap it would be to open something."""
    front_four = with_hours({"guide idler": 0.1})
    sound = Belief(two_idlers.parts, (((), 0.97), ((0,), 0.03)), two_idlers.mechanisms)
    choice = decide(front_four, sound, only_check(0.1, 0.9))
    assert work_order_line(choice).startswith("Open nothing yet")
    assert "We would not take anything apart yet." in customer_sentences(choice)


def test_tenths():
    """Every tenth has a word; the ends claim no certainty."""
    words = [tenths_words(k / 10) for k in range(11)]
    assert len(set(words)) == 11
    assert words[0] == "fewer than one" and words[10] == "nearly all"
