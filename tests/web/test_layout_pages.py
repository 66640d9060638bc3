"""The layout of a case in a browser without script: forms read and sent as a browser does."""

import re
import tomllib
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_screening
from acoustic.casework.history import Note, ScreeningMade
from acoustic.drive.layout_file import parse_drive
from acoustic.errors import DriveError

PLACE = "/case/bus/layout"
VOID = {"input", "meta", "link", "img", "br"}


class Page(HTMLParser):
    """A page as read: the fields of its layout form, its ids, links and texts."""

    def __init__(self, text):
        super().__init__()
        self.text, self.fields, self.ids, self.links = text, {}, set(), {}
        self.invalid, self.described, self.focused = set(), {}, []
        self.said, self._open, self._select = {}, [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Note fields and marks."""
        said = dict(attrs)
        if tag not in VOID:
            self._open.append((tag, said))
        if "id" in said:
            assert said["id"] not in self.ids, f"twice: {said['id']}"
            self.ids.add(said["id"])
        if "aria-invalid" in said:
            self.invalid.add(said["id"])
            self.described[said["id"]] = said["aria-describedby"].split()
        if "autofocus" in said:
            self.focused.append(said.get("id", said.get("class", said.get("value"))))
        if tag == "select":
            self._select = said["name"]
            self.fields[self._select] = ""
        elif tag == "option" and "selected" in said:
            self.fields[self._select] = said["value"]
        elif tag == "textarea":
            self.fields[said["name"]] = ""
        elif tag == "input" and (said.get("type") != "checkbox" or "checked" in said):
            self.fields[said["name"]] = said.get("value", "")

    def handle_endtag(self, tag):
        """Close what is open."""
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        """Note what stands in a textarea, a link or behind a mark."""
        tag, said = self._open[-1] if self._open else ("", {})
        if tag == "textarea":
            self.fields[said["name"]] += data.removeprefix("\n")
        elif tag == "a" and said.get("href", "").startswith("#"):
            self.links[data] = said["href"][1:]
        if "id" in said:
            self.said[said["id"]] = self.said.get(said["id"], "") + data

    @property
    def mends(self):
        """What is to be mended, each with the mark it leads to."""
        return {said: mark for said, mark in self.links.items() if mark.startswith(("at", "text"))}


@pytest.fixture
def look(visitor):
    """Give a function that opens the layout page, at one of its addresses."""

    def looked(query=""):
        answer = visitor.get(PLACE + query)
        assert answer.status_code == 200
        return Page(answer.text)

    return looked


@pytest.fixture
def press(visitor):
    """Give a function that changes fields of a page, presses a button and reads the answer."""

    def pressed(page, do, status=200, **typed):
        sent = {**page.fields, **typed, "do": do}
        sent = {name: value.replace("\n", "\r\n") for name, value in sent.items() if value != "-"}
        answer = visitor.post(PLACE, data=sent)
        assert answer.status_code == status, Page(answer.text).mends
        return Page(answer.text)

    return pressed


@pytest.fixture
def layout(cases):
    """Give the layout file of the case."""
    return cases / "bus" / "layout.toml"


def test_the_case_s_own_layout_is_drawn_with_words(look):
    """The picture says in words which pulleys the belt meets, and the fields what is known."""
    page = look()
    assert "Belt main runs over crank pulley, compressor, guide idler" in page.text
    assert page.fields["at/belt/0/length_mm"] == "1870"
    assert page.mends == {}


def test_every_sample_can_be_begun_from_and_nothing_is_written_yet(look, layout):
    """Each drawn, none with anything to mend; the case keeps its own until it is saved."""
    before = layout.read_bytes()
    picks = set(re.findall(r'layout\?from=([\w-]+)"', look().text))
    assert {"blank", "front_four", "rear_six", "two_belt_diesel", "v6_supercharger"} <= picks
    for pick in picks - {"blank"}:
        page = look(f"?from={pick}")
        assert page.mends == {}, pick
        assert '<img src="data:image/png' in page.text
    assert layout.read_bytes() == before


@pytest.mark.parametrize("pick", ["../case", "case.toml", "", "front_four.toml"])
def test_a_layout_to_begin_from_is_named_and_never_found_by_path(visitor, pick):
    """Anything but the words of the list is refused."""
    assert visitor.get(PLACE, params={"from": pick}).status_code == 404


def test_messages_are_those_of_the_layout_file_beside_the_field_and_at_the_top(look, press):
    """Sentence for sentence, all at once, each leading to its own field and telling it."""
    typed = {
        "at/belt/0/path": "crank pulley\nalternater\ncompressor",
        "at/pulley/0/diameter_mm": "-150",
        "at/engine/cylinders": "",
        "at/component/0/pulley/measured": "",
        "at/component/1/pistons": "many",
        "at/component/4/bearings/0/designation": "6O03",
    }
    page = press(look(), "draw", **typed)
    with pytest.raises(DriveError) as error:
        parse_drive(page.fields["base"], "layout")
    wanted = [re.sub(r"^layout:\d+: ", "", line) for line in str(error.value).splitlines()]
    assert list(page.mends) == wanted
    assert len(wanted) >= 4
    assert page.mends["[engine]: cylinders is missing; add it."] == "at/engine/cylinders"
    [path] = [said for said in wanted if "Did you mean 'alternator'?" in said]
    assert page.mends[path] == "at/belt/0/path"
    for said, mark in page.mends.items():
        assert mark in page.ids
        assert mark in page.invalid
        beside = " ".join(page.said.get(one, "") for one in page.described[mark])
        assert said.rpartition("] ")[2].partition(": ")[2] in beside or said in beside
    # What was typed is still there, right or wrong.
    assert page.fields["at/component/1/pistons"] == "many"
    assert page.fields["at/pulley/0/diameter_mm"] == "-150"


def test_a_change_is_saved_in_its_line_and_comments_stay(look, press, layout):
    """As one would have done it by hand."""
    before = layout.read_text("utf-8")
    page = press(look(), "save", **{"at/belt/0/length_mm": "1872", "at/engine/motor": "-"})
    assert "Saved." in page.text
    assert layout.read_text("utf-8") == before.replace("= 1870  ", "= 1872  ")


def test_nothing_faulty_is_saved_and_the_summary_has_the_cursor(look, press, layout):
    """The answer says so with its status; the case keeps what it had."""
    before = layout.read_bytes()
    page = press(look(), "save", 422, **{"at/belt/0/length_mm": "-1"})
    assert page.focused == ["trouble"]
    assert "Not saved: 1 thing to mend" in page.text
    assert layout.read_bytes() == before


def test_a_component_with_its_bearing_is_added_by_buttons_alone(look, press, cases, layout):
    """Row by row, the cursor in the new one; its kind brings its counts; then it is a part."""
    page = press(look(), "add at/component")
    assert page.focused == ["at/component/7/name"]
    assert page.mends == {}  # of a row just added nothing is told yet
    page = press(page, "draw", **{
        "at/component/7/name": "vacuum pump", "at/component/7/kind": "vacuum pump",
        "at/component/7/on": "alternator",
    })  # fmt: skip
    assert "at/component/7/vanes" in page.fields
    page = press(page, "add at/component/7/bearings", **{"at/component/7/vanes": "4"})
    assert page.focused == ["at/component/7/bearings/0/place"]
    typed = {"at/component/7/bearings/0/designation": "6202"}
    assert press(page, "save", **typed).mends == {}
    drive = read_case(cases / "bus").drive
    assert drive.parts["vacuum pump"].quantities["vanes"] == 4
    assert [one.variants[0].designation for one in drive.bearings if one.part == "vacuum pump"]
    assert "# The clutch bearing carries the pulley" in layout.read_text("utf-8")


def test_a_row_is_taken_out_and_what_named_it_is_told(look, press):
    """The belt still runs over the pulley that went."""
    page = press(look(), "remove at/component/5")
    assert page.focused == ["add at/component"]
    assert "at/component/6/name" not in page.fields
    assert list(page.mends.values()) == ["at/belt/0/path"]
    assert "'flat idler' is no pulley." in next(iter(page.mends))


@pytest.mark.parametrize("do", ["add at/engine", "remove at/component/99", "add at/../x", "add "])
def test_a_row_that_cannot_be_is_refused(look, press, do):
    """Whatever was made up by hand."""
    assert "There is no such row" in press(look(), do, 400).text


def test_form_and_text_are_two_views_of_one_thing(look, press):
    """What was typed into one is in the other, unsaved; comments too."""
    text = press(look(), "text", **{"at/belt/0/length_mm": "1900"})
    assert "length_mm = 1900  " in text.fields["text"]
    typed = text.fields["text"].replace("cylinders = 4", "cylinders = 4 # of eight")
    form = press(text, "form", text=typed)
    assert form.fields["at/belt/0/length_mm"] == "1900"
    assert "cylinders = 4 # of eight" in form.fields["base"]


def test_text_that_is_no_toml_stays_text(look, press, layout):
    """The line is told, the form is not offered, nothing typed is lost, nothing saved."""
    before = layout.read_bytes()
    broken = look("?as=text").fields["text"].replace("cylinders = 4", "cylinders = ")
    for do, status in (("form", 200), ("draw", 200), ("save", 422)):
        page = press(look("?as=text"), do, status, text=broken)
        assert page.fields["text"] == broken
        [said] = page.mends
        line = 1 + broken[: broken.index("cylinders = ")].count("\n")
        assert said.startswith(f"layout.toml:{line}: not TOML")
        assert f'data-line="{line}"' in page.text
    assert layout.read_bytes() == before


def test_a_comment_is_never_lost_by_the_form(look, press, layout):
    """A list that holds one is left as it is and told; the text is where to change it."""
    text = layout.read_text("utf-8").replace('  "compressor",\n', '  "compressor", # low\n')
    layout.write_text(text, "utf-8")
    path = "crank pulley\ncompressor"
    page = press(look(), "save", 422, **{"at/belt/0/path": path, "at/engine/cylinders": "6"})
    [said] = [said for said, mark in page.mends.items() if mark == "at/belt/0/path"]
    assert "Change it in the text." in said
    assert "# low" in page.fields["base"]
    assert tomllib.loads(page.fields["base"])["engine"]["cylinders"] == 6
    assert layout.read_text("utf-8") == text


def test_what_somebody_else_saved_meanwhile_is_not_overwritten(look, press, layout):
    """Both began with the same layout; the second is told and keeps what was typed."""
    first, second = look(), look()
    press(first, "save", **{"at/belt/0/length_mm": "1901"})
    page = press(second, "save", 409, **{"at/belt/0/length_mm": "1902"})
    assert "changed by somebody else" in page.text
    assert page.fields["at/belt/0/length_mm"] == "1902"
    assert "length_mm = 1901" in layout.read_text("utf-8")


def test_a_change_after_a_screening_is_noted(look, press, cases):
    """In the history, and said; a save without a change is neither."""
    made = ScreeningMade("nothing_found")
    write_screening(cases / "bus", "{}", made, datetime(2026, 11, 25, tzinfo=UTC))
    assert "noted" not in press(look(), "save").text
    page = press(look(), "save", **{"at/belt/0/length_mm": "1871"})
    assert "noted in the history" in page.text
    last = read_case(cases / "bus").events[-1].data
    assert isinstance(last, Note)
    assert last.text.startswith("The layout was changed.")


@pytest.mark.parametrize("content", [None, b"", b"\xff\xfe\x00"])
def test_a_layout_that_is_gone_or_unreadable_can_be_made_anew(look, press, layout, content):
    """The page says so and begins with an empty one; a sample can be put in its place."""
    if content is None:
        layout.unlink()
    else:
        layout.write_bytes(content)
    assert "The layout could not be read" in look().text
    assert press(look("?from=front_four"), "save").mends == {}
    assert parse_drive(layout.read_text("utf-8")).name.startswith("Library bus 1")


def test_a_faulty_layout_opens_with_its_messages(look, layout):
    """What made the commands refuse it is what is to be mended."""
    layout.write_text(layout.read_text("utf-8").replace("poles = 12 ", "poles = 13 "), "utf-8")
    [said] = look().mends
    assert "poles = 13: must be even" in said


def test_names_are_written_as_text(look, press):
    """In fields, titles, summaries and suggestions."""
    evil = '"><script>alert(1)</script>'
    page = press(look(), "draw", **{"at/component/0/name": evil, "at/component/1/on": evil})
    assert "<script>alert" not in page.text
    assert page.fields["at/component/0/name"] == evil


def test_a_layout_too_long_for_a_form_is_edited_as_text(look, layout):
    """It is not chewed on; the text holds all of it."""
    text = layout.read_text("utf-8") + "# much\n" * 20_000
    layout.write_text(text, "utf-8")
    page = look()
    assert page.fields["mode"] == "text"
    assert page.fields["text"] == text


def test_layouts_of_other_cases_can_be_begun_from(look, cases, start_case):
    """Each once, by the case it was met in; the case's own is not offered again."""
    other = start_case(cases / "van", title="The van") / "layout.toml"
    assert "The van" not in look().text
    text = other.read_text("utf-8").replace("length_mm = 1870", "length_mm = 1888")
    other.write_text(text, "utf-8")
    [pick] = re.findall(r'layout\?from=(\w+)">The van: ', look().text)
    assert look(f"?from={pick}").fields["at/belt/0/length_mm"] == "1888"


def test_a_technician_with_a_tape_describes_a_drive_from_nothing(look, press, cases):
    """Engine, gears, belt, pulleys, components, bearings, access: by buttons and fields alone.

    Pitch diameters are 2 x 2 mm above the effective ones (ISO 9981), gears 48 to 32 make 1.5.
    """
    page = press(look("?from=blank"), "add at/shaft", **{
        "at/name": "Mobile library", "at/engine/cylinders": "6",
        "at/belt/0/path": "crank pulley\nalternator\nidler (back)",
        "at/pulley/0/diameter_mm": "150", "at/pulley/0/measured": "drawing",
        "at/component/0/name": "alternator", "at/component/0/kind": "alternator",
        "at/component/0/pulley/diameter_mm": "50", "at/component/0/pulley/measured": "drawing",
        "at/component/0/access_hours": "1.5",
    })  # fmt: skip
    page = press(page, "add at/component", **{
        "at/shaft/0/name": "pump shaft", "at/shaft/0/driven_by/kind": "gears",
        "at/shaft/0/driven_by/teeth": "48 32", "at/component/0/poles": "14",
    })  # fmt: skip
    page = press(page, "add at/component", **{
        "at/component/1/name": "idler", "at/component/1/kind": "idler",
        "has/component/1/pulley": "true", "at/component/1/pulley/diameter_mm": "70",
        "at/component/1/pulley/measured": "flat back-side pulley",
    })  # fmt: skip
    page = press(page, "add at/component/1/bearings", **{
        "at/component/2/name": "pump", "at/component/2/kind": "vane pump",
        "at/component/2/on": "pump shaft", "has/component/2/bearings": "true",
    })  # fmt: skip
    page = press(page, "save", **{
        "at/component/1/bearings/0/designation": "6203", "at/component/2/vanes": "10",
    })  # fmt: skip
    assert page.mends == {}
    drive = read_case(cases / "bus").drive
    assert drive.shafts["alternator"].ratio == pytest.approx(154 / 54)
    assert drive.shafts["pump shaft"].ratio == pytest.approx(1.5)
    assert drive.parts["alternator"].access_hours == 1.5
    assert drive.parts["alternator"].quantities["pole_pairs"] == 7
    assert drive.parts["pump"].quantities["vanes"] == 10
    assert [one.part for one in drive.bearings] == ["idler"]
    assert not [note for note in drive.notes if "no bearings given for pump" in note]
