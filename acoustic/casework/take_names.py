"""How a recording was taken, as far as the name of its file tells.

People name clips as they please: ``idler_1500rpm_ac-on_take2.m4a``, ``steering pump - 2000
rpm - contact.m4a``. Each word is looked for among the parts of the layout, the loads of the
tables and a few words of `take_words`. What a name says twice, or could mean in two ways,
comes back as a question and is never guessed.
"""

from __future__ import annotations

import difflib
import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from acoustic.casework.take_words import (
    FILLING,
    HEARD,
    NAMED_RPM,
    NONE,
    OWN_WORDS,
    Field,
    Reading,
    TakeWords,
    Told,
    close,
    words_of,
)
from acoustic.recording.taken import HIGHEST_RPM, LOWEST_RPM, Taken

_ALIKE = 0.75
"""Similarity from which a word is taken for a misspelt part or load (difflib's ratio)."""

_IDLE_MARGIN = 1.3
"""A cold engine or one under load idles this much off its range; common practice, no source."""

_LONGEST_PHRASE = 6
_SHORTEST_BEGINNING = 3
_OPTIONS: dict[Field, str] = {
    "point": "--point PART", "contact": "--contact or --air", "rpm": "--rpm N (or --rpm heard)",
    "loads": "--load LOAD (or --load none)", "stage": "--before, --after or --healthy",
    "take": "--take N", "device": "--device NAME", "switched_off_s": "--switched-off SECOND",
}  # fmt: skip
_RPM = re.compile(r"(?:rpm)?(\d+(?:[.,]\d+)?)(?:rpm)?")
_TAKE = re.compile(r"take(\d{1,2})")
_OFF_AT = re.compile(r"(?:switched)?off(?:at)?(\d+(?:[.,]\d+)?)s(?:ec)?")


@dataclass(frozen=True, slots=True)
class Question:
    """What a name leaves open: the fields it is about, and a sentence with the way out.

    Settled once somebody tells all of `fields`; `open` is the sentence without options of
    the command line.
    """

    fields: tuple[Field, ...]
    sentence: str
    open: str = ""


@dataclass(frozen=True, slots=True)
class NameRead:
    """What the name of a file tells.

    Attributes
    ----------
    told : Told
    questions : tuple of Question
        What it says in two ways, or nearly says.
    unread : tuple of str
        Words that mean nothing here.
    """

    told: Told
    questions: tuple[Question, ...] = ()
    unread: tuple[str, ...] = ()


def parse_take_name(name: str, words: TakeWords) -> NameRead:
    """What the name of a sound file tells of how it was taken.

    Parameters
    ----------
    name : str
        Name of the file, without its folder.
    words : TakeWords
        Of the drive.

    Examples
    --------
    >>> words = TakeWords({"idler": "idler"}, {"ac": "air conditioning"}, (750.0, 950.0))
    >>> parse_take_name("idler_1500rpm_ac-on_take2.m4a", words).told
    Told(point='idler', rpm=1500.0, loads=('air conditioning',), take=2)
    >>> parse_take_name("idlr.m4a", words).questions[0].sentence
    "'idlr' is no part of this layout. Did you mean 'idler'? Give --point PART."
    """
    notes = _Notes(words)
    tokens = words_of(name)
    position = 0
    while position < len(tokens):
        position += notes.take_in(tokens[position : position + _LONGEST_PHRASE])
    return notes.summed_up()


def open_questions(read: NameRead, given: Told) -> tuple[str, ...]:
    """Sentences for what the name leaves open and `given` does not tell either."""
    settled = set(given.fields_told())
    return tuple(q.sentence for q in read.questions if not settled.issuperset(q.fields))


def taken_as(given: Told, named: Told) -> Taken:
    """How it was taken: what was given goes before what the name says."""
    told = {**named.fields_told(), **given.fields_told()}
    return Taken(**{name: value for name, value in told.items() if value not in (HEARD, NONE)})


