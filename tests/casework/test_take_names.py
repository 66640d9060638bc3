"""Names of clips: what they tell, what they leave open, and that nothing is guessed."""

import pytest

from acoustic.casework.take_names import next_take, open_questions, parse_take_name, taken_as
from acoustic.casework.take_words import Told, find_take_words
from acoustic.recording.taken import Taken


@pytest.fixture(scope="module")
def words(drive):
    """Give the words of the second library bus."""
    return find_take_words(drive)


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("guide idler_1500rpm_ac-on_take2.m4a",
         Taken("guide idler", rpm=1500.0, loads=("air conditioning",), take=2)),
        ("GuideIdler 1500 RPM.wav", Taken("guide idler", rpm=1500.0)),
        ("gui-1500rpm.wav", Taken("guide idler", rpm=1500.0)),
        ("front_idle_after.wav", Taken("", stage="after")),
        ("steering pump - 2000 rpm - contact.m4a",
         Taken("steering pump", contact=True, rpm=2000.0)),
        ("steering_pump_steering_idle.ogg", Taken("steering pump", loads=("steering",))),
        ("alternator_lights-on_ac-on.wav",
         Taken("alternator", loads=("air conditioning", "electrical load"))),
        ("alternator_lights-off.wav", Taken("alternator")),
        ("alternator no load healthy.wav", Taken("alternator", stage="healthy")),
        ("tensioner_in-the-air_off_24.5s.m4a", Taken("tensioner", switched_off_s=24.5)),
        ("Water Pump_1500rpm_2026-05-12 10.15.00.m4a", Taken("water pump", rpm=1500.0)),
        ("20260512_101500.m4a", Taken()),
    ],
)  # fmt: skip
def test_a_name_tells_how_it_was_taken(words, name, taken):
    """Case, spaces, hyphens and underscores do not matter; dates of the phone do not either."""
    read = parse_take_name(name, words)
    assert read.questions == ()
    assert read.unread == ()
    assert taken_as(Told(), read.told) == taken


@pytest.mark.parametrize(
    ("name", "fields", "said"),
    [
        ("altenator_1500rpm.m4a", {"point"}, "Did you mean 'alternator'?"),
        ("pump.wav", {"point"}, "stands in the name of water pump or steering pump"),
        ("steering_1500rpm.wav", {"point", "loads"},
         "'steering' could be steering pump, or the load 'steering'."),
        ("damper.wav", {"point"}, "no part of this layout, which has"),
        ("alternator tensioner.wav", {"point"}, "both 'alternator' and 'tensioner'"),
        ("tensioner_2000.wav", {"rpm"}, "Is '2000' a speed? Write it as 2000rpm."),
        ("tensioner_1500-2000rpm.wav", {"rpm"}, "Is '1500' a speed?"),
        ("tensioner_1500rpm_2000rpm.wav", {"rpm"}, "both '1500 rpm' and '2000 rpm'"),
        ("tensioner_idle_2000rpm.wav", {"rpm"}, "idle and 2000 rpm"),
        ("tensioner_1,500rpm.wav", {"rpm"}, "No engine known here turns at 1.5 rpm."),
        ("tensioner_ac-on_ac-off.wav", {"loads"}, "air conditioning was on, and that it was off"),
        ("tensioner_ac-on_no-load.wav", {"loads"}, "both air conditioning and no loads"),
        ("tensioner_lihgts.wav", {"loads"}, "Did you mean 'lights'?"),
        ("tensioner_before_after.wav", {"stage"}, "both 'before' and 'after'"),
        ("tensioner_take1_take2.wav", {"take"}, "both 'take 1' and 'take 2'"),
        ("tensioner_contact_in-air.wav", {"contact"}, "both 'contact' and 'in air'"),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_asked_and_not_guessed(words, name, fields, said):
    """The field stays untold, and a sentence says why and which option settles it."""
    read = parse_take_name(name, words)
    (question,) = read.questions
    assert set(question.fields) == fields
    assert said in question.sentence
    assert "Give --" in question.sentence
    assert fields.isdisjoint(read.told.fields_told())


def test_a_word_that_means_nothing_is_told(words):
    """Neither a point nor a load: named, so that a person sees it was passed over."""
    assert parse_take_name("Recording 12 tensioner.m4a", words).unread == ("recording", "12")


def test_options_go_before_the_name_and_settle_its_questions(words):
    """The name says 2000 of something; the option says how fast, and that it was elsewhere."""
    read = parse_take_name("tensioner_2000_ac.wav", words)
    assert len(open_questions(read, Told())) == 1
    given = Told(point="alternator", rpm="heard", loads=())
    assert open_questions(read, given) == ()
    assert taken_as(given, read.told) == Taken("alternator", rpm=None, loads=())


def test_a_question_of_two_fields_needs_both(words):
    """Saying the point does not say whether the steering was at its stop."""
    read = parse_take_name("steering_1500rpm.wav", words)
    assert open_questions(read, Told(point="steering pump"))
    assert not open_questions(read, Told(point="steering pump", loads=()))


def test_takes_alike_are_counted():
    """The next of two alike is the third; another load begins at one."""
    earlier = [Taken("idler"), Taken("idler", take=2), Taken("idler", loads=("steering",))]
    assert next_take(Taken("idler"), earlier) == 3
    assert next_take(Taken("idler", rpm=1500), earlier) == 1
