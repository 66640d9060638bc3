"""Following the links from the crankshaft."""

import pytest

from acoustic.drive.faults import Faults
from acoustic.drive.shafts import Link, normal_unknown, solve_shafts, uniform_unknown


def link(driver: str, driven: str, ratio: float = 1.0, sense: int = 1, **keys) -> Link:
    """Link with a phrase of its own."""
    return Link(driver, driven, ratio, sense, f"{driver} to {driven}", ("shaft", 0), **keys)


def test_ratios_multiply_and_senses_too() -> None:
    """Order of the links does not matter."""
    links = [link("b", "c", 3.0, -1), link("crankshaft", "a", 0.5, -1), link("a", "b", 2.0)]
    faults = Faults()
    speeds = solve_shafts(links, faults)
    assert not faults.found
    assert speeds["c"].ratio == pytest.approx(3.0)
    assert speeds["c"].sense == 1
    assert speeds["c"].way == ("crankshaft to a", "a to b", "b to c")


def test_a_shared_unknown_counts_once_and_can_cancel() -> None:
    """Two belts in series share nothing but what both name; equal and opposite cancels."""
    links = [
        link("crankshaft", "a", depends_on={"slip of belt 1": -1.0, "diameter of p": 1.0}),
        link("a", "b", depends_on={"slip of belt 2": -1.0, "diameter of p": -1.0}),
    ]
    speeds = solve_shafts(links, Faults())
    assert dict(speeds["b"].depends_on) == {"slip of belt 1": -1.0, "slip of belt 2": -1.0}


def test_measured_speed_forgets_the_way_but_keeps_the_sense() -> None:
    """A speed measured against the crankshaft stands by itself."""
    links = [
        link("crankshaft", "a", 2.0, -1, depends_on={"slip": -1.0}, belt="main"),
        link("a", "b", 1.3, -1, depends_on={"ratio of b": 1.0}, absolute=True),
    ]
    shaft = solve_shafts(links, Faults())["b"]
    assert (shaft.ratio, shaft.sense, shaft.belt) == (1.3, 1, None)
    assert dict(shaft.depends_on) == {"ratio of b": 1.0}


def test_last_belt_on_the_way_is_kept_over_gears() -> None:
    """A coupled shaft slips with the belt before it, and is not locked."""
    links = [
        link("crankshaft", "a", belt="main", depends_on={"slip of belt main": -1.0}),
        link("a", "b", locked=True),
        link("crankshaft", "c", locked=True),
    ]
    speeds = solve_shafts(links, Faults())
    assert speeds["b"].belt == "main"
    assert not speeds["b"].locked
    assert speeds["c"].locked


@pytest.mark.parametrize(
    ("links", "said"),
    [
        ([link("x", "a"), link("a", "b")], "nothing turns 'x'"),
        ([link("a", "b"), link("b", "a")], "runs in a ring"),
        ([link("crankshaft", "a"), link("crankshaft", "a")], "'a' is driven twice"),
        ([link("a", "crankshaft")], "drives the crankshaft"),
    ],
)
def test_drives_that_lead_nowhere(links, said) -> None:
    """Each trouble is told once."""
    faults = Faults()
    solve_shafts(links, faults)
    (fault,) = faults.found
    assert said in fault.message


def test_unknowns() -> None:
    """A uniform of width w has sd w / sqrt(12); a normal spans three sd each way."""
    slip = uniform_unknown("s", "slip", (0.0, 0.03), "")
    assert slip.sd == pytest.approx(0.03 / 12**0.5)
    diameter = normal_unknown("d", "diameter", 0.01, "")
    assert (diameter.low, diameter.high) == (-0.03, 0.03)
