"""The drive taken as sound: parts share out the tones among them."""

import numpy as np
import pytest

from acoustic.verdict.healthy_songs import rivals_of, settle_songs
from acoustic.verdict.part_states import PartBook


@pytest.fixture
def settled(problem_of):
    """Book and settled songs of a hand-made problem."""

    def make(parts, tones, **more):
        book = PartBook(problem_of(parts, tones, **more))
        return book, settle_songs(book)

    return make


def test_nobody_sings_without_a_tone(settled) -> None:
    """No contested tone, no claims; the parts' states are silent."""
    _, sound = settled([{}, {}], 0)
    assert sound.claims.shape == (2, 0)
    assert all(np.all(state.off == 1.0) for state in sound.states)


def test_a_lone_singer_claims_its_tone(settled) -> None:
    """0.4 x 50 against a stranger's 1."""
    _, sound = settled([{"song": {0: 50.0}}, {}], 1)
    assert sound.claims[0, 0] == pytest.approx(20.0, rel=0.05)
    assert sound.claims[1, 0] == pytest.approx(0.0, abs=1e-6)


def test_two_singers_of_one_tone_share_it(settled) -> None:
    """Equal songs: equal claims, both below a lone one's share of the tone."""
    _, sound = settled([{"song": {0: 50.0}}, {"song": {0: 50.0}}], 1)
    one, other = sound.claims[:, 0]
    assert one == pytest.approx(other, rel=0.1)
    assert one / (1.0 + one + other) < 0.55


def test_the_better_fit_takes_the_tone(settled) -> None:
    """One part's song makes both tones, the other's only one: that one goes to the first."""
    _, sound = settled([{"song": {0: 50.0, 1: 50.0}}, {"song": {0: 50.0}}], 2)
    assert sound.claims[0, 0] > 2 * sound.claims[1, 0]


def test_rivals_are_strangers_and_the_others(settled) -> None:
    """Stranger 1 and 2 by tone, the others' claims on top, not one's own."""
    book, _ = settled([{}, {}], 2, stranger=[1.0, 2.0])
    claims = np.array([[10.0, 0.0], [3.0, 4.0]])
    assert rivals_of(book, claims, 0) == pytest.approx([1.0 + 3.0, 2.0 + 4.0])
    assert rivals_of(book, claims, 1) == pytest.approx([1.0 + 10.0, 2.0])


def test_offset_densities_sum_to_one(settled) -> None:
    """Every part has a place."""
    _, sound = settled([{"song": {0: np.array([0.0, 30.0, 0.0])}}, {}], 1)
    for prior in sound.priors:
        assert prior.sum() == pytest.approx(1.0)
