"""The commands as a whole: help, version, schemas, and a manual that keeps up."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
import typer

from acoustic import __version__
from acoustic.cli.app import app
from acoustic.output.answer_schema import answer_json_schema

README = Path(__file__).resolve().parents[2] / "README.md"


def commands():
    """Give every command of the program by name."""
    return typer.main.get_command(app).commands


def test_every_command_and_option_has_help():
    """An option without a word of help is of no use at the engine."""
    for name, command in commands().items():
        assert command.help, name
        for option in command.params:
            assert getattr(option, "help", None), f"{name} {option.name}"


def test_readme_lists_every_command_and_invents_none():
    """The manual and the program name the same commands."""
    told = set(re.findall(r"`acoustic ([a-z][a-z-]+)", README.read_text("utf-8")))
    assert told == set(commands())


@pytest.mark.parametrize("command", ["", *sorted(commands())])
def test_help_fits_a_narrow_terminal(acoustic, command):
    """80 columns, and code 0."""
    code, out, _ = acoustic(*filter(None, (command, "--help")))
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80


def test_version_is_the_package_version(acoustic):
    """Name and number in one line."""
    assert acoustic("--version") == (0, f"acoustic {__version__}\n", "")


def test_the_answer_schema_is_printed_as_it_is(acoustic):
    """What a reader gets is what the answer is checked against."""
    code, out, _ = acoustic("answer-schema")
    assert code == 0
    assert json.loads(out) == answer_json_schema()


def test_the_layout_schema_accepts_the_sample_and_refuses_a_wrong_one(acoustic, case):
    """A JSON Schema that an editor can use, by the jsonschema library."""
    import tomllib

    code, out, _ = acoustic("layout-schema")
    assert code == 0
    schema = json.loads(out)
    layout = tomllib.loads((case / "library_bus.toml").read_text("utf-8"))
    jsonschema.validate(layout, schema)
    layout["engine"]["cylinders"] = "four"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(layout, schema)


def test_a_bug_is_not_hidden(monkeypatch):
    """Only errors a user can mend become a sentence; anything else shows itself."""
    from acoustic.cli import main, orders_command

    def broken(*arguments):
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(orders_command, "run_orders", broken)
    with pytest.raises(ZeroDivisionError):
        main(["orders", "layout.toml"])