def next_take(taken: Taken, earlier: Iterable[Taken]) -> int:
    """Number for one more recording taken as others were, whose number nobody told."""
    numbers = [one.take for one in earlier if replace(one, take=taken.take) == taken]
    return max(numbers, default=0) + 1


@dataclass(slots=True)
class _Notes:
    """What was read so far; `take_in` reads the next phrase and says how many words it had."""

    words: TakeWords
    readings: list[tuple[str, Reading]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)

    def take_in(self, tokens: Sequence[str]) -> int:
        lengths = range(_unbroken(tokens), 0, -1)
        phrases = [(n, "".join(tokens[:n])) for n in lengths]
        for length, phrase in phrases:
            reading = _exactly(phrase, self.words)
            if reading is not None:
                self.readings.append((" ".join(tokens[:length]), reading))
                return length
        for length, phrase in phrases:
            parts = _beginning(phrase, self.words)
            if parts:
                self._note_beginning(" ".join(tokens[:length]), parts)
                return length
        self._note_unknown(tokens[0])
        return 1

    def _note_beginning(self, said: str, parts: list[str]) -> None:
        if len(parts) == 1:
            self.readings.append((said, Reading("point", parts[0])))
        else:
            self._ask("point", f"{said!r} could be any of {_listed(parts)}.")

    def _note_unknown(self, word: str) -> None:
        if word in FILLING:
            return
        if word[0].isdigit():
            self.numbers.append(word)
            return
        sentence = _nearly_a_point(word, self.words)
        if sentence:
            self._ask("point", sentence)
            return
        near = difflib.get_close_matches(word, self.words.loads, n=1, cutoff=_ALIKE)
        if near and len(word) > _SHORTEST_BEGINNING:
            self._ask("loads", f"{word!r} is no load known here. Did you mean {near[0]!r}?")
            return
        self.unread.append(word)

    def _ask(self, about: Field, sentence: str, *also: Field) -> None:
        ways = " and ".join(_OPTIONS[name] for name in (about, *also))
        asked = Question((about, *also), f"{sentence} Give {ways}.", sentence)
        self.questions.append(asked)

    def summed_up(self) -> NameRead:
        """Everything read, and what does not go together."""
        self._ask_double_meanings()
        told: dict[str, Any] = {}
        names: tuple[Field, ...] = ("point", "contact", "rpm", "stage", "take", "switched_off_s")
        for name in names:
            self._settle(name, told)
        self._settle_loads(told)
        self._question_speeds(told)
        return NameRead(Told(**told), tuple(self.questions), tuple(self.unread))

    def _of(self, name: str) -> list[tuple[str, Reading]]:
        return [(said, one) for said, one in self.readings if one.field == name]

    def _settle(self, name: Field, told: dict[str, Any]) -> None:
        values = {one.value: said for said, one in self._of(name)}
        if len(values) == 1:
            told[name] = next(iter(values))
        elif values:
            self._ask(name, f"It says both {_listed(map(repr, values.values()), 'and')}.")

    def _settle_loads(self, told: dict[str, Any]) -> None:
        on = {one.value for _, one in self._of("loads")}
        off = {one.value for _, one in self._of("loads off")}
        none = self._of("no loads")
        both = sorted(str(load) for load in on & off)
        if both:
            self._ask("loads", f"It says that {_listed(both, 'and')} was on, and that it was off.")
        elif on and none:
            self._ask("loads", f"It says both {_listed(map(str, on), 'and')} and no loads.")
        elif on or off or none:
            told["loads"] = tuple(sorted(str(load) for load in on))

    def _ask_double_meanings(self) -> None:
        """A word for a load or a place that is also the beginning of a part's name."""
        bare = [pair for pair in self.readings if pair[1].bare]
        points = {one.value for _, one in self.readings if one.field == "point" and not one.bare}
        for said, one in bare:
            parts = _beginning(close(said), self.words)
            if not parts or points:
                continue
            self.readings.remove((said, one))
            about: Field = "loads" if one.field == "loads" else "contact"
            self._ask(
                "point",
                f"{said!r} could be {_listed(parts)}, or {one.meaning}.",
                *(() if one.field == "point" else (about,)),
            )

    def _question_speeds(self, told: dict[str, Any]) -> None:
        rpm, idling = told.get("rpm"), self._of("idle")
        low, high = self.words.idle_rpm
        if isinstance(rpm, float) and not LOWEST_RPM <= rpm <= HIGHEST_RPM:
            del told["rpm"]
            self._ask("rpm", f"No engine known here turns at {rpm:g} rpm.")
        elif (
            isinstance(rpm, float)
            and idling
            and not low / _IDLE_MARGIN <= rpm <= high * _IDLE_MARGIN
        ):
            del told["rpm"]
            self._ask(
                "rpm", f"It says idle and {rpm:g} rpm; the layout idles at {low:g} to {high:g} rpm."
            )
        for number in self.numbers:
            if number.isdigit() and NAMED_RPM[0] <= int(number) <= NAMED_RPM[1]:
                told.pop("rpm", None)
                self._ask("rpm", f"Is {number!r} a speed? Write it as {number}rpm.")
            else:
                self.unread.append(number)


