"""Sentences of evidence with their figures."""

from dataclasses import replace

import pytest

from acoustic.evidence.findings import Tone
from acoustic.verdict.suspects import LineEvidence
from acoustic.verdict.wording import (
    evidence_against,
    evidence_for,
    families_near,
    hertz,
    probability_number,
    probability_word,
    stray_remark,
)

HEARD = LineEvidence(0, "outer race", 6.49, 6.50, 86.6, 14.2, "heard", 5.0)
MISSING = LineEvidence(0, "outer race, 2nd", 12.98, None, 173.1, 0.4, "missing", -1.5)
HIDDEN = LineEvidence(0, "shaft", 2.13, None, 28.4, None, "hidden", 0.0)


def test_a_heard_line_is_told_with_its_figures() -> None:
    """Hz, order heard and expected, dB above the floor."""
    (sentence,) = evidence_for([HEARD, MISSING, HIDDEN], 1)
    for figure in ("86.6 Hz", "6.500", "6.490", "14 dB"):
        assert figure in sentence
    assert "recording" not in sentence


def test_several_recordings_are_counted_from_one() -> None:
    """The second of two is recording 2."""
    (sentence,) = evidence_for([replace(HEARD, recording=1)], 2)
    assert "recording 2" in sentence


def test_strongest_first_and_no_endless_list() -> None:
    """Six heard lines: the four strongest and how many more."""
    lines = [replace(HEARD, label=f"line {n}", support=float(n)) for n in range(1, 7)]
    sentences = evidence_for(lines, 1)
    assert len(sentences) == 5
    assert sentences[0].startswith("line 6:")
    assert "2 more" in sentences[-1]


def test_missing_and_hidden_lines_are_told_apart() -> None:
    """One should have been there; one could not be heard, which is not held against it."""
    missing, hidden = evidence_against([HEARD, MISSING, HIDDEN], 1)
    assert "173.1 Hz" in missing
    assert "1 of 3 lines could not be heard" in hidden


def test_a_line_hardly_expected_is_no_evidence_against() -> None:
    """A missing line of no weight is not worth a sentence."""
    assert evidence_against([replace(MISSING, support=-0.05)], 1) == ()


@pytest.mark.parametrize(
    ("probability", "word"),
    [(0.95, "likely"), (0.8, "possible"), (0.5, "possible"), (0.3, "unsure"), (0.1, "unlikely")],
)
def test_words_for_probabilities(probability, word) -> None:
    """Likely above 0.8, possible from 0.5."""
    assert probability_word(probability) == word


def test_nothing_is_certain() -> None:
    """Neither 1.00 nor 0.00 is ever written."""
    assert [probability_number(p) for p in (1.0, 0.0, 0.5)] == [">0.99", "<0.01", "0.50"]
    assert hertz(999.94) == "999.9 Hz" and hertz(1000.4) == "1000 Hz"


def test_parts_near_a_stray_tone(family) -> None:
    """Within 2 %, each part once."""
    families = [family("pump", [11.3, 11.4]), family("fan", [9.0]), family("idler", [11.35])]
    assert families_near(families, 11.35, 0.02) == ("pump", "idler")


TONE = Tone(17.3, 0.02, 233.5, 12.0, 3.0, False, 1e-5, 0.9, "follows speed")


def test_what_can_be_said_of_a_stray_tone() -> None:
    """Whether it follows the engine, whether it sits by an engine order, what is near."""
    assert stray_remark(TONE, (), 0.5) == "follows the engine speed"
    assert "one frequency" in stray_remark(replace(TONE, kind="fixed frequency"), (), 0.5)
    assert "may follow" in stray_remark(replace(TONE, kind="cannot tell"), (), 0.5)
    assert "engine order" in stray_remark(replace(TONE, order=17.52), (), 0.5)
    remark = stray_remark(TONE, ("pump", "fan"), 0.5)
    assert "pump, fan" in remark and "does not fit" in remark
