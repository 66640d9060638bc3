"""The sentences shown to people, by code, read once from ``words.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from acoustic.errors import TableError


@dataclass(frozen=True, slots=True)
class RemarkWords:
    """What is wrong with a recording and what to do at the engine.

    Both may hold figures in braces, to be filled in by name.
    """

    message: str
    advice: str


@cache
def read_words() -> dict[str, Any]:
    """Read all sentences; the file comes with the package."""
    text = resources.files("acoustic.tables").joinpath("words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def read_repair_words() -> dict[str, Any]:
    """Read the sentences of hand checks and decisions; the file comes with the package."""
    shipped = resources.files("acoustic.tables").joinpath("repair_words.toml")
    return tomllib.loads(shipped.read_text(encoding="utf-8"))


def repair_words(section: str, code: str, **figures: object) -> str:
    """Fill in a sentence of the hand checks or the decision.

    Raises
    ------
    TableError
        ``repair_words.toml`` has no such entry, or it names a figure that is not given.
    """
    try:
        return str(read_repair_words()[section][code]).format(**figures)
    except KeyError as missing:
        raise TableError(
            f"repair_words.toml: [{section}] {code} has no {missing}. Add or correct the sentence."
        ) from missing


def quality_words(code: str) -> RemarkWords:
    """Sentences for a remark on a recording.

    Raises
    ------
    TableError
        The code has no entry in ``words.toml``.
    """
    try:
        entry = read_words()["quality"][code]
        return RemarkWords(message=entry["message"], advice=entry["advice"])
    except KeyError as missing:
        raise TableError(
            f"words.toml: [quality.{code}] has no {missing}. Add a message and an advice."
        ) from missing


def left_out_words(code: str) -> str:
    """Why seconds of this code are left out.

    Raises
    ------
    TableError
        The code has no entry in ``words.toml``.
    """
    try:
        return str(read_words()["left_out"][code])
    except KeyError as missing:
        raise TableError(f"words.toml: [left_out] has no {missing}. Add the sentence.") from missing


def swelling_words(code: str) -> str:
    """Sentence on loudness that swells, with figures in braces to be filled in by name.

    Raises
    ------
    TableError
        The code has no entry in ``words.toml``.
    """
    try:
        return str(read_words()["swelling"][code])
    except KeyError as missing:
        raise TableError(f"words.toml: [swelling] has no {missing}. Add the sentence.") from missing
