"""``acoustic case screen, next, check, close, record`` and the gate: as a person types them.

One clip of the sample case is screened once; each test works on a copy of that case. The
fault was planted in the idler.
"""

import json
import shutil

import numpy as np
import pytest
import soundfile

from acoustic.casework.case_folder import read_case
from acoustic.casework.history import CheckDone, Outcome, ScreeningMade
from acoustic.cli import main
from acoustic.cli.app import EXIT_INPUT, EXIT_UNFIT
from acoustic.cli.demo_command import PLANTED_MECHANISM, PLANTED_PART

SPIN = ("spin by hand", "--part", PLANTED_PART, "--result")


@pytest.fixture(scope="module")
def screened_once(case, tmp_path_factory):
    """Give the folder of a case with one clip, screened."""
    folder = tmp_path_factory.mktemp("screened") / "bus"
    typed = [
        ["new", folder, "--layout", case / "library_bus.toml", "--sounds-like", "growl"],
        ["add", folder, case / "idle.m4a"],
        ["screen", folder],
    ]
    for words in typed:
        assert main(["case", *map(str, words)]) == 0
    return folder


@pytest.fixture
def bus(screened_once, tmp_path):
    """Give a copy of the screened case."""
    return shutil.copytree(screened_once, tmp_path / "cases" / "bus")


@pytest.fixture
def new(case, acoustic, tmp_path):
    """Give the folder of a new case without recordings."""
    folder = tmp_path / "cases" / "new"
    code, _, _ = acoustic("case", "new", folder, "--layout", case / "library_bus.toml")
    assert code == 0
    return folder


@pytest.fixture
def without_idler(bus):
    """Give the screened case with its suspect gone from the layout."""
    layout = bus / "layout.toml"
    text = layout.read_text("utf-8")
    text = text.replace(PLANTED_PART, "roller").replace('kind = "roller"', 'kind = "idler"')
    layout.write_text(text, "utf-8")
    return bus


def _untouched(folder):
    return (folder / "history.jsonl").read_bytes()


def _odds(text):
    """What "next" says is believed, after its line on the number of checks."""
    return text.partition("ONE MORE CHECK?")[2]


# ------------------------------------------------------------------ the gate


@pytest.mark.parametrize(
    ("clip", "code", "said"),
    [
        ("silence.wav", EXIT_UNFIT, "silence.wav: the clip is silent from end to end."),
        ("text.m4a", EXIT_INPUT, "text.m4a: this is a text file, not sound."),
        ("empty.wav", EXIT_INPUT, "empty.wav: the file is empty"),
        ("nothing.wav", EXIT_INPUT, "there is no such file"),
    ],
)
def test_what_cannot_be_read_is_not_stored(acoustic, new, clips, clip, code, said):
    """One line, and the case is as it was."""
    got, out, err = acoustic("case", "add", new, "--rpm", "heard", clips / clip)
    assert (got, out) == (code, "")
    assert said in err
    assert len(err.splitlines()) == 1
    assert list((new / "recordings").iterdir()) == []
    assert _untouched(new) == b""


