"""The trial counts rightly: hand-made answers with known truth."""

import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest

TRIAL = Path(__file__).resolve().parents[1] / "trial"


@pytest.fixture(scope="module")
def trial() -> Iterator[SimpleNamespace]:
    """The scoring and picture modules, imported as the trial command imports them."""
    sys.path.insert(0, str(TRIAL))
    import reliability
    import scoring

    yield SimpleNamespace(scoring=scoring, reliability=reliability)
    sys.path.remove(str(TRIAL))


@pytest.fixture(scope="module")
def scoring(trial) -> ModuleType:
    """The counting."""
    return trial.scoring


def _score(scoring, faulty, source, **changes):
    """One scene with a detectable fault, found first, if not said otherwise."""
    values = {
        "detectable": True,
        "has_fault": True,
        "answered": True,
        "rank": 0,
        "in_group": True,
        "group_size": 1,
        "faulty": faulty,
        "source": source,
        "label": "",
    }
    return scoring.CaseScore(**(values | changes))


@pytest.fixture
def four_scenes(scoring) -> list:
    """Found; accused the wrong one; healthy and accused; healthy and left alone."""
    silent = ((0.1, False), (0.1, False))
    return [
        _score(scoring, ((0.9, True), (0.05, False)), ((0.95, True), (0.3, False))),
        _score(
            scoring,
            ((0.1, True), (0.85, False)),
            ((0.2, True), (0.9, False)),
            rank=1,
            in_group=False,
            group_size=2,
        ),
        _score(
            scoring,
            ((0.9, False), (0.0, False)),
            ((0.9, True), (0.0, False)),
            has_fault=False,
            detectable=False,
            rank=None,
            in_group=False,
        ),
        _score(
            scoring, silent, silent, has_fault=False, detectable=False, rank=None, in_group=False
        ),
    ]


def test_precision_and_recall_by_hand(scoring, four_scenes) -> None:
    """Three called, one rightly; two were faulty, one of them called."""
    rows = scoring.pairs(four_scenes, "faulty")
    assert rows.shape == (8, 2)
    assert scoring.precision_recall(rows) == pytest.approx((1 / 3, 1 / 2))


def test_an_unanswered_fault_is_a_missed_one(scoring, four_scenes) -> None:
    """Refusing to answer costs recall, not precision."""
    rows = scoring.pairs(four_scenes, "faulty")
    assert scoring.precision_recall(rows, missed=2) == pytest.approx((1 / 3, 1 / 4))


def test_nothing_called_has_no_precision(scoring) -> None:
    """Precision of no calls is not a number, never a perfect one."""
    precision, recall = scoring.precision_recall(np.array([[0.5, 1.0], [0.1, 0.0]]))
    assert np.isnan(precision)
    assert recall == 0.0


def test_a_call_must_be_above_the_line(scoring) -> None:
    """0.8 itself is not called."""
    assert scoring.precision_recall(np.array([[0.8, 1.0], [0.81, 1.0]])) == (1.0, 0.5)


def test_brier_by_hand(scoring) -> None:
    """(0.2² + 0.7²) / 2 = 0.265."""
    assert scoring.brier(np.array([[0.8, 1.0], [0.7, 0.0]])) == pytest.approx(0.265)


def test_the_table_row(scoring, four_scenes) -> None:
    """Found or in the group 1 of 2, group size 1.5, half of the healthy scenes accused."""
    evidence = [SimpleNamespace(false_tones=(n, 5)) for n in (0, 1, 0, 0)]
    text = scoring.render_scores({"silent": {1: scoring.Scored(four_scenes, evidence)}})
    figures = text.splitlines()[2].split()
    assert figures[:3] == ["silent", "1", "4"]
    detectable, every, first, group, precision, recall, accused = map(float, figures[3:10])
    assert (detectable, every, first, group) == (0.5, 0.5, 0.5, 1.5)
    assert (precision, recall, accused) == (0.333, 0.5, 0.5)
    # The first recording of one scene of four had a tone nobody planted.
    assert float(figures[-1]) == 0.25


@pytest.fixture
def answer() -> SimpleNamespace:
    """Pump 0.6, idler 0.7, fan 0.1 faulty; the fan's song makes the only tone (0.9)."""
    result = SimpleNamespace(
        faulty=np.array([0.6, 0.7, 0.1]),
        singing=np.array([0.0, 0.0, 0.8]),
        tone_shares=np.array([[0.0], [0.0], [0.9]]),
    )
    return SimpleNamespace(parts=("pump", "idler", "fan"), result=result)


