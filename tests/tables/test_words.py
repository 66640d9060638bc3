"""The table of sentences."""

from __future__ import annotations

import string

import pytest

from acoustic.errors import TableError
from acoustic.tables.words import left_out_words, quality_words, read_words


@pytest.mark.parametrize("code", read_words()["quality"])
def test_every_remark_has_message_and_advice(code: str) -> None:
    """Both are whole sentences and their figures are named, not numbered."""
    words = quality_words(code)
    for text in (words.message, words.advice):
        assert text.endswith(".")
        names = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
        assert all(name.isidentifier() for name in names)


def test_every_reason_has_words() -> None:
    """Reasons for leaving out are there; an unknown code names the table."""
    assert "bump" in left_out_words("bump")
    with pytest.raises(TableError, match=r"words\.toml: \[left_out\]"):
        left_out_words("no such code")
    with pytest.raises(TableError, match=r"words\.toml: \[quality\.no such code\]"):
        quality_words("no such code")
