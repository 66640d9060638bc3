"""Values of a layout as they stand in the fields of a form, and back."""

from __future__ import annotations

import re
from typing import Any, Literal

Sort = Literal["text", "story", "lines", "number", "numbers", "choice", "switch", "kept"]
_WHOLE = re.compile(r"[+-]?[0-9]{1,15}")
_DECIMAL = re.compile(r"[+-]?(?=\.?[0-9])[0-9]{0,15}\.?[0-9]{0,20}(e[+-]?[0-9]{1,2})?", re.I)


def shown_value(sort: Sort, value: Any) -> str | None:
    """How a value stands in its field; None if it is not of the field's kind at all."""
    if value is None:
        return ""
    if sort == "switch":
        return ("true" if value else "") if isinstance(value, bool) else None
    if isinstance(value, list | tuple):
        words = [shown_value("text", one) for one in value]
        whole = sort in {"lines", "numbers"} and not any(w is None or "\n" in w for w in words)
        join = "\n" if sort == "lines" else ", "
        return join.join(str(word) for word in words) if whole else None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return str(value) if isinstance(value, int | str) else None


def meant_value(sort: Sort, typed: str) -> Any:
    """What typed text stands for; a word in the place of a number stays the word."""
    if sort == "number":
        return _number(typed)
    if sort == "numbers":
        return [_number(one) for one in re.split(r"[,;\s]+", typed) if one]
    if sort == "lines":
        return [line.strip() for line in typed.split("\n") if line.strip()]
    return typed


def _number(typed: str) -> int | float | str:
    if _WHOLE.fullmatch(typed):
        return int(typed)
    return float(typed) if _DECIMAL.fullmatch(typed) else typed


def even_text(text: str) -> str:
    """Text with one kind of line end and no blanks round it, for comparing."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()
