"""What a case as a whole answers: its belief, its hand checks, what was found."""

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

from acoustic.casework import case_answer
from acoustic.casework.case_answer import (
    believed_after_checks,
    checks_done,
    mileage_of,
    outcomes_of,
    read_and_screen,
    read_belief,
    read_closed_case,
    require_known_check,
    require_new_outcome,
    takes_done,
    with_check,
)
from acoustic.casework.case_file import CaseFile, LastService
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import (
    write_event,
    write_new_case,
    write_recording,
    write_screening,
)
from acoustic.casework.check_results import CheckMade
from acoustic.casework.history import (
    CheckDone,
    GateAnswer,
    Outcome,
    ScreeningMade,
    TakenBack,
)
from acoustic.errors import CaseError
from acoustic.recording.taken import Taken
from acoustic.screening import ScreenSettings
from acoustic.verdict.belief import Belief

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"
SPIN = "spin by hand"
RATE_HZ = 8000


@pytest.fixture
def bus(tmp_path):
    """Give the folder of a new case of the library bus."""
    place = tmp_path / "bus"
    file = CaseFile(
        title="Bus 1 growls",
        opened=date(2026, 11, 25),
        odometer_km=184000,
        last_service_km=LastService(belt=100000),
    )
    write_new_case(place, file, LAYOUT)
    return place


@pytest.fixture
def screened(bus, two_idlers, now):
    """Give the case with a kept answer that accuses two idlers alike."""
    _keep(bus, {"belief": two_idlers.as_values()}, now)
    return bus


@pytest.fixture
def sound(tmp_path):
    """Give a function that makes a small sound file, each of its own content."""

    def make(name):
        path = tmp_path / name
        seed = sum(name.encode())
        samples = 0.1 * np.random.default_rng(seed).standard_normal(RATE_HZ)
        soundfile.write(path, samples, RATE_HZ)
        return path

    return make


def _keep(folder, answer, now):
    text = answer if isinstance(answer, str) else json.dumps(answer)
    return write_screening(folder, text, ScreeningMade("suspects"), now)


def _checked(folder, result, now, part="guide idler"):
    return write_event(folder, CheckDone(SPIN, part, result), now)


def _faulty(folder):
    case = read_case(folder)
    belief = believed_after_checks(case, read_belief(case))
    return dict(zip(belief.parts, belief.faulty, strict=True))


# ------------------------------------------------------------------ belief


def test_the_newest_answer_is_believed(screened, two_idlers, now):
    """One kept answer, a newer one, the newer one taken back, both taken back."""
    assert read_belief(read_case(screened)) == two_idlers
    surer = Belief(two_idlers.parts, (((0,), 1.0),), two_idlers.mechanisms)
    newer = _keep(screened, {"belief": surer.as_values()}, now)
    assert read_belief(read_case(screened)) == surer
    write_event(screened, TakenBack(newer.id), now)
    assert read_belief(read_case(screened)) == two_idlers
    write_event(screened, TakenBack(1), now)
    assert read_belief(read_case(screened)) is None


def test_an_answer_that_told_nothing_is_no_belief(bus, now):
    """Not screened, and screened but unfit."""
    assert read_belief(read_case(bus)) is None
    _keep(bus, {"belief": None}, now)
    assert read_belief(read_case(bus)) is None


@pytest.mark.parametrize(
    "text",
    [
        "", '{"be', "[]", '{"belief": 3}', '{"belief": {}}',
        '{"belief": {"parts": ["a"], "sets": [], "mechanisms": {"a": {}}}}',
        '{"belief": {"parts": ["a"], "sets": [{"faulty": ["b"], "probability": 1}],'
        ' "mechanisms": {"a": {}}}}',
    ],
)  # fmt: skip
def test_a_damaged_answer_is_told_with_its_place(bus, now, text):
    """Cut, empty, of another shape, without weight, with an unknown part."""
    _keep(bus, text, now)
    with pytest.raises(CaseError, match=r"0001\.json: .*damaged.*acoustic case screen"):
        read_belief(read_case(bus))


def test_a_lost_answer_is_told(screened):
    """The file was deleted."""
    (screened / "screenings" / "0001.json").unlink()
    with pytest.raises(CaseError, match=r"0001\.json: .*missing.*acoustic case screen"):
        read_belief(read_case(screened))


def test_a_part_gone_from_the_layout_is_named(screened):
    """Renamed in the layout after the screening."""
    layout = screened / "layout.toml"
    layout.write_text(layout.read_text("utf-8").replace("guide idler", "small idler"), "utf-8")
    with pytest.raises(CaseError, match=r"no longer has guide idler\. Screen the case again"):
        read_belief(read_case(screened))


def test_a_way_to_fail_gone_from_the_layout_is_named(bus, now):
    """The part is there, but no such thing can happen to it: its kind or bearing was changed."""
    belief = Belief(("guide idler",), (((0,), 1.0),), ({"impeller": 1.0},))
    _keep(bus, {"belief": belief.as_values()}, now)
    with pytest.raises(CaseError, match="no longer has guide idler, impeller"):
        read_belief(read_case(bus))


