"""A layout as a form: every key of the model and of the tables, and nothing lost on the way."""

import difflib
import tomllib
from pathlib import Path

import pytest

from acoustic.drive.layout_file import layout_json_schema
from acoustic.drive.toml_edits import Edited
from acoustic.tables.knowledge import load_knowledge, parse_knowledge
from acoustic.web.layout_fields import FormField, FormGroup, form_of, has_mark, mark_of
from acoustic.web.layout_typed import with_typed
from acoustic.web.layout_values import meant_value, shown_value

LAYOUTS = Path(__file__).resolve().parents[2] / "samples" / "layouts"
KNOWN = load_knowledge()
FOUR = (LAYOUTS / "front_four.toml").read_text("utf-8")


def fields_in(group):
    """Give every field of a form, those of rows and tables too."""
    for item in group.items:
        if isinstance(item, FormField):
            yield item
        elif isinstance(item, FormGroup):
            yield from fields_in(item)
        else:
            for row in item.rows:
                yield from fields_in(row)


def as_shown(text):
    """What a browser sends back of a form nobody touched."""
    typed = {}

    def note(group):
        for item in group.items:
            if isinstance(item, FormField):
                if item.sort == "switch":
                    typed.update({item.id: "true"} if item.text else {})
                elif item.sort != "kept":
                    typed[item.id] = item.text.replace("\n", "\r\n")
            elif isinstance(item, FormGroup):
                typed.update({has_mark(item.path): "true"} if item.optional and item.there else {})
                note(item)
            else:
                typed.update({has_mark(item.path): "true"} if item.empty else {})
                for row in item.rows:
                    note(row)

    note(form_of(text, KNOWN))
    return typed


def typed_into(text, *path, value, **more):
    """The text after one field was changed."""
    return with_typed(text, {**as_shown(text), mark_of(path): value, **more}, KNOWN)


def changed_lines(text, other):
    """Lines taken out and put in, without those that stayed."""
    lines = difflib.unified_diff(text.splitlines(), other.splitlines(), n=0, lineterm="")
    return [line for line in lines if line[0] in "+-" and line[:3] not in {"+++", "---"}]


def leaves(value, path=()):
    """Paths of all values in a TOML text; a list of plain values is one."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*path, number))
    else:
        yield path


@pytest.mark.parametrize("path", sorted(LAYOUTS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_value_of_a_sample_has_a_field_and_comes_back_as_it_was(path):
    """No value is hidden but the name of the format; a form nobody touched changes no sign."""
    text = path.read_text("utf-8")
    shown = {field.path: field for field in fields_in(form_of(text, KNOWN))}
    assert set(leaves(tomllib.loads(text))) - shown.keys() == {("schema",)}
    assert not [field for field in shown.values() if field.sort == "kept"]
    assert with_typed(text, as_shown(text), KNOWN) == Edited(text, ())


def test_every_key_of_the_schema_is_asked_for():
    """The keys as pydantic itself lists them, in a layout that has one table of each."""
    text = "shaft = [{bearings = [{}]}]\nbelt = [{}]\npulley = [{}]\n"
    text += "component = [{pulley = {}, bearings = [{}]}]\n"
    shown = {mark.path for mark in fields_in(form_of(text, KNOWN))}
    schema = layout_json_schema()
    places = {
        "EngineLayout": ("engine",),
        "ShaftLayout": ("shaft", 0),
        "DrivenBy": ("shaft", 0, "driven_by"),
        "BeltLayout": ("belt", 0),
        "PulleyLayout": ("pulley", 0),
        "PulleyBase": ("component", 0, "pulley"),
        "BearingLayout": ("component", 0, "bearings", 0),
    }
    counts = {row.name for kind in KNOWN.kinds.values() for row in kind.quantity}
    asked = 0
    for name, place in {**places, "ComponentLayout": ("component", 0)}.items():
        for key in schema["$defs"][name]["properties"]:
            if key in {"driven_by", "bearings", "pulley"} or key in counts:
                continue
            assert (*place, key) in shown
            asked += 1
    assert asked > 40
    assert {path[:1] for path in shown} == {
        (key,) for key in schema["properties"] if key != "schema"
    }


@pytest.mark.parametrize("kind", [kind for kind in KNOWN.kinds.values() if kind.listed])
def test_a_component_is_asked_for_the_counts_of_its_kind(kind):
    """Those of the tables, with their limits, and no others; the kind is one to choose."""
    form = form_of(f'component = [{{ kind = "{kind.id}" }}]', KNOWN)
    shown = {field.path[-1]: field for field in fields_in(form) if field.path[0] == "component"}
    counts = {row.name for other in KNOWN.kinds.values() for row in other.quantity}
    assert shown.keys() & counts == {row.name for row in kind.quantity}
    for row in kind.quantity:
        assert f"from {row.low:g} to {row.high:g}" in shown[row.name].hint
    assert kind.id in dict(shown["kind"].choices)


def test_a_kind_added_to_the_tables_needs_no_code():
    """A kind of one's own is offered, and its count asked for."""
    known = parse_knowledge(
        """
        [[kind]]
        id = "hay baler"
        title = "hay baler"
        source = "invented for this test"
          [[kind.quantity]]
          name = "knots"
          title = "knots a turn"
          source = "invented"
        """
    )
    form = form_of('component = [{ kind = "hay baler" }]', known)
    shown = {field.path[-1]: field for field in fields_in(form)}
    assert shown["knots"].sort == "number"
    assert "hay baler" in dict(shown["kind"].choices)