def test_half_a_file_is_not_stored(acoustic, new, case, tmp_path):
    """Cut on its way."""
    whole = (case / "idle.m4a").read_bytes()
    torn = tmp_path / "idle.m4a"
    torn.write_bytes(whole[: len(whole) // 3])
    code, _, err = acoustic("case", "add", new, torn)
    assert code == EXIT_INPUT
    assert "idle.m4a: the file is cut" in err
    assert _untouched(new) == b""


def test_an_unusable_clip_is_kept_and_marked(acoustic, new, clips):
    """Bare noise: its speed cannot be heard. It is not screened."""
    code, out, _ = acoustic("case", "add", new, "--rpm", "heard", clips / "noise.wav")
    assert code == EXIT_UNFIT
    assert "Not usable" in out
    assert "kept, but left out of screenings" in out
    assert f"acoustic case undo {new} 1, then add it again with --rpm N" in out
    assert "not usable" in acoustic("case", "show", new)[1]
    code, _, err = acoustic("case", "screen", new)
    assert code == EXIT_INPUT
    assert "none of its 1 recordings before the repair is usable" in err


def test_a_wrong_speed_is_mended_as_it_is_told(acoustic, new, case):
    """1500 rpm stated at idle; taken back and added again."""
    code, out, _ = acoustic("case", "add", new, "--rpm", 1500, case / "idle.m4a")
    assert code == EXIT_UNFIT
    assert "Correct the speed, or record it again." in out
    assert acoustic("case", "undo", new, 1)[0] == 0
    code, out, _ = acoustic("case", "add", new, "--rpm", 810, case / "idle.m4a")
    assert code == 0
    assert "Usable: 20 s at 81" in out
    assert "Answers step " in out
    assert len(read_case(new).recordings) == 1


def test_the_same_clip_told_otherwise_is_pointed_out(acoustic, bus, case):
    """Nothing is changed; how to change it is said. Told alike, nothing more is said."""
    before = _untouched(bus)
    code, out, _ = acoustic("case", "add", bus, "--point", "alternator", case / "idle.m4a")
    assert code == 0
    assert "in the case already, as number 1" in out
    assert "It is entered as: in front of the drive" in out
    assert f"acoustic case undo {bus} 1" in out
    assert "It is entered as" not in acoustic("case", "add", bus, case / "idle.m4a")[1]
    assert _untouched(bus) == before


def test_another_speed_than_the_plan_asks_for_is_told(acoustic, new, case):
    """At a part that is to be recorded at idle."""
    _, out, _ = acoustic("case", "plan", new)
    (step,) = [line for line in out.splitlines() if "Record at" in line][:1]
    point = step.partition("Record at ")[2].partition(",")[0]
    assert "idle" in step
    code, out, _ = acoustic(
        "case", "add", new, "--point", point, "--contact", case / "held_2000_rpm.m4a"
    )
    assert code == 0
    assert "Usable, but better taken again" in out
    assert "rpm, the plan asks for" in out
    assert f"Does not answer step {step.split()[2].rstrip('.')} of the plan" in out
    assert f"[ ] {step.split()[2]} Record at {point}" in acoustic("case", "plan", new)[1]


def test_of_a_long_file_the_part_looked_at_is_told(acoustic, new, tmp_path):
    """200 s: more than is ever listened to."""
    noise = 0.1 * np.random.default_rng(2).standard_normal(200 * 8000)
    soundfile.write(tmp_path / "idle.wav", noise, 8000)
    _, out, _ = acoustic("case", "add", new, tmp_path / "idle.wav")
    assert "The file is 200 s long; the steadiest 180 s" in out


def test_after_the_repair_the_comparison_comes_next(acoustic, bus, case):
    """Not the plan, which is for before."""
    assert "no recordings after the repair" in acoustic("case", "screen", bus, "--after")[2]
    _, out, _ = acoustic("case", "add", bus, "--after", case / "held_2000_rpm.m4a")
    assert out.endswith(f"Next: acoustic case change {bus}\n")


# ------------------------------------------------------------------ before a screening


def test_without_a_screening_it_is_said_what_to_record(acoustic, new):
    """And a check has no odds to change."""
    code, out, _ = acoustic("case", "next", new)
    assert code == 0
    assert out.startswith("STILL TO RECORD\n  - Record in front, at idle")
    code, _, err = acoustic("case", "screen", new)
    assert code == EXIT_INPUT
    assert f"acoustic case plan {new}" in err
    code, _, err = acoustic("case", "check", new, *SPIN, "rough")
    assert code == EXIT_INPUT
    assert f"acoustic case screen {new}" in err
    assert _untouched(new) == b""


# ------------------------------------------------------------------ hand checks


def test_the_answer_is_kept_and_names_the_planted_fault(acoustic, bus):
    """As a file, in the history, and in what comes next; what is recorded is ticked off."""
    case = read_case(bus)
    (made,) = [e.data for e in case.events if isinstance(e.data, ScreeningMade)]
    assert max(made.faulty, key=made.faulty.get) == PLANTED_PART
    assert json.loads((bus / made.answer).read_text("utf-8"))["belief"]["parts"]
    code, out, _ = acoustic("case", "next", bus)
    assert code == 0
    assert f"Open {PLANTED_PART}" in out
    assert "Record in front, at idle" not in out.partition("STILL TO RECORD")[2]
    assert all(len(line) <= 80 for line in out.splitlines() if str(bus) not in line)


def test_a_check_moves_the_odds_and_its_undo_moves_them_back(acoustic, bus):
    """Smooth: the idler falls; taken back, "next" says just what it said before."""
    before = acoustic("case", "next", bus)[1]
    code, out, _ = acoustic("case", "check", bus, *SPIN, "smooth", "--by", "Ada")
    assert code == 0
    assert out.startswith("Entered as number 3.\n")
    old, _, new = out.partition(f"{PLANTED_PART}: ")[2].partition("\n")[0].partition(" -> ")
    assert float(new.lstrip("<>")) < float(old.lstrip("<>"))
    after = acoustic("case", "next", bus)[1]
    assert after.startswith("After 1 hand check: ")
    assert _odds(after) != _odds(before)
    assert acoustic("case", "undo", bus, 3, "--why", "wrong part")[0] == 0
    assert acoustic("case", "next", bus)[1] == before
    code, _, err = acoustic("case", "undo", bus, 3)
    assert code == EXIT_INPUT
    assert "no event 3 that could be taken back" in err


def test_a_check_made_twice_counts_once(acoustic, bus):
    """It is said, and the odds stay."""
    acoustic("case", "check", bus, *SPIN, "smooth")
    once = acoustic("case", "next", bus)[1]
    code, out, _ = acoustic("case", "check", bus, *SPIN, "smooth")
    assert code == 0
    assert "counts in place of the same check made before" in out
    assert "no part's odds" in out
    assert acoustic("case", "next", bus)[1] == once


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("spin", "--part", PLANTED_PART, "--result", "rough"), "Known are: "),
        (("spin by hand", "--part", "idle", "--result", "rough"), f"{PLANTED_PART}, "),
        (("spin by hand", "--part", PLANTED_PART, "--result", "bad"), "rough, too free, smooth"),
        (("spin by hand", "--part", "engine itself", "--result", "rough"), "It is made at "),
    ],
)
def test_an_unknown_check_part_or_result_is_answered_with_those_known(acoustic, bus, typed, said):
    """Nothing is entered."""
    before = _untouched(bus)
    code, _, err = acoustic("case", "check", bus, *typed)
    assert code == EXIT_INPUT
    assert said in err
    assert _untouched(bus) == before


