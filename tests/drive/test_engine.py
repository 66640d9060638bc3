"""The engine's own orders, and what is wrong with an [engine] table."""

import pytest

from acoustic.drive.engine import build_engine, fires_unevenly, firing_order, order_step
from acoustic.drive.faults import Faults
from acoustic.drive.layout import EngineLayout


def test_two_strokes_fire_every_turn() -> None:
    """A two-stroke fires all cylinders each turn and repeats every turn."""
    assert firing_order(3, strokes=2) == 3
    assert order_step(2) == 1


def test_order_of_the_angles_does_not_matter() -> None:
    """Angles may be typed in firing or in cylinder order, and beyond one cycle."""
    assert not fires_unevenly([0, 540, 180, 360], strokes=4)
    assert fires_unevenly([0, 270, 450, 630], strokes=4)


def test_engine_of_a_layout() -> None:
    """A plain four: firing order 2, half orders, even fire."""
    faults = Faults()
    engine = build_engine(EngineLayout(cylinders=4), faults)
    assert not faults.found
    assert (engine.firing_order, engine.order_step, engine.odd_fire) == (2, 0.5, False)


@pytest.mark.parametrize(
    ("keys", "key", "said"),
    [
        ({"firing_order": [1, 3, 3, 2]}, "firing_order", "each cylinder from 1 to 4 once"),
        ({"firing_angles_deg": [0, 180, 360]}, "firing_angles_deg", "3 angles for 4 cylinders"),
        ({"firing_angles_deg": [0, 180, 360, 720]}, "firing_angles_deg", "below 720 degrees"),
        ({"idle_rpm": (900, 700)}, "idle_rpm", "lower speed first"),
        ({"working_rpm": (4000, 800)}, "working_rpm", "lower speed first"),
    ],
)
def test_faults(keys, key, said) -> None:
    """Each fault sits at its key and says what is wanted."""
    faults = Faults()
    build_engine(EngineLayout(cylinders=4, **keys), faults)
    (fault,) = faults.found
    assert fault.path == ("engine", key)
    assert said in fault.message
