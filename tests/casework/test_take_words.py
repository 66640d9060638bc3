"""Words of options: parts and loads, or a sentence."""

import pytest

from acoustic.casework.take_words import find_loads, find_point, find_take_words
from acoustic.errors import CaseError


@pytest.fixture(scope="module")
def words(drive):
    """Give the words of the second library bus."""
    return find_take_words(drive)


def test_points_are_listed_parts_only(words):
    """Nobody puts a phone on a belt, and the engine itself is no part of the layout."""
    assert "guide idler" in words.parts.values()
    assert not {"belt main", "engine itself"} & set(words.parts.values())


@pytest.mark.parametrize(
    ("said", "point"), [("Guide_Idler", "guide idler"), ("alt", "alternator"), ("front", "")]
)
def test_a_point_is_found(words, said, point):
    """As in names: case and signs do not matter, a unique beginning will do."""
    assert find_point(said, words) == point


def test_a_wrong_point_or_load_is_answered_with_the_right_ones(words):
    """With the nearest, or all of them."""
    with pytest.raises(CaseError, match="Did you mean 'tensioner'"):
        find_point("tesnioner", words)
    with pytest.raises(CaseError, match="Did you mean 'steering'"):
        find_loads(["stering"], words)
    with pytest.raises(CaseError, match="beside another load"):
        find_loads(["ac", "none"], words)


def test_loads_are_ids_of_the_tables(words):
    """Sorted, each once; 'none' is no load."""
    assert find_loads(["lights-on", "A/C", "ac"], words) == ("air conditioning", "electrical load")
    assert find_loads(["none"], words) == ()
