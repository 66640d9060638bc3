"""Any TOML file that people type: from its bytes to keys, and its faults in plain words.

The layout of a drive and the file of a case are both such files.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from acoustic.drive.faults import Fault, KeyPath, did_you_mean

LARGEST_BYTES = 1_000_000


def text_of(raw: bytes, name: str, what: str) -> str:
    """Text of a file that a person typed.

    Parameters
    ----------
    raw : bytes
        Its content, or the first ``LARGEST_BYTES + 1`` bytes of it.
    name, what : str
        Of the file, and what it should be, for the message: ``"layout"``.

    Raises
    ------
    ValueError
        With a whole message, if it is no text in UTF-8 or longer than 1 MB.
    """
    if len(raw) > LARGEST_BYTES:
        raise ValueError(
            f"{name}: is larger than 1 MB, which no {what} is. Was another file meant?"
        )
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ValueError(
            f"{name}:{line}: is not UTF-8 text. Save the {what} as plain text in UTF-8."
        ) from None


def toml_of(text: str, name: str, what: str) -> dict[str, Any]:
    """Keys and values of a TOML text.

    Raises
    ------
    ValueError
        With a whole message that shows the line, if it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, and numbers too long for Python
        raise ValueError(_syntax_message(text, name, str(error))) from None
    except RecursionError:
        raise ValueError(f"{name}: is nested too deeply to be {what}.") from None


def _syntax_message(text: str, name: str, message: str) -> str:
    match = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", message)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    line = text.count("\n") + 1
    column = ""
    if match and match.group(1):
        line, column = int(match.group(1)), f", column {match.group(2)}"
    typed = text.splitlines()[line - 1].strip() if line <= len(text.splitlines()) else ""
    shown = f" The line reads: {typed[:80]}" if typed else ""
    if "{" in typed and "}" not in typed:
        shown += " (a table in { } must stand on one line)"
    return f"{name}:{line}: not TOML{column}: {said}.{shown}"


def fault_of(
    error: Mapping[str, Any],
    keys_at: Callable[[KeyPath], Sequence[str]],
    missing: Mapping[str, str],
) -> Fault:
    """The checker's complaint in plain words.

    Parameters
    ----------
    error : mapping
        One of pydantic's ``errors()``.
    keys_at : callable
        Gives the keys that may stand in the table a path leads to.
    missing : mapping of str to str
        What to call a missing key at the top, where its name alone says too little.
    """
    path: KeyPath = tuple(error["loc"])
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        *_, key = path
        return Fault(path, f"there is no such key. {did_you_mean(str(key), keys_at(path[:-1]))}")
    if kind == "missing":
        *front, key = path
        if isinstance(key, int):
            return Fault(tuple(front), f"has too few entries: number {key + 1} is missing.")
        named = missing.get(key, key) if not front else key
        return Fault(tuple(front), f"{named} is missing; add it.", missing=str(key))
    shown = error.get("input")
    if isinstance(shown, dict | list) and len(str(shown)) > 60:
        shown = "this table" if isinstance(shown, dict) else "this list"
        return Fault(path, f"{shown} {_rule(kind, context, error['msg'])}")
    return Fault(path, f"= {_as_typed(shown)}: {_rule(kind, context, error['msg'])}")


def _rule(kind: str, context: Mapping[str, Any], message: str) -> str:
    """Say what a value must be, in place of the checker's own wording."""
    rules = {
        "greater_than": "must be greater than {gt:g}.",
        "greater_than_equal": "must be at least {ge:g}.",
        "less_than": "must be less than {lt:g}.",
        "less_than_equal": "must be at most {le:g}.",
        "literal_error": "must be one of {expected}.",
        "string_pattern_mismatch": 'must be ribs and profile, such as "6PK".',
        "too_short": "must have at least {min_length} entries.",
        "too_long": "must have at most {max_length} entries.",
        "finite_number": "must be a finite number.",
        "string_too_short": "must not be empty.",
        "string_too_long": "must have at most {max_length} characters.",
    }
    nouns = {
        "int": "a whole number without quotes",
        "float": "a number without quotes",
        "bool": "true or false",
        "string": "text in quotes",
        "list": "a list in [ ]",
        "tuple": "a list in [ ]",
        "model": "a table",
        "dict": "a table",
        "date": "a date without quotes, such as 2026-11-25",
    }
    if kind in rules:
        return rules[kind].format(**context)
    noun = nouns.get(kind.partition("_")[0])
    return f"must be {noun}." if noun else f"{message}."


def _as_typed(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)
