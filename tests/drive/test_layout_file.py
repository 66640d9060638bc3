"""Layout files: read, or refused with line, key and the way out."""

import copy
import random
import tomllib

import pytest
from pydantic import ValidationError

from acoustic.drive.build import build_drive
from acoustic.drive.layout import Layout
from acoustic.drive.layout_file import (
    layout_json_schema,
    parse_drive,
    parse_layout,
    read_drive,
)
from acoustic.drive.order_table import find_order_table
from acoustic.drive.typed_file import LARGEST_BYTES
from acoustic.errors import DriveError


def refusal(text: str) -> list[str]:
    """Lines of the message with which a text is refused."""
    with pytest.raises(DriveError) as error:
        parse_drive(text, "bus.toml")
    return str(error.value).splitlines()


def test_samples_are_read(sample) -> None:
    """Every shipped layout is read, all pulleys measured and no belt length contradicted."""
    drive = read_drive(sample)
    assert drive.parts
    assert not [note for note in drive.notes if "pulley" in note or "length" in note]


def test_belts_of_the_samples_close(sample) -> None:
    """Where all positions are given the belt is laid, and its length fits within 2 %."""
    drive = read_drive(sample)
    for belt in drive.belts.values():
        assert set(belt.wrap_deg) == set(belt.path)
        assert all(5 < wrap < 270 for wrap in belt.wrap_deg.values())


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("diameter_mm = 150", "diameter_mm = -5",
         "bus.toml:15: [pulley 1] diameter_mm = -5: must be greater than 0."),
        ("diameter_mm = 150", 'diameter_mm = "wide"',
         'bus.toml:15: [pulley 1] diameter_mm = "wide": must be a number without quotes.'),
        ("length_mm = 1000", "length_mm = nan",
         "bus.toml:9: [belt 1] length_mm = nan: must be a finite number."),
        ("length_mm", "lenght_mm",
         "bus.toml:9: [belt 1] lenght_mm: there is no such key. Did you mean 'length_mm'?"),
        ('section = "6PK"', 'section = "PK6"',
         'bus.toml:8: [belt 1] section = "PK6": must be ribs and profile, such as "6PK".'),
        ("poles = 12", "poles = 13", "bus.toml:21: [component 1] poles = 13: must be even"),
        ("poles = 12", "poles = 120", "bus.toml:21: [component 1] poles = 120: is out of range"),
        ("poles = 12", "poles = true", "bus.toml:21: [component 1] poles = True: must be a number"),
        ("poles = 12", "pols = 12",
         "bus.toml:21: [component 1] pols: a component of kind 'alternator' has no such key. "
         "Did you mean 'poles'?"),
        ("poles = 12", "poles = 12\npole_pairs = 7",
         "bus.toml:21: [component 1] poles = 12 does not fit 2 * pole_pairs = 14; keep one."),
        ('kind = "idler"', 'kind = "idlr"',
         "bus.toml:27: [component 2] kind: 'idlr' is no kind of component. Did you mean 'idler'?"),
        ('kind = "idler"', 'kind = "belt"', "bus.toml:27: [component 2] kind: 'belt' is no kind"),
        ('"idler (back)"', '"idlr (back)"',
         "bus.toml:10: [belt 1] path 3: 'idlr' is no pulley. Did you mean 'idler'?"),
        ('"idler (back)"', '"idler"', "the ribs run on 'idler'; write \"idler (back)\""),
        ('"idler (back)"', '"idler (back)", "alternator"', "comes to 'alternator' twice"),
        (', "idler (back)"', "", "no belt runs over 'idler'; add it to the path of its belt."),
        ('measured = "drawing"\n\n', 'measured = "flat back-side pulley"\n\n',
         "the ribs run on 'crank pulley'"),
        ('on = "crankshaft"', 'on = "crankshft"',
         "bus.toml:14: [pulley 1] on: 'crankshft' is no shaft or pulley. "
         "Did you mean 'crankshaft'?"),
        ('on = "crankshaft"\n', "", "nothing turns 'crank pulley'"),
        ('"crank pulley", "alternator"', '"alternator", "crank pulley"', "drives the crankshaft"),
        ('designation = "6303"', 'designation = "6399"', "'6399' is not in the table of bearings"),
        ('designation = "6303"', 'designation = "5203"', "count the balls"),
        ('place = "rear"', 'place = "front"', "place = 'front' is there twice"),
        ('designation = "6203" }]\n', 'ball_count = 8 }]\n', 'needs designation = "6203"'),
        ("[[belt]]", '[[shaft]]\nname = "a"\ndriven_by = { kind = "coupling", from = "b" }\n'
         '[[shaft]]\nname = "b"\ndriven_by = { kind = "coupling", from = "a" }\n[[belt]]',
         "the drive runs in a ring (a <- b <- a)"),
        ("[[belt]]", '[[shaft]]\nname = "a"\ndriven_by = { kind = "coupling" }\n'
         '[[shaft]]\nname = "a"\ndriven_by = { kind = "coupling" }\n[[belt]]',
         "'a' is the name of two shafts; rename one."),
        ('on = "crankshaft"', 'on = "crank pulley"', "sits on itself"),
        ("diameter_mm = 70, ", "", "says how, but diameter_mm is missing"),
        ("diameter_mm = 150\n", "", "says how, but diameter_mm is missing"),
        ('kind = "idler"', 'kind = "idler"\non = "crank pulley"', "and not both"),
        ("cylinders = 4", "cylinders = 4\nidle_rpm = [700]", "too few entries"),
        ("[engine]\ncylinders = 4\n", "", "the table [engine] is missing; add it."),
        ('name = "small drive"', "", "name is missing; add it."),
        ('name = "small drive"', 'name = "small drive', "bus.toml:1: not TOML, column 20"),
        ("[[belt]]", '[[shaft]]\nname = "s"\ndriven_by = { kind = "coupling", ratio = 2.0 }\n'
         "[[belt]]",
         "means nothing with kind = \"coupling\"; it goes with ratio."),
        ("[[belt]]", '[[shaft]]\nname = "s"\ndriven_by = { kind = "gears" }\n[[belt]]',
         'bus.toml:8: [shaft 1] driven_by: kind = "gears" needs teeth'),
        ("[[belt]]", '[[shaft]]\nname = "s"\ndriven_by = { kind = "coupling", from = "t" }\n'
         "[[belt]]",
         "bus.toml:8: [shaft 1] driven_by from: 't' is no shaft."),
        ("[[belt]]", '[[shaft]]\nname = "s"\ndriven_by = { kind = "ratio" }\n[[belt]]',
         'kind = "ratio" needs ratio'),
    ],
)  # fmt: skip  # noqa: RUF100
def test_one_fault(small, old, new, said) -> None:
    """One thing wrong gives one line: where, what, and what to do."""
    assert old in small
    (line,) = refusal(small.replace(old, new, 1))
    assert said in line


