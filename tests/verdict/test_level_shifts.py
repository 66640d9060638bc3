"""How loud a source is expected at a point and under load."""

from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.verdict.level_shifts import OTHER_POINT_DB, OWN_POINT_DB, level_shift_db


def test_in_front_and_unloaded_nothing_changes():
    """Level is that in front of the drive."""
    assert level_shift_db("pump", {"steering": 8.0}, IN_FRONT) == 0.0


def test_a_point_and_a_load_add_up():
    """At its own point up, at another's down; a load only where the tables know of it."""
    effects = {"steering": 8.0}
    assert level_shift_db("pump", effects, Taken(point="pump")) == OWN_POINT_DB > 0
    assert level_shift_db("pump", effects, Taken(point="idler")) == OTHER_POINT_DB < 0
    loaded = Taken(loads=("air conditioning", "steering"))
    assert level_shift_db("pump", effects, loaded) == 8.0
    assert level_shift_db("idler", {}, loaded) == 0.0