def _unbroken(tokens: Sequence[str]) -> int:
    """Count of words up to where two numbers meet, which are two, not one long one."""
    pairs = itertools.pairwise(tokens)
    meet = (n for n, (a, b) in enumerate(pairs, start=1) if a[-1].isdigit() and b[0].isdigit())
    return next(meet, len(tokens))


def _exactly(phrase: str, words: TakeWords) -> Reading | None:
    """What a phrase means as a whole; part names first, for a layout may name a part anything."""
    if phrase in words.parts:
        return Reading("point", words.parts[phrase])
    if phrase in words.loads:
        load = words.loads[phrase]
        return Reading("loads", load, bare=True, meaning=f"the load {load!r}")
    for start, end, about in (
        ("", "on", "loads"),
        ("", "off", "loads off"),
        ("no", "", "loads off"),
    ):
        inner = phrase.removeprefix(start).removesuffix(end)
        if inner in words.loads and inner != phrase and f"{start}{inner}{end}" == phrase:
            return Reading(about, words.loads[inner])
    if phrase in OWN_WORDS:
        return OWN_WORDS[phrase]
    return _numbered(phrase)


def _numbered(phrase: str) -> Reading | None:
    for pattern, about in ((_TAKE, "take"), (_OFF_AT, "switched_off_s"), (_RPM, "rpm")):
        match = pattern.fullmatch(phrase)
        if match is None or match.group(1) == phrase:
            continue
        number = float(match.group(1).replace(",", "."))
        return Reading(about, int(number) if about == "take" else number)
    return None


def _beginning(phrase: str, words: TakeWords) -> list[str]:
    """Parts whose name begins so."""
    if len(phrase) < _SHORTEST_BEGINNING and phrase not in words.loads:
        return []
    if phrase in FILLING:
        return []
    return [name for key, name in words.parts.items() if key.startswith(phrase)]


def _nearly_a_point(word: str, words: TakeWords) -> str:
    """What to say of a word that looks like a part but is none; empty if it does not."""
    inside = [name for name in words.parts.values() if word in words_of(name)]
    if inside:
        return f"{word!r} stands in the name of {_listed(inside)}; write it from its beginning."
    if len(word) <= _SHORTEST_BEGINNING:
        return ""
    by_word = {one: name for name in words.parts.values() for one in (close(name), *words_of(name))}
    near = difflib.get_close_matches(word, by_word, n=1, cutoff=_ALIKE)
    if near:
        return f"{word!r} is no part of this layout. Did you mean {by_word[near[0]]!r}?"
    if word in words.other_parts:
        return (
            f"{word!r} is no part of this layout, which has {_listed(words.parts.values(), 'and')}."
        )
    return ""


def _listed(names: Iterable[object], last: str = "or") -> str:
    *front, end = [str(name) for name in names]
    return f"{', '.join(front)} {last} {end}" if front else end
