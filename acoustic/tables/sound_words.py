"""What a person says of a sound, as evidence: words, their kin, and how much they weigh.

The words and all weights stand in ``words.toml``; which words a mechanism is told by, and
when it comes, stand in its row.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from acoustic.errors import SettingsError, TableError
from acoustic.tables.rows import Mechanism
from acoustic.tables.words import read_words

ALWAYS = "always"


@dataclass(frozen=True, slots=True)
class SoundWord:
    """A word for a sound, or for when it comes.

    Attributes
    ----------
    word, meaning : str
    also : tuple of str
        Other words for the same.
    near : tuple of str
        Words of sounds that are easily taken for this one.
    """

    word: str
    meaning: str
    also: tuple[str, ...]
    near: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WordWeights:
    """Factors by which words change the likelihood of a mechanism. [-]"""

    told_by: float
    told_by_a_near_one: float
    told_by_another: float
    comes_then: float
    comes_at_other_times: float


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a person says of the sound: words for it, and for when it comes.

    Any word that `find_word` knows will do; kept is the word of the tables, once.

    Attributes
    ----------
    sounds : sequence of str
        Words for the sound, such as ``"growl"``.
    when : sequence of str
        Words for when it comes, such as ``"cold"``.

    Raises
    ------
    SettingsError
        For a word that is not known, with the nearest one.

    Examples
    --------
    >>> Complaint(["grinding"], "cold start")
    Complaint(sounds=('growl',), when=('cold',))
    """

    sounds: Sequence[str] = ()
    when: Sequence[str] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "sounds", _found(self.sounds, "sound"))
        object.__setattr__(self, "when", _found(self.when, "when"))


@cache
def sound_words() -> Mapping[str, SoundWord]:
    """Words for sounds, by word."""
    return _words("sound")


@cache
def when_words() -> Mapping[str, SoundWord]:
    """Words for when a sound comes, by word."""
    return _words("when")


@cache
def word_weights() -> WordWeights:
    """How much a person's words weigh."""
    return WordWeights(**_section("user_words"))


def find_word(said: str, of: Literal["sound", "when"]) -> str:
    """The word of the tables behind what a person typed.

    Raises
    ------
    SettingsError
        Nothing like it is known; the message names the nearest word, or all of them.

    Examples
    --------
    >>> find_word("Grinding", "sound")
    'growl'
    >>> find_word("after washing", "when")
    'wet'
    """
    known = sound_words() if of == "sound" else when_words()
    by_name = {name: word.word for word in known.values() for name in (word.word, *word.also)}
    wanted = " ".join(said.lower().split())
    if wanted in by_name:
        return by_name[wanted]
    near = difflib.get_close_matches(wanted, by_name, n=1, cutoff=0.6)
    hint = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(sorted(known))}."
    what = "a sound" if of == "sound" else "when a sound comes"
    raise SettingsError(f"{said!r} is no word for {what} that is known here. {hint}")


def words_ratio(
    mechanism: Mechanism, sounds: Iterable[str] = (), when: Iterable[str] = ()
) -> float:
    """How far a person's words speak for a mechanism: a factor on its likelihood.

    Parameters
    ----------
    mechanism : Mechanism
    sounds : iterable of str
        Words of `sound_words` the person used; the one that fits best counts.
    when : iterable of str
        Words of `when_words`; a mechanism that is always there is neither raised nor
        lowered by a word for one occasion.

    Returns
    -------
    float
        1 where nothing was said.
    """
    return _sound_factor(mechanism, set(sounds)) * _when_factor(mechanism, set(when))


def _found(said: Sequence[str], of: Literal["sound", "when"]) -> tuple[str, ...]:
    each = (said,) if isinstance(said, str) else said
    return tuple(dict.fromkeys(find_word(word, of) for word in each))


def _sound_factor(mechanism: Mechanism, said: set[str]) -> float:
    weights, known = word_weights(), sound_words()
    told = set(mechanism.sounds_like)
    if not said or not told:
        return 1.0
    if said & told:
        return weights.told_by
    kin = {name for word in said if word in known for name in known[word].near}
    return weights.told_by_a_near_one if kin & told else weights.told_by_another


def _when_factor(mechanism: Mechanism, said: set[str]) -> float:
    weights = word_weights()
    comes = set(mechanism.comes_when)
    if not said or not comes:
        return 1.0
    if said & comes:
        return weights.comes_then
    return 1.0 if ALWAYS in comes else weights.comes_at_other_times


def _words(section: str) -> Mapping[str, SoundWord]:
    rows = _section(section)
    try:
        return {
            word: SoundWord(word, row["meaning"], tuple(row["also"]), tuple(row.get("near", ())))
            for word, row in rows.items()
        }
    except KeyError as missing:
        raise TableError(f"words.toml: [{section}.*] a word has no {missing}. Add it.") from missing


def _section(name: str) -> dict[str, Any]:
    try:
        return dict(read_words()[name])
    except KeyError:
        raise TableError(f"words.toml: [{name}] is missing. Add it.") from None
