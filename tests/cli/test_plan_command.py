"""``acoustic plan`` from a layout to text, page and JSON."""

import json

from acoustic.cli.app import EXIT_INPUT


def test_the_plan_is_printed(acoustic, case):
    """Steps with their cautions; a rattle brings the switching off."""
    code, out, err = acoustic("plan", case / "library_bus.toml", "--sounds-like", "clatter")
    assert (code, err) == (0, "")
    assert "[ ] 1. Look before anything runs" in out
    assert "switching off" in out
    assert max(map(len, out.splitlines())) <= 80


def test_page_and_json_are_written(acoustic, case, tmp_path):
    """Both whole, both told."""
    page, values = tmp_path / "plan.html", tmp_path / "plan.json"
    code, out, _ = acoustic("plan", case / "library_bus.toml", "--page", page, "--json", values)
    assert code == 0
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert json.loads(values.read_text("utf-8"))["schema"] == "acoustic-plan/1"
    assert str(page) in out


def test_json_to_the_pipe_is_json_alone(acoustic, case):
    """Nothing but the plan's values."""
    code, out, _ = acoustic("plan", case / "library_bus.toml", "--json", "-")
    assert code == 0
    assert json.loads(out)["steps"]


def test_a_word_that_is_not_known(acoustic, case):
    """The nearest word is offered."""
    code, out, err = acoustic("plan", case / "library_bus.toml", "--sounds-like", "ratle")
    assert (code, out) == (EXIT_INPUT, "")
    assert "rattle" in err


def test_a_page_that_cannot_be_written(acoustic, case, tmp_path):
    """Said before any work."""
    code, out, err = acoustic(
        "plan", case / "library_bus.toml", "--page", tmp_path / "none" / "plan.html"
    )
    assert (code, out) == (EXIT_INPUT, "")
    assert "--page" in err