def _line(part: str, *, detectable: bool, role: str = "fault") -> SimpleNamespace:
    return SimpleNamespace(part=part, detectable=detectable, role=role)


def test_one_case_against_the_truth(scoring, answer) -> None:
    """The pump is guilty and second; it is in the group; fan and pump really sound."""
    case = SimpleNamespace(
        fault=SimpleNamespace(part="pump", mechanism="vane pass", level_db=-6.0),
        layout_seed=2000,
        number=3,
    )
    heard = ((_line("pump", detectable=True), _line("fan", detectable=True, role="song")),)
    score = scoring.score_case(case, heard, answer, SimpleNamespace(parts=(1, 0)))
    assert (score.rank, score.in_group, score.group_size) == (1, True, 2)
    assert score.detectable
    assert score.faulty == ((0.6, True), (0.7, False), (0.1, False))
    assert [truth for _, truth in score.source] == [True, False, True]
    # The fan makes the tone with 0.9: the likely source, whatever its own state.
    assert score.source[2][0] > 0.8
    assert [stated for stated, _ in score.source[:2]] == [0.6, 0.7]


@pytest.mark.parametrize(
    "line", [_line("pump", detectable=False), _line("pump", detectable=True, role="song")]
)
def test_only_a_planted_line_that_could_be_heard_counts(scoring, answer, line) -> None:
    """Neither a hidden fault line nor a song makes a fault detectable."""
    case = SimpleNamespace(
        fault=SimpleNamespace(part="pump", mechanism="m", level_db=0.0), layout_seed=1, number=1
    )
    score = scoring.score_case(case, ((line,),), answer, SimpleNamespace(parts=(1,)))
    assert not score.detectable
    assert not score.in_group


def test_a_case_without_an_answer(scoring) -> None:
    """Refused: no rank, no statements, still a fault that was there."""
    case = SimpleNamespace(
        fault=SimpleNamespace(part="pump", mechanism="m", level_db=0.0), layout_seed=1, number=1
    )
    score = scoring.score_case(case, ((_line("pump", detectable=True),),), None, None)
    assert (score.answered, score.rank, score.faulty) == (False, None, ())
    assert score.detectable and score.has_fault


def test_reliability_by_hand(trial) -> None:
    """Four statements of 0.25 with one true are exact; two of 0.95 with one true are 0.45 off."""
    rows = np.array([[0.25, 1], [0.25, 0], [0.25, 0], [0.25, 0], [0.95, 1], [0.95, 0]], float)
    found = trial.reliability.reliability(rows)
    assert found.count.tolist() == [4, 2]
    assert found.stated.tolist() == pytest.approx([0.25, 0.95])
    assert found.came_true.tolist() == pytest.approx([0.25, 0.5])
    assert found.error == pytest.approx(2 * 0.45 / 6)
    assert np.all((found.low < found.came_true) & (found.came_true < found.high))


def test_certain_statements_are_counted_too(trial) -> None:
    """A stated 1.0 falls into the last bin and a 0.0 into the first."""
    found = trial.reliability.reliability(np.array([[1.0, 1.0], [0.0, 0.0]]))
    assert found.count.tolist() == [1, 1]
    assert found.error == 0.0


def test_reliability_picture(trial, four_scenes, tmp_path) -> None:
    """One panel with its counts per claim and kind of scene; Brier score in the legend."""
    from matplotlib.figure import Figure

    scored = trial.scoring.Scored(four_scenes, [])
    path = tmp_path / "reliability.png"
    trial.reliability.write_reliability_picture({"silent": {1: scored, 2: scored}}, path)
    assert path.stat().st_size > 10_000
    upper, lower = Figure().subplots(2)
    trial.reliability.draw_reliability(upper, lower, {1: scored, 2: scored}, "faulty")
    labels = [text.get_text() for text in upper.get_legend().get_texts()]
    by_hand = trial.scoring.brier(trial.scoring.pairs(four_scenes, "faulty"))
    assert [label.splitlines()[0] for label in labels] == ["one speed", "two speeds"]
    assert f"Brier {by_hand:.3f}" in labels[0]
    heights = sum(bar.get_height() for bar in lower.patches)
    assert heights == 2 * 8
