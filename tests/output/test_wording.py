"""How figures are said."""

import pytest

from acoustic.output import wording


@pytest.mark.parametrize(
    ("probability", "word"),
    [(0.81, "likely"), (0.80, "possible"), (0.5, "possible"), (0.49, "unsure"), (0.1, "unlikely")],
)
def test_a_probability_has_one_word(probability, word):
    """Likely above 0.8, possible from 0.5: the words stand for these figures alone."""
    assert wording.probability_word(probability) == word


def test_no_probability_is_shown_as_certain():
    """One clip never proves or clears a part, so 0 and 1 are never written."""
    assert wording.probability_text(1.0) == ">0.99 likely"
    assert wording.probability_text(0.0) == "<0.01 unlikely"


@pytest.mark.parametrize("word", ["belts", "fans", "Exhaust gas", "jack", "maker's manual"])
def test_the_caution_names_what_hurts(word):
    """The usual dangers at a running engine; common practice, no source."""
    assert word in wording.RUNNING_ENGINE_CAUTION


def test_a_long_name_shows_that_it_is_cut():
    """A name of 12 letters in 8 characters ends in an ellipsis and fits."""
    assert wording.shortened("steeringpump", 8) == "steerin…"
    assert wording.shortened("idler", 8) == "idler"
