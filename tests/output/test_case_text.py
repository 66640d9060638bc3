"""A case as text: what is known is there, and it fits."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from acoustic.casework.case_file import CaseFile, LastService
from acoustic.casework.case_folder import Case
from acoustic.casework.case_index import CaseRow
from acoustic.casework.history import (
    AnswerShown,
    CheckDone,
    Event,
    History,
    LaterKind,
    LinkMade,
    Opinion,
    Outcome,
    ScreeningMade,
    TakenBack,
)
from acoustic.drive.layout_file import read_drive
from acoustic.output.case_text import render_case, render_case_rows

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "rear_six.toml"
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


@pytest.fixture
def text():
    """Give the text of a case in which much has happened."""
    data = (
        ScreeningMade("suspects", "Likely the guide idler.", answer="screenings/0001.json"),
        CheckDone("spin by hand", "guide idler", "rough", by="Ada"),
        Opinion("Ada", "never heard the like"),
        TakenBack(2, "wrong pulley"),
        LaterKind("video added", {}, "case-event/2"),
        Outcome(),
        LinkMade("ab" * 8, NOW + timedelta(days=7), "Ms Reader", by="Ada"),
        AnswerShown("ab" * 8, 3, "links/a.html"),
    )
    events = tuple(Event(n, NOW, one) for n, one in enumerate(data, start=1))
    file = CaseFile(
        title="Bus 2", opened=date(2026, 11, 25), last_service_km=LastService(belt=120000.0)
    )
    remark = "recordings/a.wav: is missing; add it again."
    case = Case(Path("bus"), file, read_drive(LAYOUT), (), History(events), (remark,))
    return render_case(case, 60, UTC)


@pytest.mark.parametrize(
    "said",
    [
        "Bus 2 (opened 2026-11-25, closed)",
        "Last changed: belt at 120000 km",
        "None yet. To add some",
        "1 2026-11-25 09:30 screening made: Likely the guide",
        "check done (taken back): spin by hand",
        "opinion: never heard the like (Ada)",
        "taken back: number 2. wrong pulley",
        "video added: of a later version",
        "outcome: nothing found",
        "link made: Ms Reader. Open until 2026-12-02 09:30 UTC (Ada)",
        "answer shown: opinion number 3 and a report",
        "recordings/a.wav: is missing",
    ],
)
def test_everything_that_happened_is_told(text, said):
    """Each kind in its own words."""
    assert said in " ".join(text.split())


def test_the_text_fits(text):
    """60 columns were asked for."""
    assert max(map(len, text.splitlines())) <= 60


def test_a_list_says_state_and_trouble():
    """How many are open; a case that cannot be read says why."""
    rows = (
        CaseRow("a", "Bus 1", "2026-11-25", "bus", True, 1, "idler", ""),
        CaseRow("b", "Bus 2", "", "", False, 0, "", "case.toml:2: not TOML."),
    )
    text = render_case_rows(rows)
    assert "closed  Bus 1" in text
    assert "1 recording, found: idler" in text
    assert "case.toml:2: not TOML." in text
    assert text.endswith("2 cases, 1 open.\n")
