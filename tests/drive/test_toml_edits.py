"""Changing values of a TOML text: only the piece that holds them is written anew."""

import copy
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acoustic.drive.toml_edits import EditError, with_row, with_values, without_row

TEXT = """\
# Of the bus.
name = "bus" # short

[engine]
cylinders = 4   # counted

# The crank's own.
[[pulley]]
name = "crank"
path = [
  1,
  2, # two
]

# The alternator.
[[component]]
name = "alternator"
pulley = { diameter_mm = 55, measured = "drawing" }
bearings = [{ place = "front" }, { place = "rear" }]
poles = 12  # claws

[component.more]
weight = 5

# The idler.
[[component]]
name = "idler"
"""


def changed(at, value, text=TEXT):
    """Set one value, and hold that everything else is as before."""
    wanted = copy.deepcopy(tomllib.loads(text))
    holder = wanted
    for key in at[:-1]:
        holder = holder[key]
    if value is None:
        del holder[at[-1]]
    else:
        holder[at[-1]] = value
    edited = with_values(text, wanted)
    assert edited.refused == ()
    assert tomllib.loads(edited.text) == wanted
    return edited.text


@pytest.mark.parametrize(
    ("at", "value", "old", "new"),
    [
        (("engine", "cylinders"), 6, "cylinders = 4 ", "cylinders = 6 "),
        (("name",), 'bus "7"\n', '"bus"', r'"bus \"7\"\n"'),
        (("component", 0, "pulley", "diameter_mm"), 54.5, "_mm = 55,", "_mm = 54.5,"),
        (("component", 0, "bearings", 1, "place"), "back", '"rear"', '"back"'),
        (("component", 1, "poles"), 8, 'name = "idler"\n', 'name = "idler"\npoles = 8\n'),
        (("component", 0, "pulley", "a b"), True, '"drawing" }', '"drawing", "a b" = true }'),
        (("component", 0, "pulley", "measured"), None, ', measured = "drawing"', ""),
        (("component", 0, "more", "weight"), 6, "weight = 5", "weight = 6"),
        (("component", 1, "pulley"), {"x": [1, 2]}, "", "pulley = { x = [1, 2] }\n"),
        (("note",), "n", "# short\n", '# short\nnote = "n"\n'),
        # A comment beside a value that goes stays, in a line of its own.
        (("component", 0, "poles"), None, "poles = 12  # claws", "# claws"),
    ],
)  # fmt: skip
def test_one_value_changes_and_nothing_else(at, value, old, new):
    """Sign for sign what one would do by hand."""
    wanted = TEXT.replace(old, new, 1) if old else TEXT + new
    assert changed(at, value) == wanted


def test_numbers_that_mean_the_same_are_left_as_written():
    """55 is 55.0; but 1 is not true."""
    same = copy.deepcopy(tomllib.loads(TEXT))
    same["component"][0]["pulley"]["diameter_mm"] = 55.0
    assert with_values(TEXT, same).text == TEXT
    assert changed(("a",), True, "a = 1\n") == "a = true\n"


def test_a_list_that_holds_a_comment_is_not_rewritten():
    """It is told instead, and what else was changed is changed."""
    wanted = copy.deepcopy(tomllib.loads(TEXT))
    wanted["pulley"][0]["path"] = [1, 2, 3]
    wanted["engine"]["cylinders"] = 6
    edited = with_values(TEXT, wanted)
    assert edited.refused == (("pulley", 0, "path"),)
    assert edited.text == TEXT.replace("cylinders = 4", "cylinders = 6")


def test_a_row_comes_behind_its_like():
    """Behind the last of its list, its tables with it; or at the end where there is none."""
    assert with_row(TEXT, ("pulley",)) == TEXT.replace(
        "]\n\n# The alt", "]\n\n[[pulley]]\n\n# The alt"
    )
    assert with_row(TEXT, ("belt",)) == TEXT + "\n[[belt]]\n"
    grown = with_row(TEXT, ("component", 0, "bearings"))
    assert tomllib.loads(grown)["component"][0]["bearings"][2] == {}
    first = with_row(TEXT, ("component", 1, "bearings"))
    assert first == TEXT + "bearings = [{}]\n"


