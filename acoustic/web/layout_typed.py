"""What was typed into the form of a layout, put into its text.

A field that comes back as it was shown changes nothing, so that whatever the form does not
show, or shows shortened, stays as its writer left it.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from typing import Any

from acoustic.drive.toml_edits import Edited, with_values
from acoustic.tables.knowledge import Knowledge
from acoustic.web.layout_fields import FormField, FormGroup, FormRows, form_of, has_mark
from acoustic.web.layout_values import Sort, even_text, meant_value


def with_typed(text: str, typed: Mapping[str, str], knowledge: Knowledge) -> Edited:
    """Put what was typed into the form of `text` into the text.

    Parameters
    ----------
    text : str
        TOML, as it was when the form was shown.
    typed : mapping of str to str
        What came back, by the names of the form.
    knowledge : Knowledge
    """
    held = tomllib.loads(text)
    return with_values(text, _filled(form_of(text, knowledge), held, typed))


def _filled(group: FormGroup, held: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """A table with what was typed into its fields."""
    filled = copy.deepcopy(dict(held))
    for item in group.items:
        key = str(item.path[-1])
        if isinstance(item, FormField):
            _fill_field(item, filled, key, typed)
        elif isinstance(item, FormGroup):
            inner = _filled(item, held.get(key) or {}, typed)
            ticked = has_mark(item.path) in typed
            there = ticked or (bool(inner) and not (item.optional and item.there))
            if there or (item.there and not item.optional):
                filled[key] = inner
            else:
                filled.pop(key, None)
        else:
            _fill_rows(item, filled, key, typed)
    return filled


def _fill_field(
    field: FormField, filled: dict[str, Any], key: str, typed: Mapping[str, str]
) -> None:
    if field.sort == "kept":
        return
    if field.sort == "switch":
        ticked = bool(typed.get(field.id))
        if ticked != bool(field.text):
            filled[key] = ticked
        return
    if field.id not in typed:
        return
    said = even_text(typed[field.id])
    if said == even_text(field.text):
        return
    if said:
        filled[key] = meant_value(_sort_of_unknown(field, said), said)
    else:
        filled.pop(key, None)


def _sort_of_unknown(field: FormField, said: str) -> Sort:
    """A value chosen among numbers is a number."""
    numbers = field.sort == "choice" and all(not one or one.isdigit() for one, _ in field.choices)
    return "number" if numbers and said.isdigit() else field.sort


def _fill_rows(rows: FormRows, filled: dict[str, Any], key: str, typed: Mapping[str, str]) -> None:
    if rows.rows:
        filled[key] = [
            _filled(row, held, typed) for row, held in zip(rows.rows, filled[key], strict=True)
        ]
    elif rows.empty is not None:
        ticked = has_mark(rows.path) in typed
        if ticked and not rows.empty:
            filled[key] = []
        elif rows.empty and not ticked:
            filled.pop(key, None)
