"""One part silent, singing or faulty, worked by hand on a three-point lattice."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.verdict.claims import Claim, VoiceTable
from acoustic.verdict.part_states import PartBook
from acoustic.verdict.sources import Realm

SHARE = 0.4
DENSITY = np.array([0.25, 0.5, 0.25])


@pytest.fixture
def book_of(problem_of):
    """The book of a hand-made problem."""

    def make(parts, tones, **more) -> PartBook:
        return PartBook(problem_of(parts, tones, song_share=SHARE, **more))

    return make


def _state(book: PartBook, part: int, rivals):
    belief = book.problem.songs.first(part)
    return book.state(part, np.array(rivals, dtype=float), belief, DENSITY)


def test_a_part_without_a_song_is_silent_when_healthy(book_of) -> None:
    """Healthy: ratio 1 whatever is heard. Faulty: 1 + 12/1 by its one tone."""
    book = book_of([{"claims": {0: 12.0}}], 1)
    state = _state(book, 0, [1.0])
    assert state.off == pytest.approx([1.0] * 3)
    assert state.on == pytest.approx([13.0] * 3)
    assert book.song_voice(0) is None


def test_a_healthy_part_sings_or_does_not(book_of) -> None:
    """0.6 silent and 0.4 singing: 0.6 + 0.4 x (1 + 9)."""
    state = _state(book_of([{"song": {0: 9.0}}], 1), 0, [1.0])
    assert state.off == pytest.approx([0.6 + 0.4 * 10.0] * 3)


def test_rivals_lower_a_claim(book_of) -> None:
    """Against strangers and others of weight 4 a claim of 12 is 1 + 12/4."""
    state = _state(book_of([{"claims": {0: 12.0}}], 1), 0, [4.0])
    assert state.on == pytest.approx([4.0] * 3)


def test_a_tone_another_fault_accounts_for_is_no_evidence(book_of) -> None:
    """Beside a faulty part whose claim is 10 one of 4 gains nothing, one of 21 (1 + 21) / 11."""
    for claim, factor in ((4.0, 1.0), (21.0, 22.0 / 11.0)):
        book = book_of([{"claims": {0: claim}}], 1)
        belief = book.problem.songs.first(0)
        state = book.state(0, np.array([11.0]), belief, DENSITY, taken=np.array([10.0]))
        assert state.on == pytest.approx([factor] * 3)


def test_a_missing_line_counts_beside_another_fault_too(book_of) -> None:
    """A claim below nothing, of a line that should be there and is not, stays what it is."""
    book = book_of([{"claims": {0: -0.5}}], 1)
    belief = book.problem.songs.first(0)
    state = book.state(0, np.array([2.0]), belief, DENSITY, taken=np.array([1.0]))
    assert state.on == pytest.approx([0.75] * 3)


def test_a_faulty_part_may_sing_as_well(book_of) -> None:
    """Fault on tone 0 and song on tone 1: the product of both."""
    state = _state(book_of([{"claims": {0: 12.0}, "song": {1: 9.0}}], 2), 0, [1.0, 1.0])
    assert state.on == pytest.approx([13.0 * (0.6 + 0.4 * 10.0)] * 3)


def test_one_tone_is_not_made_twice_by_one_part(book_of) -> None:
    """Fault and song on the same tone: 1 + 12 + 9 at most, not (1 + 12) (1 + 9)."""
    state = _state(book_of([{"claims": {0: 12.0}, "song": {0: 9.0}}], 1), 0, [1.0])
    assert state.on == pytest.approx([0.6 * 13.0 + 0.4 * 22.0] * 3, rel=0.01)


def test_offsets_are_kept_apart(book_of) -> None:
    """A tone that fits one offset only speaks for that one."""
    state = _state(book_of([{"claims": {0: np.array([0.0, 0.0, 12.0])}}], 1), 0, [1.0])
    assert state.on == pytest.approx([1.0, 1.0, 13.0])


def test_missing_lines_count_in_every_state_that_has_them(book_of) -> None:
    """Song lines not there (0.5) and fault lines not there (0.2)."""
    book = book_of([{"claims": {0: 3.0}, "steady": 0.2, "song": {}, "song_steady": 0.5}], 1)
    state = _state(book, 0, [1.0])
    assert state.off == pytest.approx([0.6 + 0.4 * 0.5] * 3)
    assert state.on == pytest.approx([0.2 * 4.0 * (0.6 + 0.4 * 0.5)] * 3)


def test_a_lone_claim_is_what_was_put_in(book_of) -> None:
    """Sum-product: a faulty part's claim on its one tone is its likelihood of it."""
    book = book_of([{"claims": {0: 12.0}}], 2)
    state = _state(book, 0, [3.0, 1.0])
    assert book.claims(0, state, DENSITY, faulty=True) == pytest.approx([12.0, 0.0])
    assert book.claims(0, state, DENSITY, faulty=False) == pytest.approx([0.0, 0.0])


def test_a_noise_is_claimed_whole_whatever_the_offset(problem_of) -> None:
    """A noise has one row for all three offsets: its claim is all 12, not the first's share."""
    noise = VoiceTable(
        Realm.NOISES, 0, np.ones((1, 1)), (Claim(0, slice(0, 1), np.array([[12.0]])),)
    )
    book = PartBook(replace(problem_of([{}], 1), tables=[[noise]]))
    state = _state(book, 0, [3.0])
    assert state.on == pytest.approx([5.0] * 3)
    assert book.claims(0, state, DENSITY, faulty=True) == pytest.approx([12.0])


def test_a_songs_claim_is_weighed_by_its_singing(book_of) -> None:
    """0.4 x 9 over 1: the part sings with 0.4 and then makes the tone with weight 9."""
    book = book_of([{"song": {0: 9.0}}], 1)
    state = _state(book, 0, [1.0])
    assert book.claims(0, state, DENSITY, faulty=False) == pytest.approx([0.4 * 9.0])


def test_a_claim_at_an_unlikely_offset_is_small(book_of) -> None:
    """Only at the end of the lattice (1/4): a quarter of 12."""
    book = book_of([{"claims": {0: np.array([0.0, 0.0, 12.0])}}], 1)
    state = _state(book, 0, [1.0])
    assert book.claims(0, state, DENSITY, faulty=True) == pytest.approx([3.0])


def test_a_second_tone_at_the_same_offset_strengthens_the_first(book_of) -> None:
    """The other tone says the shaft is there: (1/4 x 12 x 13) / (3/4 + 1/4 x 13) on this one."""
    there = np.array([0.0, 0.0, 12.0])
    book = book_of([{"claims": {0: there, 1: there}}], 2)
    state = _state(book, 0, [1.0, 1.0])
    by_hand = (0.25 * 12 * 13) / (0.75 + 0.25 * 13)
    assert book.claims(0, state, DENSITY, faulty=True) == pytest.approx([by_hand] * 2)


def test_tones_a_part_can_reach(book_of) -> None:
    """Those of its song and of its faults."""
    book = book_of([{"claims": {0: 1.0, 2: 1.0}, "song": {1: 1.0}}, {}], 3)
    assert book.tones_of(0) == {0, 1, 2}
    assert book.tones_of(1) == frozenset()