# ------------------------------------------------------------------ hand checks


def test_a_check_counts_by_bayes_rule_and_its_undo_brings_the_odds_back(screened, now, knowledge):
    """Chances from the table: P = rough if faulty / (rough if faulty + rough if sound)."""
    check = knowledge.hand_checks[SPIN]
    at = check.index("rough")
    faulty = knowledge.named_chances(check, "rough bearing")[at]
    done = _checked(screened, "rough", now)
    expected = faulty / (faulty + check.part_sound[at])
    assert _faulty(screened)["guide idler"] == pytest.approx(expected)
    assert expected > 0.8
    write_event(screened, TakenBack(done.id), now)
    assert _faulty(screened)["guide idler"] == pytest.approx(0.5)


def test_a_check_made_again_counts_once(screened, now):
    """The last one, at its place in time; what misled once misleads again."""
    _checked(screened, "rough", now)
    once = _faulty(screened)
    _checked(screened, "smooth", now, part="flat idler")
    both = _faulty(screened)
    again = _checked(screened, "rough", now)
    assert _faulty(screened) == pytest.approx(both)
    assert both["guide idler"] > once["guide idler"]
    assert [one.part for one in checks_done(read_case(screened))] == ["flat idler", "guide idler"]
    other = _checked(screened, "smooth", now)
    assert _faulty(screened)["guide idler"] < 0.6
    for event in (other, again):
        write_event(screened, TakenBack(event.id), now)
    assert _faulty(screened) == pytest.approx(both)


def test_one_more_check_takes_the_place_of_the_same(screened, now):
    """As it will be read once it is written."""
    _checked(screened, "rough", now)
    _checked(screened, "smooth", now, part="flat idler")
    earlier = checks_done(read_case(screened))
    new = CheckMade(SPIN, "guide idler", "smooth")
    _checked(screened, "smooth", now)
    assert with_check(earlier, new) == checks_done(read_case(screened))
    assert len(with_check(earlier, CheckMade(SPIN, "tensioner", "smooth"))) == 3


def test_a_check_is_refused_where_it_is_not_made(screened, knowledge):
    """A run with the belt off bears on the belt's drive; water goes on the belt."""
    case = read_case(screened)
    wrong = CheckMade("water on the ribs", "guide idler", "x")
    with pytest.raises(CaseError, match=r"not made at 'guide idler'\. It is made at belt main"):
        require_known_check(case, wrong, knowledge)
    require_known_check(case, CheckMade("water on the ribs", "belt main", "x"), knowledge)
    with pytest.raises(CaseError, match="This layout has no part for it"):
        require_known_check(
            case, CheckMade("look over the toothed belt", "belt main", "x"), knowledge
        )


# ------------------------------------------------------------------ what was found


def test_a_closed_case_counts_with_what_was_believed_by_the_sound(screened, two_idlers, now):
    """Hand checks left out; both faulty parts named; what was taken back does not count."""
    _checked(screened, "rough", now)
    write_event(screened, Outcome("guide idler"), now)
    write_event(screened, Outcome("flat idler"), now)
    closed = read_closed_case(read_case(screened))
    assert closed.found == ("guide idler", "flat idler")
    assert closed.kinds == ("idler", "idler")
    assert closed.belief == two_idlers
    write_event(screened, TakenBack(3), now)
    assert read_closed_case(read_case(screened)).found == ("flat idler",)


def test_a_case_in_which_nothing_was_found_counts_too(screened, now):
    """No part named."""
    write_event(screened, Outcome(text="a stone in the sump guard"), now)
    assert read_closed_case(read_case(screened)).found == ()


def test_why_a_case_cannot_be_counted_is_said(bus, now, two_idlers):
    """Not closed; closed and not screened; a part that was not asked about."""
    with pytest.raises(CaseError, match="not closed"):
        read_closed_case(read_case(bus))
    write_event(bus, Outcome("tensioner"), now)
    with pytest.raises(CaseError, match="no screening of it told anything"):
        read_closed_case(read_case(bus))
    _keep(bus, {"belief": two_idlers.as_values()}, now)
    with pytest.raises(CaseError, match="tensioner came into the layout later"):
        read_closed_case(read_case(bus))


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Outcome("gearbox"), "the layout has no such part. It has alternator"),
        (Outcome("guide idler", "impeller"), "no mechanism of it. It has "),
        (Outcome("", "rough bearing"), "give --found PART"),
    ],
)
def test_an_outcome_that_cannot_be_is_refused(bus, outcome, said):
    """With what it could be instead."""
    with pytest.raises(CaseError, match=said):
        require_new_outcome(read_case(bus), outcome)


