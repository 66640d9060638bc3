"""How far recordings of one drive count beside each other."""

import pytest

from acoustic.verdict.problem import evidence_share

FRONT, PUMP = ("", False), ("water pump", True)


def test_other_speeds_count_in_full():
    """Idle and held: nothing is taken off, nor from a lone one."""
    assert evidence_share([13.3], [FRONT], 0.03) == 1.0
    assert evidence_share([13.3, 33.0, 50.0], [FRONT] * 3, 0.03) == 1.0


def test_other_places_count_in_full():
    """The part the phone was at, and whether it touched there."""
    places = [FRONT, PUMP, ("water pump", False)]
    assert evidence_share([13.3] * 3, places, 0.03) == 1.0


def test_recordings_at_one_speed_and_place_repeat_each_other():
    """Six at idle and six held count as 2 x sqrt(6) of 12; an idle that wanders is one speed."""
    twelve = [13.3, 33.0] * 6
    assert evidence_share(twelve, [FRONT] * 12, 0.03) == pytest.approx(2 * 6**0.5 / 12)
    assert evidence_share([13.3, 13.5, 13.2, 13.4], [PUMP] * 4, 0.03) == pytest.approx(0.5)