def test_pulley_on_two_belts(small) -> None:
    """A pulley is on one belt; grooves for two are two pulleys on one shaft."""
    second = '[[belt]]\nname = "two"\npath = ["idler", "alternator"]\n[[pulley]]'
    lines = refusal(small.replace("[[pulley]]", second))
    assert [line.split(":")[1] for line in lines] == ["14", "14"]
    assert all("is on belt 'main' already; where a pulley has grooves" in line for line in lines)


def test_two_parts_of_one_name(small) -> None:
    """Two components of one name are told as that first of all."""
    lines = refusal(small.replace('name = "idler"', 'name = "alternator"'))
    assert any("[component 2] name: 'alternator' is listed twice" in line for line in lines)


def test_all_faults_at_once(small) -> None:
    """Faults of type, of spelling and of the whole drive are told together, in file order."""
    text = small.replace("cylinders = 4", "cylinders = 40").replace("poles", "pols")
    text = text.replace('"idler (back)"', '"idlr (back)"').replace('"6303"', '"6399"')
    lines = refusal(text)
    assert [line.split(":")[1] for line in lines] == ["4", "10", "21", "23"]


def test_unreadable_files(tmp_path) -> None:
    """A missing file, a folder, another encoding, a huge file: one clear sentence each."""
    latin = tmp_path / "latin.toml"
    latin.write_bytes('name = "x"\nnote = "Kühlung"\n'.encode("latin-1"))
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * (LARGEST_BYTES + 1))
    empty = tmp_path / "empty.toml"
    empty.write_text(" \n")
    for path, said in [
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "is a folder"),
        (latin, "latin.toml:2: is not UTF-8"),
        (huge, "larger than 1 MB"),
        (empty, "is empty"),
        (tmp_path / "a\0b", "cannot be read"),
    ]:
        with pytest.raises(DriveError, match=said) as error:
            read_drive(path)
        assert len(str(error.value).splitlines()) == 1


def test_line_ends_and_marks_of_other_systems(small, tmp_path) -> None:
    """A byte-order mark and CR LF line ends are read like any other file."""
    path = tmp_path / "notepad.toml"
    path.write_bytes(b"\xef\xbb\xbf" + small.replace("\n", "\r\n").encode())
    assert read_drive(path).name == "small drive"


def test_layout_alone(small) -> None:
    """A layout can be read without resolving it; its keys are checked all the same."""
    assert parse_layout(small).belt[0].section == "6PK"
    with pytest.raises(DriveError, match="no such key"):
        parse_layout(small.replace("section", "sektion"))


def test_json_schema(small) -> None:
    """The schema knows the tables, the counts of every kind, and the kinds themselves."""
    schema = layout_json_schema()
    assert {"engine", "belt", "pulley", "component", "shaft"} <= set(schema["properties"])
    component = schema["$defs"]["ComponentLayout"]["properties"]
    assert "alternator: rotor poles" in component["poles"]["description"]
    assert "vane pump" in component["kind"]["enum"]
    assert set(tomllib.loads(small)["component"][0]) <= set(component)


VALUES = [
    None,
    -1,
    0,
    3,
    2.5,
    1e9,
    "x",
    "crankshaft",
    "alternator",
    True,
    [],
    {},
    "one-way",
    [1, 2],
]


def _spoilt(raw: dict, rng: random.Random) -> dict:
    """Layout with one to three keys removed, replaced or swapped."""
    raw = copy.deepcopy(raw)
    for _ in range(rng.randint(1, 3)):
        holder, key = raw, rng.choice(list(raw))
        while isinstance(holder[key], dict | list) and holder[key] and rng.random() < 0.85:
            holder = holder[key]
            key = rng.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
        if rng.random() < 0.4:
            del holder[key]
        else:
            holder[key] = copy.deepcopy(rng.choice(VALUES))
        if not raw:
            break
    return raw


def test_spoilt_layouts_never_end_in_a_trace(sample) -> None:
    """Whatever is taken out or put in: a drive with its table, or a DriveError."""
    raw = tomllib.loads(sample.read_text(encoding="utf-8"))
    rng = random.Random(sample.name)  # noqa: S311 - no secrets here
    outcomes = {"built": 0, "refused": 0}
    for _ in range(400):
        try:
            layout = Layout.model_validate(_spoilt(raw, rng))
        except ValidationError:
            continue
        try:
            find_order_table(build_drive(layout))
            outcomes["built"] += 1
        except DriveError as error:
            assert str(error).endswith((".", "?", '"'))
            outcomes["refused"] += 1
    assert outcomes["built"] > 5