@pytest.mark.parametrize("number", ["0", "99"])
def test_what_is_not_there_cannot_be_taken_back(acoustic, bus, number):
    """Nothing is entered."""
    before = _untouched(bus)
    code, _, err = acoustic("case", "undo", bus, number)
    assert code == EXIT_INPUT
    assert f"no event {number} that could be taken back" in err
    assert _untouched(bus) == before


# ------------------------------------------------------------------ a case that went on


def test_what_changed_since_the_answer_is_told_first(acoustic, bus, case):
    """A pulley measured again, then one recording more; gone once it is screened again."""
    layout = bus / "layout.toml"
    text = layout.read_text("utf-8")
    measured = text.replace("diameter_mm = 118.0", "diameter_mm = 119.0")
    assert measured != text
    layout.write_text(measured, "utf-8")
    out = acoustic("case", "next", bus)[1]
    assert out.startswith("Since the newest answer kept, the layout (layout.toml) changed.")
    layout.write_text(text, "utf-8")
    acoustic("case", "add", bus, case / "held_2000_rpm.m4a", "--rpm", "heard", "--load", "none")
    said = " ".join(acoustic("case", "next", bus)[1].split())
    assert "kept, the usable recordings before the repair changed. What follows rests" in said
    assert f"acoustic case screen {bus}" in said
    assert acoustic("case", "screen", bus)[0] == 0
    assert "Since the newest answer" not in acoustic("case", "next", bus)[1]


# ------------------------------------------------------------------ damage


def test_a_part_gone_from_the_layout_is_told_not_shown_as_a_trace(acoustic, without_idler):
    """Neither the next check nor a result; nothing is entered."""
    before = _untouched(without_idler)
    check = ("spin by hand", "--part", "alternator", "--result", "rough")
    for command, more in (("next", ()), ("check", check)):
        code, _, err = acoustic("case", command, without_idler, *more)
        assert code == EXIT_INPUT
        assert f"it no longer has {PLANTED_PART}" in err
        assert f"acoustic case screen {without_idler}" in err
    assert _untouched(without_idler) == before


def test_a_damaged_answer_is_told(acoustic, bus):
    """With its place; the case can still be shown."""
    (bus / "screenings" / "0001.json").write_text('{"be')
    code, _, err = acoustic("case", "next", bus)
    assert code == EXIT_INPUT
    assert "0001.json: this answer is damaged" in err
    assert acoustic("case", "show", bus)[0] == 0


# ------------------------------------------------------------------ closing


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ((), "Give either --found PART, or --nothing"),
        (("--found", PLANTED_PART, "--nothing"), "Give either --found PART, or --nothing"),
        (("--found", "gearbox"), "the layout has no such part"),
        (("--found", PLANTED_PART, "--mechanism", "rust"), "no mechanism of it"),
        (("--nothing", "--mechanism", "inner race"), "give --found PART with it"),
        (("--found", PLANTED_PART, "--odometer-km", "-5"), "--odometer-km -5"),
        (("--found", PLANTED_PART, "--odometer-km", "nan"), "--odometer-km nan"),
    ],
)
def test_a_case_is_not_closed_by_what_cannot_be(acoustic, bus, typed, said):
    """Nothing is entered."""
    before = _untouched(bus)
    code, _, err = acoustic("case", "close", bus, *typed)
    assert code == EXIT_INPUT
    assert said in err
    assert _untouched(bus) == before


