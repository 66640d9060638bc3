"""``acoustic case``: from the first call to what is in the folder, as a person types it."""

import pytest
import typer

from acoustic.casework.case_folder import read_case
from acoustic.cli.case_commands import case_app


@pytest.fixture
def bus(acoustic, case, tmp_path):
    """Give the folder of a new case of the library bus."""
    layout, folder = case / "library_bus.toml", tmp_path / "bus"
    code, out, _ = acoustic(
        "case", "new", folder, "--layout", layout, "--complaint", "growls uphill",
        "--sounds-like", "grinding", "--odometer-km", 184000,
    )  # fmt: skip
    assert code == 0
    assert f"Next: acoustic case add {folder} CLIP..." in out
    return folder


@pytest.fixture
def named(case, tmp_path):
    """Give a function that copies a clip of the sample case to a name."""

    def copy(name, of="idle.m4a"):
        path = tmp_path / name
        path.write_bytes((case / of).read_bytes())
        return path

    return copy


def test_every_option_has_help_and_fits(acoustic):
    """As for the other commands; 80 columns."""
    for name, command in typer.main.get_command(case_app).commands.items():
        assert command.help, name
        assert all(getattr(option, "help", None) for option in command.params), name
        code, out, _ = acoustic("case", name, "--help")
        assert code == 0
        assert max(map(len, out.splitlines())) <= 80


def test_from_the_call_to_the_folder(acoustic, bus, named):
    """Two clips by their names, one by options; shown with how they were taken."""
    one, two = named("idler_ac-on_idle.m4a"), named("alt.m4a", "held_2000_rpm.m4a")
    code, out, _ = acoustic("case", "add", bus, one)
    assert (code, out.splitlines()[0]) == (0, "idler_ac-on_idle.m4a: added as number 1.")
    code, out, _ = acoustic(
        "case", "add", bus, two, "--point", "water", "--rpm", 2000, "--contact", "--after",
        "--device", "phone", "--switched-off", "12,5",
    )  # fmt: skip
    assert code == 0
    assert (
        "Taken: water pump, resting on it, 2000 rpm, no loads on, after, take 1, by phone, "
        "switched off at 12.5 s." in out
    )
    assert acoustic("case", "note", bus, "belt glazed", "--by", "Ada")[0] == 0
    _, out, _ = acoustic("case", "show", bus)
    for said in ("growls uphill", "184000 km", "idler, in the air, speed to be heard, air",
                 "note: belt glazed (Ada)"):  # fmt: skip
        assert said in out
    assert read_case(bus).file.sounds_like == ["growl"]


def test_what_a_name_leaves_open_is_asked_before_anything_is_added(acoustic, bus, named):
    """One clear name beside an unclear one: neither is added; the option settles it."""
    clips = (named("idler_idle.m4a"), named("altenator_idle.m4a", "held_2000_rpm.m4a"))
    code, out, err = acoustic("case", "add", bus, *clips)
    assert (code, out) == (2, "")
    assert "altenator_idle.m4a: 'altenator' is no part of this layout. Did you mean" in err
    assert err.endswith("Nothing was added yet.\n")
    assert read_case(bus).recordings == ()
    assert acoustic("case", "add", bus, clips[1], "--point", "alternator")[0] == 0


def test_one_bad_clip_does_not_keep_the_others_out(acoustic, bus, named, clips):
    """The good one is confirmed, the bad one told; the same twice is noticed."""
    good = named("tensioner_recording_idle.m4a")
    code, out, err = acoustic("case", "add", bus, clips / "empty.wav", good)
    assert code == 2
    assert "added as number 1" in out
    assert "Not understood in its name: recording." in out
    assert "empty.wav: the file is empty" in err
    _, out, _ = acoustic("case", "add", bus, good)
    assert "in the case already, as number 1" in out


def test_takes_alike_are_counted(acoustic, bus, named):
    """Two clips of the same point, none of which says its number."""
    clips = (named("idler_a.m4a"), named("idler_b.m4a", "held_2000_rpm.m4a"))
    _, out, _ = acoustic("case", "add", bus, *clips)
    assert "before, take 1" in out
    assert "before, take 2" in out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--point", "gearbox"), "--point gearbox: is no part of the layout."),
        (("--load", "lihgts"), "Did you mean 'lights'?"),
        (("--before", "--after"), "--before and --after are given together."),
        (("--take", "0"), "takes are counted from 1"),
        (("--rpm", "fast"), "--rpm fast: not a number"),
        (("--switched-off", "soon"), "--switched-off soon"),
    ],
)
def test_wrong_options_are_answered(acoustic, bus, named, options, said):
    """With the way out, and nothing added."""
    code, _, err = acoustic("case", "add", bus, named("idler.m4a"), *options)
    assert code == 2
    assert said in err
    assert read_case(bus).recordings == ()


def test_cases_are_listed_and_found(acoustic, bus):
    """Open ones, closed ones, by words; a second opening is refused."""
    _, out, _ = acoustic("case", "list", bus.parent)
    assert out.endswith("1 case, 1 open.\n")
    assert acoustic("case", "list", bus.parent, "--closed")[1] == "No such case.\n"
    assert "1 case" in acoustic("case", "find", bus.parent, "UPHILL", "idler")[1]
    assert acoustic("case", "find", bus.parent, "gearbox")[1] == "No such case.\n"
    code, _, err = acoustic("case", "new", bus, "--layout", bus / "layout.toml")
    assert code == 2
    assert "there is a case here already" in err


def test_an_empty_note_and_no_case_are_told(acoustic, bus, tmp_path):
    """A sentence each."""
    assert "note is empty" in acoustic("case", "note", bus, " ")[2]
    code, _, err = acoustic("case", "show", tmp_path)
    assert code == 2
    assert "this is no case" in err
