"""What was worked out of a case is kept, and never longer than it holds."""

from datetime import UTC, datetime

from acoustic.casework.case_writes import write_event
from acoustic.casework.history import CheckDone, Note, TakenBack
from acoustic.web.case_memory import CaseMemory, read_thought

NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


def test_asked_twice_it_is_worked_out_once(screened):
    """The very same thought, until a file of the case changes."""
    memory = CaseMemory()
    first = memory.thought_of(screened)
    assert memory.thought_of(screened) is first
    write_event(screened, Note("new"), NOW)
    second = memory.thought_of(screened)
    assert second is not first
    assert len(second.case.events) == len(first.case.events) + 1
    assert second.choice is first.choice  # a note changes no odds


def test_whatever_changes_the_odds_is_taken_in_at_once(screened):
    """A hand check, its taking back, a screening taken back, the case file: as read anew."""
    memory = CaseMemory()
    memory.thought_of(screened)
    check = write_event(screened, CheckDone("spin by hand", "guide idler", "smooth"), NOW)
    checked = memory.thought_of(screened)
    assert list(checked.belief.faulty) == list(read_thought(screened).belief.faulty)
    write_event(screened, TakenBack(check.id), NOW)
    back = memory.thought_of(screened)
    assert list(back.belief.faulty) == list(read_thought(screened).belief.faulty)
    assert list(back.belief.faulty) != list(checked.belief.faulty)
    file = screened / "case.toml"
    rate = "labour_rate_per_hour = 80"
    file.write_text(file.read_text().replace("# labour_rate_per_hour =", rate))
    assert memory.thought_of(screened).choice.settings.labour_rate_per_hour == 80.0
    write_event(screened, TakenBack(3), NOW)
    assert memory.thought_of(screened).belief is None


def test_an_answer_that_is_damaged_is_told_and_nothing_is_believed(screened):
    """With what to do; the rest of the page goes on."""
    (answer,) = (screened / "screenings").iterdir()
    answer.write_text("{")
    thought = read_thought(screened)
    assert thought.belief is None
    assert "Screen the case again" in thought.trouble
    assert str(screened.parent) not in thought.trouble