def test_from_the_check_to_the_closing(acoustic, bus):
    """Closed once; what contradicts it is refused, a second part is not."""
    assert acoustic("case", "check", bus, *SPIN, "rough")[0] == 0
    code, out, _ = acoustic(
        "case", "close", bus, "--found", PLANTED_PART, "--mechanism", PLANTED_MECHANISM,
        "--text", "inner race pitted", "--odometer-km", 184500,
    )  # fmt: skip
    assert code == 0
    assert f"acoustic case add {bus} --after CLIP..." in out
    events = [e.data for e in read_case(bus).events]
    assert events[-2] == CheckDone(SPIN[0], PLANTED_PART, "rough")
    assert events[-1] == Outcome(PLANTED_PART, PLANTED_MECHANISM, "inner race pitted", 184500)
    for wrong in (("--nothing",), ("--found", PLANTED_PART)):
        code, _, err = acoustic("case", "close", bus, *wrong)
        assert code == EXIT_INPUT
        assert f"acoustic case undo {bus} 4" in err
    assert acoustic("case", "close", bus, "--found", "alternator")[0] == 0
    assert acoustic("case", "next", bus)[1].startswith(
        f"Closed, found: {PLANTED_PART}, alternator."
    )
    assert "1 case, 0 open." in acoustic("case", "list", bus.parent)[1]


def test_an_opinion_needs_its_words_and_its_owner(acoustic, bus):
    """It is entered and changes no odds."""
    before = acoustic("case", "next", bus)[1]
    for text, by in ((" ", "Ada"), ("the pump", " ")):
        assert acoustic("case", "opinion", bus, text, "--by", by)[0] == EXIT_INPUT
    assert acoustic("case", "opinion", bus, "the pump", "--by", "Ada")[0] == 0
    assert "opinion: the pump (Ada)" in acoustic("case", "show", bus)[1]
    assert acoustic("case", "next", bus)[1] == before


# ------------------------------------------------------------------ the record


def test_no_case_and_open_cases_give_no_record(acoustic, bus, new, tmp_path):
    """And a folder that is not there is told."""
    assert acoustic("case", "record", bus.parent)[1].startswith("No closed case to count yet.")
    code, _, err = acoustic("case", "record", tmp_path / "nowhere")
    assert code == EXIT_INPUT
    assert "there is no such folder" in err


def test_a_damaged_case_does_not_keep_the_others_from_counting(acoustic, bus, new):
    """One right, one wrong, one damaged, one never screened."""
    wrong, damaged = bus.parent / "wrong", bus.parent / "damaged"
    for copy in (wrong, damaged):
        shutil.copytree(bus, copy)
    for folder, found in ((bus, PLANTED_PART), (wrong, "alternator"), (damaged, PLANTED_PART)):
        assert acoustic("case", "close", folder, "--found", found)[0] == 0
    assert acoustic("case", "close", new, "--nothing")[0] == 0
    (damaged / "screenings" / "0001.json").unlink()
    code, out, err = acoustic("case", "record", bus.parent)
    assert (code, err) == (0, "")
    assert "CLOSED CASES: 2 counted, 2 left out" in out
    assert "First suspect right in 1 of 2 cases." in out
    left_out = " ".join(out.partition("LEFT OUT")[2].split())
    left_out_unbroken = left_out.replace(" ", "")
    assert "0001.json: this answer is damaged or missing" in left_out
    assert "".join(f"{new}: no screening of it told anything.".split()) in left_out_unbroken


def test_too_few_cases_correct_nothing_and_a_case_does_not_speak_for_itself(acoustic, bus):
    """Its own outcome and one more: one counts; the odds stay."""
    shutil.copytree(bus, bus.parent / "other")
    for folder in (bus, bus.parent / "other"):
        acoustic("case", "close", folder, "--found", PLANTED_PART)
    plain = acoustic("case", "next", bus)[1]
    code, out, _ = acoustic("case", "next", bus, "--own-record", bus.parent)
    assert code == 0
    assert "beside this one: 1, too few to correct by" in " ".join(out.split())
    assert _odds(out) == _odds(plain)
