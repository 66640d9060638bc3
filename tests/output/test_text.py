"""The answer as text."""

import dataclasses
import re

from acoustic.output.text import render_text
from acoustic.output.wording import RUNNING_ENGINE_CAUTION

HEADINGS = [
    "ANSWER",
    "HOW SURE AND WHY",
    "WHAT TO DO NEXT",
    "WHAT WAS SEEN",
    "LIMITS AND SETTINGS",
]


def headings(text):
    """Lines in capitals, in the order printed."""
    return [line for line in text.splitlines() if re.fullmatch(r"[A-Z][A-Z ]+", line)]


def flat(text):
    """Text with wraps undone, to look for sentences."""
    return " ".join(text.split())


def test_the_answer_comes_first_in_a_pipe_and_last_on_a_terminal(screening):
    """The same blocks, turned round."""
    assert headings(render_text(screening)) == HEADINGS
    last = render_text(screening, answer_last=True)
    assert headings(last) == HEADINGS[::-1]
    assert sorted(last.split("\n")) == sorted(render_text(screening).split("\n"))


def test_no_line_is_wider_than_asked(screening):
    """80 columns by default, also with long part names; 60 when asked."""
    long = dataclasses.replace(screening.suspects[0], part="idler beside the long bracket " * 3)
    wide = dataclasses.replace(screening, suspects=(long, *screening.suspects[1:]))
    for width in (60, 80, 100):
        assert max(map(len, render_text(wide, width).splitlines())) <= width


def test_no_line_ends_in_a_blank(screening):
    """Trailing blanks are noise in a mail or a comparison."""
    assert not re.search(r"[ \t]\n", render_text(screening))


def test_probabilities_are_a_number_and_a_word(screening):
    """Both claims of the first suspect: makes the sound 0.97, faulty 0.91."""
    row = next(r for r in render_text(screening).splitlines() if r.startswith("  idler  "))
    assert re.search(r"0\.97 likely\s+0\.91 likely$", row)


def test_parts_that_cannot_be_told_apart_are_named_with_the_reason(screening):
    """Once, in the answer itself, though both rows carry the group."""
    text = flat(render_text(screening))
    sentence = "Cannot tell idler from tensioner: same diameter on the same belt side"
    assert sentence in text.split("HOW SURE AND WHY")[0]
    assert text.count("Cannot tell") == 1


def test_cautions_are_always_there(screening, unfit):
    """With suspects the check's own caution too; without any the general one still."""
    assert RUNNING_ENGINE_CAUTION in flat(render_text(screening))
    assert "Release the tensioner with the engine off" in flat(render_text(screening))
    assert RUNNING_ENGINE_CAUTION in flat(render_text(unfit))


def test_numbers_stand_under_each_other(screening):
    """Decimal points of the order column of the line table share one column."""
    rows = [r for r in render_text(screening).splitlines() if r.startswith("    outer race")]
    assert len(rows) == 3
    assert len({re.search(r"\d(\.)\d\d ", r).start(1) for r in rows}) == 1


def test_what_was_left_out_says_when_and_why(screening):
    """Seconds and reason of the one gap."""
    assert "12.0 to 14.0 s left out: a bump on the phone." in flat(render_text(screening))


def test_a_remark_comes_with_its_advice(screening):
    """What is wrong and what to do at the engine."""
    assert "are clipped. Hold the phone further away." in flat(render_text(screening))


def test_a_part_is_never_called_bad(screening, unfit):
    """A likely source is named, no part is condemned."""
    for answer in (screening, unfit):
        assert not re.search(r"\bbad\b", render_text(answer))


def test_an_unfit_clip_has_no_empty_blocks(unfit):
    """Blocks with nothing to say are left out; speed is said to be unknown."""
    text = render_text(unfit)
    assert headings(text) == [h for h in HEADINGS if h != "HOW SURE AND WHY"]
    assert "engine speed not known" in text


def test_every_remark_is_told_once(screening):
    """A remark from reading the file that the check repeats is not said twice."""
    heard = screening.heard[0]
    recording = dataclasses.replace(heard.recording, remarks=heard.quality)
    again = dataclasses.replace(heard, recording=recording)
    text = flat(render_text(dataclasses.replace(screening, heard=(again,))))
    assert text.count("are clipped") == 1


def test_swelling_is_listed_apart_from_tones(swelling_screening, screening):
    """Order, times a second, band, a plain word; said to be no tones; only where there is any."""
    text = render_text(swelling_screening)
    assert re.search(r"4\.370 +58\.3 +917 to 1320 +17\.2 +strong", text)
    assert re.search(r"1\.333 +17\.8 +600 to 1000 +7\.1 +weak\n +at a multiple of a third", text)
    assert text.index("Tones that no part") < text.index("Swelling that no part")
    assert "These are no tones" in text
    assert "Swelling" not in render_text(screening)
    assert max(map(len, render_text(swelling_screening, 80).splitlines())) <= 80