def test_a_row_goes_and_the_comments_round_it_stay():
    """With the tables that belong to it; the next row's comment is not the row's."""
    left = without_row(TEXT, ("component", 0))
    before, after = TEXT[: TEXT.index("[[component]]")], TEXT[TEXT.index("# The idler") :]
    assert before.endswith("# The alternator.\n")
    assert left == f"{before}\n{after}"
    one = without_row(TEXT, ("component", 0, "bearings", 0))
    assert one == TEXT.replace('{ place = "front" }, ', "")
    none = without_row(without_row(TEXT, ("component", 0)), ("component", 0))
    assert "component" not in tomllib.loads(none)


def test_a_row_is_refused_rather_than_a_comment_lost():
    """A list with comments between its rows neither grows nor shrinks."""
    text = "rows = [\n  { a = 1 }, # one\n  { a = 2 },\n]\n"
    for change in (lambda: with_row(text, ("rows",)), lambda: without_row(text, ("rows", 0))):
        with pytest.raises(EditError):
            change()
    with pytest.raises(EditError):
        without_row(TEXT, ("component", 7))


def test_every_sample_survives_any_change(sample):
    """Each value of each sample made another, then back: the text is the one we began with."""
    text = sample.read_text("utf-8")
    held = tomllib.loads(text)
    other = _turned(held)
    there = with_values(text, other)
    assert tomllib.loads(there.text) == other
    assert there.refused == ()
    back = with_values(there.text, held)
    assert tomllib.loads(back.text) == held
    comments = [line for line in text.splitlines() if line.startswith("#")]
    assert [line for line in back.text.splitlines() if line.startswith("#")] == comments


def _turned(value):
    """Another value of the same kind."""
    if isinstance(value, dict):
        return {key: _turned(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_turned(one) for one in value]
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int | float) else value + " ü"


def test_changes_that_get_in_each_other_s_way_are_made_as_far_as_they_go():
    """A key that no single change can give back is told; the others are made."""
    text = "a.b = 1\nc = 2\n"
    edited = with_values(text, {"a": {"b": 1, "d": 5}, "c": 3})
    assert edited.refused == (("a", "d"),)
    assert edited.text == "a.b = 1\nc = 3\n"


def test_more_changes_than_a_person_makes_are_cut_short_and_told():
    """What was not looked at is refused, never forgotten."""
    wanted = {f"key_{number}": number for number in range(300)}
    edited = with_values("", wanted)
    assert tomllib.loads(edited.text) == dict(list(wanted.items())[:200])
    assert edited.refused == tuple((key,) for key in list(wanted)[200:])


VALUES = st.one_of(
    st.text(max_size=12),
    st.integers(-(10**9), 10**9),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.lists(st.text(max_size=5), max_size=3),
)
TABLES = st.dictionaries(st.text(max_size=6), VALUES, max_size=5)


@settings(max_examples=150, deadline=None)
@given(TABLES, TABLES, TABLES)
def test_whatever_is_asked_for_is_held_or_refused(first, second, inner):
    """From any table to any other, whatever signs are in keys and values; never half a change."""
    there = with_values("# top\n", {**first, "inner": inner})
    back = with_values(there.text, {**second, "inner": first})
    for edited, wanted in ((there, {**first, "inner": inner}), (back, {**second, "inner": first})):
        held = tomllib.loads(edited.text)
        assert edited.text.startswith("# top\n")
        for key in wanted.keys() | held.keys():
            touched = [path for path in edited.refused if path[0] == key]
            assert touched or held.get(key) == wanted.get(key)
    odd = {key for table in (first, second, inner) for key in table if not key.isalnum()}
    assert odd or (there.refused, back.refused) == ((), ())
