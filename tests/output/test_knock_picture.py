"""The picture of the knocks: each at its angle of the engine cycle, firings where they are loud."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.evidence.impacts import ImpactTrain
from acoustic.output.knock_picture import draw_knocks, find_knock_view
from acoustic.output.picture_words import knock_words

FIRING_DEG = (50.0, 230.0, 410.0, 590.0)  # of four cylinders, from where the stretch begins
KNOCKS_DEG = (46.0, 52.0, 55.0, 232.0, 415.0, 500.0)


def made_train(**more):
    """Make an engine loud at its firings, knocks mostly there; an earlier stretch with one."""
    angle_deg = (np.arange(72) + 0.5) * 10.0
    needed_db = 3.0 + 2.0 * np.cos(np.deg2rad(angle_deg - FIRING_DEG[0]) * 2)
    turns = np.array([1.3, *(20.0 + 2.0 * n + a / 360.0 for n, a in enumerate(KNOCKS_DEG))])
    count = turns.size
    values = {
        "times_s": turns / 13.3, "turns": turns, "strength_db": np.full(count, 8.0),
        "level_db": np.linspace(8.0, 14.0, count), "needed_db": np.stack([needed_db, needed_db]),
        "piece": np.array([0, *([1] * len(KNOCKS_DEG))]), "cry": np.zeros(count, dtype=bool),
        "low_hz": 2400.0, "high_hz": 4800.0, "seconds": 20.0, "revolutions": 260.0, "excess": 0.1,
    }  # fmt: skip
    return ImpactTrain(**{**values, **more})


@pytest.fixture
def knocking(told_screening):
    """Give an answer that tells of knocks, with the knocks."""
    heard = replace(told_screening.heard[0], knocks=made_train())
    return replace(told_screening, heard=(heard,))


def test_the_knocks_of_one_stretch_stand_at_their_angles(knocking, drive):
    """Of the stretch with most: the angle begins anew in each."""
    view = find_knock_view(knocking, drive)
    assert view.angle_deg == pytest.approx(KNOCKS_DEG)
    assert view.firing_deg[np.argsort(view.firing_deg)] == pytest.approx(FIRING_DEG, abs=0.1)
    (ax,) = draw_knocks(view).axes
    (dots,) = [line for line in ax.lines if line.get_marker() == "o"]
    assert np.rad2deg(dots.get_xdata()) * 2 == pytest.approx(KNOCKS_DEG)  # 720 on one round
    assert dots.get_ydata() == pytest.approx(view.level_db)
    assert [tick.get_text() for tick in ax.get_xticklabels()][2] == "180°"


def test_its_words_say_how_many_come_with_the_firing(knocking, drive):
    """Five of six within 22.5 degrees of a firing, which is an eighth of 180."""
    view = find_knock_view(knocking, drive)
    assert view.near_firing == 5
    said = knock_words(view)
    assert said.startswith("Knocks in step with the firing: 200 knocks in 20 s.")
    assert "Of 6 knocks of recording 1 over the 720° of a cycle 5 lie within" in said
    assert "chance would leave about 2" in said


def test_an_engine_that_fires_unevenly_has_no_marks(knocking, drive):
    """Then the fullest third of the cycle is told: four knocks from 46 degrees on."""
    uneven = replace(drive, engine=replace(drive.engine, odd_fire=True))
    view = find_knock_view(knocking, uneven)
    assert view.firing_deg.size == 0
    assert view.near_firing == 0
    assert view.crowded == pytest.approx((4, 46.0, 286.0))
    assert "4 lie in one third of it, 46° to 286° from an arbitrary start" in knock_words(view)
    assert draw_knocks(view).axes


def test_without_knocks_there_is_no_picture(screening, told_screening, knocking, drive):
    """None told, none kept, cries only."""
    assert find_knock_view(screening, drive) is None
    assert find_knock_view(told_screening, drive) is None
    cries = made_train(cry=np.ones(1 + len(KNOCKS_DEG), dtype=bool))
    crying = replace(knocking, heard=(replace(knocking.heard[0], knocks=cries),))
    assert find_knock_view(crying, drive) is None
