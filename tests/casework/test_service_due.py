"""Service by distance: interval of the layout or of the kind, against the odometer."""

import pytest

from acoustic.casework.service_due import Mileage, find_service_due


@pytest.mark.parametrize(
    ("odometer", "changed", "state"),
    [
        (None, {}, "not_known"),
        (100_000, {}, "not_yet"),
        (220_000, {}, "soon"),  # 216 000 of 240 000 km and more
        (240_000, {}, "due_if_first"),
        (300_000, {"tensioner": 60_000}, "due"),
        (300_000, {"tensioner": 100_000}, "not_yet"),
        (50_000, {"tensioner": 60_000}, "not_yet"),  # an odometer that was changed
    ],
)
def test_states_of_a_tensioner(front_four, knowledge, odometer, changed, state):
    """It usually lasts 240 000 km: the row of its kind, common practice."""
    due = find_service_due(front_four, Mileage(odometer, changed), knowledge)
    one = next(one for one in due if one.part == "tensioner")
    assert one.state == state
    assert one.interval_km == 240_000
    assert "common practice, no source" in one.source
    assert one.is_due == state.startswith("due")


def test_the_layout_s_own_interval_goes_first(front_four, knowledge):
    """The library bus's water pump: 120 000 km by its layout; most overdue comes first."""
    due = find_service_due(front_four, Mileage(240_000), knowledge)
    assert due[0].part == "water pump"
    assert due[0].source == "interval from the layout"
    assert due[0].sentence == (
        "due unless it has been changed: 240000 km on the odometer, interval 120000 km"
    )
    assert {one.part for one in due} >= {"belt main", "tensioner", "guide idler", "flat idler"}
    assert "alternator" not in {one.part for one in due}


def test_a_coupling_has_a_life(knowledge):
    """Belt, tensioner and the rubber of a coupling have one in the tables, with its reason."""
    for kind in ("belt", "tensioner", "coupling"):
        assert knowledge.kinds[kind].usual_life_km == 240_000
        assert "common practice, no source" in knowledge.kinds[kind].note
