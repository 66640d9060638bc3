"""What a person says of a sound."""

import pytest

from acoustic.errors import SettingsError
from acoustic.tables.knowledge import load_knowledge
from acoustic.tables.rows import Mechanism
from acoustic.tables.sound_words import (
    find_word,
    sound_words,
    when_words,
    word_weights,
    words_ratio,
)


def every_mechanism() -> list[Mechanism]:
    """All rows of the shipped tables."""
    knowledge = load_knowledge()
    own = [row for kind in knowledge.kinds.values() for row in kind.mechanism]
    return [*own, *knowledge.every_part, *knowledge.every_bearing]


def told(sounds_like: tuple[str, ...], comes_when: tuple[str, ...] = ()) -> Mechanism:
    """A mechanism told by these words."""
    return Mechanism(
        id="made",
        title="made",
        sounds_like=sounds_like,
        comes_when=comes_when,
        prior_weight=1.0,
        hand_check="look",
        hand_check_minutes=1,
        caution="none",
        repair="none",
        source="made",
    )


def test_every_mechanism_is_told_by_known_words() -> None:
    """Rows use listed words only, and every listed word leads to some mechanism."""
    rows = every_mechanism()
    used = {word for row in rows for word in row.sounds_like}
    assert used == set(sound_words())
    assert {word for row in rows for word in row.comes_when} == set(when_words())
    assert all(row.comes_when for row in rows)


@pytest.mark.parametrize("words", [sound_words(), when_words()], ids=["sound", "when"])
def test_no_word_stands_for_two(words) -> None:
    """A word and its other names belong to one entry; near ones are entries themselves."""
    names = [name for word in words.values() for name in (word.word, *word.also)]
    assert len(names) == len(set(names))
    assert all(name == name.lower() for name in names)
    for word in words.values():
        assert set(word.near) <= set(words) - {word.word}
        assert word.meaning


@pytest.mark.parametrize(
    ("said", "of", "word"),
    [
        ("growl", "sound", "growl"),
        ("  GRINDING ", "sound", "growl"),
        ("squeak", "sound", "chirp"),
        ("lights  on", "when", "load"),
        ("running down", "when", "switch-off"),
    ],
)
def test_other_words_lead_to_the_same(said, of, word) -> None:
    """Case and spaces do not matter; usual other words are known."""
    assert find_word(said, of) == word


@pytest.mark.parametrize(
    ("said", "of", "hint"),
    [
        ("whinne", "sound", "Did you mean 'whine'?"),
        ("zzz", "sound", "Known: buzz, chirp"),
        ("idel", "when", "'idel' is no word for when .* Did you mean 'idle'?"),
    ],
)
def test_an_unknown_word_is_told_with_the_nearest(said, of, hint) -> None:
    """A slip of the finger is answered with the word meant, nonsense with all words."""
    with pytest.raises(SettingsError, match=hint):
        find_word(said, of)


def test_what_words_weigh() -> None:
    """Three for the word, one half for another, one for a near one; times when it comes."""
    row = told(("rattle",), ("idle",))
    assert words_ratio(row) == 1
    assert words_ratio(row, ["rattle"]) == 3
    assert words_ratio(row, ["hiss"]) == 0.5
    assert words_ratio(row, ["buzz"]) == 1
    assert words_ratio(row, ["hiss", "rattle"]) == 3
    assert words_ratio(row, (), ["idle"]) == 1.5
    assert words_ratio(row, (), ["wet"]) == 0.8
    assert words_ratio(row, ["rattle"], ["idle", "wet"]) == pytest.approx(4.5)
    assert words_ratio(told(("rattle",), ("always",)), (), ["wet"]) == 1
    assert words_ratio(told(("rattle",)), (), ["wet"]) == 1
    assert words_ratio(told(()), ["rattle"]) == 1


def test_words_alone_never_settle_it() -> None:
    """Between the best and the worst fit lies less than a factor of fifteen."""
    weights = word_weights()
    best = weights.told_by * weights.comes_then
    worst = weights.told_by_another * weights.comes_at_other_times
    assert best / worst < 15
