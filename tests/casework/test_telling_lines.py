"""Which lines can be heard, and which tell two mechanisms apart, on lines made by hand."""

from dataclasses import replace

import pytest

from acoustic.casework.telling_lines import audible, find_telling, lowest_rpm
from acoustic.drive.drive import ExpectedFamily, ExpectedLine, ExpectedNoise


def line(order, probability=0.8, **kinds):
    """Give a line at an order."""
    return ExpectedLine(order, f"line {order}", probability, 0.0, False, **kinds)


def family(part, *lines, noises=(), tolerance=0.01):
    """Give a family on the crankshaft's speed, its lines off by a relative sd."""
    return ExpectedFamily(
        part=part, mechanism=part, title=part, shaft="crankshaft", lines=lines, depends_on={},
        belt=None, locked=False, own_tolerance=tolerance, prior_weight=1.0, source="test",
        noises=tuple(ExpectedNoise(noise, 0.8) for noise in noises),
    )  # fmt: skip


@pytest.fixture
def heard(front_four):
    """Give a function that makes what can be heard of a family."""
    return lambda *args, **kwargs: audible(front_four, family(*args, **kwargs))


def test_the_phone_s_limit():
    """60 Hz at order 2.25: 60 x 60 / 2.25 = 1600 rpm; a swelling passes at any speed."""
    assert lowest_rpm(line(2.25)) == 1600
    assert lowest_rpm(line(2.25, shows_as="impacts")) == 0


def test_a_line_below_60_hz_is_not_heard(heard):
    """Order 2.25 at 800 rpm is 30 Hz; it is heard from 1600 rpm on."""
    low = heard("idler", line(2.25))
    assert low.heard_at(800) == ()
    assert [one.order for one in low.heard_at(1600)] == [2.25]


def test_a_line_on_a_half_order_is_hidden_at_every_speed(heard):
    """Orders 6.5 and 7.01 lie within a bin pair, 2/64 = 0.031, of the comb; 6.75 does not."""
    hidden = heard("pump", line(6.5), line(7.01))
    assert hidden.hidden
    assert hidden.heard_at(6000) == ()
    assert not heard("pump", line(6.5), line(6.75)).hidden


def test_lines_within_tolerance_do_not_tell(heard):
    """1 % each: 3.3 % is needed; 2.9 % (6.75 to 6.95 less one bin) does not do, 6 % does."""
    one, near, far = (heard(name, line(o)) for name, o in (("a", 6.75), ("b", 6.95), ("c", 7.2)))
    assert find_telling(one, near, 800) is None
    assert find_telling(one, far, 800).line.order == 6.75


def test_a_second_line_tells_what_one_cannot(heard):
    """A line at 6.75 and one at 16.75 move together: no shift lays both onto 6.95 and 16.25."""
    one = heard("a", line(6.75), line(16.75))
    other = heard("b", line(6.95), line(16.25))
    assert find_telling(one, other, 800) is not None
    alike = heard("c", line(6.75 * 1.02), line(16.75 * 1.02))
    assert find_telling(one, alike, 800) is None


def test_the_turns_that_part_two_lines(heard):
    """Exact lines 0.05 orders apart need 2 / 0.05 = 40 turns."""
    one = heard("a", line(6.75), tolerance=0)
    other = heard("b", line(6.80), tolerance=0)
    assert find_telling(one, other, 800).segment_turns == 40


def test_a_noise_of_its_own_tells(heard):
    """A squeal against a hiss; not against another squeal."""
    squeal, hiss = heard("a", noises=["squeal"]), heard("b", noises=["hiss"])
    assert find_telling(squeal, hiss, 800).line is None
    assert find_telling(squeal, heard("c", noises=["squeal", "hiss"]), 800) is None


def test_what_lies_nobody_knows_how_low_is_not_masked(front_four):
    """A loose coupling's lines are not hidden by the comb they nominally lie on."""
    lagging = replace(family("coupling", line(6.5)), lags=True)
    assert not audible(front_four, lagging).hidden