def test_outcomes_do_not_contradict_each_other(bus, now):
    """The same part twice, nothing beside a part, a part beside nothing; two parts may be."""
    case = read_case(bus)
    require_new_outcome(case, Outcome("guide idler", "rough bearing"))
    found = write_event(bus, Outcome("guide idler"), now)
    case = read_case(bus)
    require_new_outcome(case, Outcome("flat idler"))
    for wrong in (Outcome("guide idler"), Outcome()):
        with pytest.raises(CaseError, match=f"guide idler is entered already.* {found.id}$"):
            require_new_outcome(case, wrong)
    write_event(bus, TakenBack(found.id), now)
    assert outcomes_of(read_case(bus)) == ()
    write_event(bus, Outcome(), now)
    with pytest.raises(CaseError, match="that no part was to blame is entered already"):
        require_new_outcome(read_case(bus), Outcome("guide idler"))


# ------------------------------------------------------------------ recordings


def test_only_usable_recordings_before_the_repair_are_done(bus, sound, now):
    """A heard speed is filled in, a stated one kept; others are left out."""
    heard = GateAnswer(True, rpm=812.0)
    write_recording(bus, sound("a.wav"), Taken(), now, heard)
    write_recording(bus, sound("b.wav"), Taken(rpm=1700), now, GateAnswer(True, rpm=1711.0))
    write_recording(bus, sound("c.wav"), Taken(take=2), now, GateAnswer(False))
    write_recording(bus, sound("d.wav"), Taken(stage="after"), now, heard)
    assert [one.rpm for one in takes_done(read_case(bus))] == [812.0, 1700.0]


def test_all_usable_recordings_are_screened_together(bus, sound, now, monkeypatch):
    """By their own names, with how they were taken, against the sound drive's nearest."""
    usable = GateAnswer(True, rpm=800.0)
    at_pump = Taken(point="water pump", contact=True)
    write_recording(bus, sound("pump.wav"), at_pump, now, usable)
    write_recording(bus, sound("bad.wav"), Taken(), now, GateAnswer(False))
    write_recording(bus, sound("front.wav"), Taken(rpm=1700), now, usable)
    write_recording(bus, sound("healthy_front.wav"), Taken(stage="healthy"), now, usable)
    healthy = Taken(point="water pump", stage="healthy")
    write_recording(bus, sound("healthy_pump.wav"), healthy, now, usable)
    write_recording(bus, sound("after.wav"), Taken(stage="after"), now, usable)
    got = {}
    monkeypatch.setattr(
        case_answer, "screen", lambda clips, _, **more: got.update(clips=clips, **more)
    )
    read_and_screen(read_case(bus), ScreenSettings())
    assert [one.recording.name for one in got["clips"]] == ["pump.wav", "front.wav"]
    assert [one.rpm for one in got["clips"]] == [None, 1700]
    assert got["clips"][0].taken == at_pump
    assert got["reference"].recording.name == "healthy_pump.wav"
    read_and_screen(read_case(bus), ScreenSettings(), stage="after")
    assert [one.recording.name for one in got["clips"]] == ["after.wav"]


def test_nothing_to_screen_is_said_with_the_way_out(bus, sound, now):
    """No recording; none usable; none after the repair."""
    with pytest.raises(CaseError, match="no recordings before the repair yet"):
        read_and_screen(read_case(bus), ScreenSettings())
    write_recording(bus, sound("bad.wav"), Taken(), now, GateAnswer(False))
    with pytest.raises(CaseError, match="none of its 1 recordings before the repair is usable"):
        read_and_screen(read_case(bus), ScreenSettings())
    with pytest.raises(CaseError, match=r"acoustic case add \S+ --after CLIP"):
        read_and_screen(read_case(bus), ScreenSettings(), stage="after")


def test_a_recording_spoilt_in_store_is_told_and_put_back(bus, sound, now, monkeypatch):
    """Same size, other content: named as it came; adding it again mends it."""
    clip = sound("front.wav")
    write_recording(bus, clip, Taken(), now, GateAnswer(True))
    (stored,) = read_case(bus).recordings
    stored.path.write_bytes(b"?" * stored.added.size_bytes)
    monkeypatch.setattr(case_answer, "screen", lambda clips, _, **_more: clips)
    with pytest.raises(CaseError, match=r"recording 1 cannot be read .*'front\.wav': add that"):
        read_and_screen(read_case(bus), ScreenSettings())
    write_recording(bus, clip, Taken(), now, GateAnswer(True))
    assert len(read_and_screen(read_case(bus), ScreenSettings())) == 1


def test_changes_count_for_every_part_of_their_kind(bus, tmp_path):
    """184 000 km now, the belt changed at 100 000 km; no odometer, no mileage."""
    mileage = mileage_of(read_case(bus))
    assert mileage.odometer_km == 184000
    assert mileage.changed_at_km == {"belt main": 100000}
    plain = CaseFile(title="Bus 3", opened=date(2026, 11, 25))
    write_new_case(tmp_path / "plain", plain, LAYOUT)
    assert mileage_of(read_case(tmp_path / "plain")) is None