@pytest.mark.parametrize(
    ("path", "value", "lines"),
    [
        (("engine", "idle_rpm"), "650, 900", [
            "-idle_rpm = [700, 900]           # lowest and highest warm idle",
            "+idle_rpm = [650, 900]           # lowest and highest warm idle"]),
        (("component", 1, "pulley", "diameter_mm"), "111.5", [
            '-pulley = { diameter_mm = 110, measured = "drawing", position_mm = [-236, 30] }',
            '+pulley = { diameter_mm = 111.5, measured = "drawing", position_mm = [-236, 30] }']),
        (("component", 0, "phases"), "6", ["+phases = 6"]),
        (("component", 0, "access_hours"), "", ["-access_hours = 1.2"]),
        (("engine", "strokes"), "2", ["+strokes = 2"]),
        (("note",), "two\r\nlines", [
            '-note = "Invented engine of the village library bus."', r'+note = "two\nlines"']),
        (("belt", 0, "path"), "crank pulley\r\n\r\n tensioner (back) \r\n", [
            '-  "compressor",', '-  "guide idler",', '-  "alternator",', '-  "flat idler (back)",',
            '-  "steering pump",', '-  "water pump (back)",']),
        # What is no number stays as it was typed, so that the layout's own check can name it.
        (("belt", 0, "length_mm"), "1,87 m", [
            "-length_mm = 1870                # the number printed behind it",
            '+length_mm = "1,87 m"                # the number printed behind it']),
    ],
)  # fmt: skip
def test_one_field_changes_one_line(path, value, lines):
    """Comments, order and blanks as before; a number in the file is a number again."""
    assert changed_lines(FOUR, typed_into(FOUR, *path, value=value).text) == lines


def test_a_pulley_comes_and_goes_by_its_box():
    """Ticked it is there, though nothing is known of it; unticked it goes, fields and all."""
    text = 'component = [{ name = "fan" }]\n'
    path = ("component", 0, "pulley")
    box = {has_mark(path): "true"}
    bare = with_typed(text, as_shown(text) | box, KNOWN).text
    assert tomllib.loads(bare)["component"] == [{"name": "fan", "pulley": {}}]
    filled = typed_into(text, *path, "diameter_mm", value="120").text
    assert tomllib.loads(filled)["component"][0]["pulley"] == {"diameter_mm": 120}
    unticked = {name: said for name, said in as_shown(filled).items() if name not in box}
    assert tomllib.loads(with_typed(filled, unticked, KNOWN).text)["component"] == [{"name": "fan"}]


def test_no_bearings_and_bearings_left_out_are_two_things():
    """The box says there are none; untouched the key stays as it is."""
    text = 'component = [{ name = "fan" }]\n'
    box = {has_mark(("component", 0, "bearings")): "true"}
    none = with_typed(text, as_shown(text) | box, KNOWN).text
    assert tomllib.loads(none)["component"][0]["bearings"] == []
    assert with_typed(none, as_shown(none), KNOWN).text == none
    unticked = {name: said for name, said in as_shown(none).items() if name not in box}
    assert "bearings" not in with_typed(none, unticked, KNOWN).text


def test_a_key_nobody_knows_is_shown_and_can_be_taken_out():
    """Counts of another kind too; a whole table under such a key is left alone."""
    text = FOUR.replace("pistons = 7", "pistons = 7\nvanes = 5\nwheel = { a = 1 }")
    shown = {field.path: field for field in fields_in(form_of(text, KNOWN))}
    assert shown["component", 1, "vanes"].text == "5"
    assert shown["component", 1, "wheel"].sort == "kept"
    assert changed_lines(text, typed_into(text, "component", 1, "vanes", value="").text) == [
        "-vanes = 5"
    ]


def test_a_value_of_the_wrong_kind_is_shown_as_it_is():
    """A word where a number belongs, a choice that is none; what fits no field is kept."""
    text = FOUR.replace("poles = 12 ", 'poles = "twelve" ').replace(
        'crank_turns = "clockwise"', 'crank_turns = "left"'
    )
    text = text.replace("span_tension_n = 420", "span_tension_n = [[1], [2]]")
    shown = {field.path: field for field in fields_in(form_of(text, KNOWN))}
    assert shown["component", 0, "poles"].text == "twelve"
    assert ("left", "left") in shown["engine", "crank_turns"].choices
    assert shown["belt", 0, "span_tension_n"].sort == "kept"
    assert with_typed(text, as_shown(text), KNOWN) == Edited(text, ())


@pytest.mark.parametrize("value", [0, 55, -3, 7.94004, 39.0398, 1e-5, 0.1 + 0.2, 123456.789])
def test_a_number_survives_its_field(value):
    """Every digit, however many there are."""
    assert meant_value("number", shown_value("number", value)) == value


@pytest.mark.parametrize("typed", ["1_000", "١٢", "0x10", "1e9999", "nan", "- 5", "9" * 5000])
def test_odd_numbers_stay_words(typed):
    """Only plain digits are a number; the check of the layout names the rest."""
    assert meant_value("number", typed) == typed
