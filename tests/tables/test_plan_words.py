"""The table of plans: complete, and refused with its place where it is not."""

import pytest

from acoustic.errors import TableError
from acoustic.tables.knowledge import load_knowledge
from acoustic.tables.plan_words import parse_plan_table, read_plan_table

SMALL = """\
pair = {{}}
[load]
[caution.manual]
text = "The manual first."
source = "common practice, no source"
[[step]]
id = "look"
title = "Look"
do = "Look."
running = false
minutes = 1
cautions = ["{caution}"]
source = "common practice, no source"
[probe]
beside_a_pulley = []
instead = "beside"
never = []
source = "judgement"
"""


def test_loads_and_kinds_named_are_there():
    """Every load is a switch, every kind without a probe a kind, of the other tables."""
    table, known = read_plan_table(), load_knowledge()
    assert set(table.load) == set(known.switches)
    for kind in (*table.probe.beside_a_pulley, *table.probe.never):
        assert known.kind(kind) is not None, kind


def test_a_small_table_reads():
    """The step finds its caution."""
    table = parse_plan_table(SMALL.format(caution="manual"))
    assert table.cautions_of(table.step_row("look"), motor=False) == ("The manual first.",)


def test_an_unknown_caution_is_refused():
    """With the step, the name and what is known."""
    with pytest.raises(TableError, match=r"step 'look': unknown caution 'brake'; known: manual"):
        parse_plan_table(SMALL.format(caution="brake"))


def test_a_step_without_cautions_is_refused():
    """There is no step without one."""
    text = SMALL.format(caution="manual").replace('["manual"]', "[]")
    with pytest.raises(TableError, match="cautions"):
        parse_plan_table(text)


def test_a_missing_step_is_named():
    """The message says what to add."""
    table = parse_plan_table(SMALL.format(caution="manual"))
    with pytest.raises(TableError, match=r"no \[\[step\]\] with id 'held'"):
        table.step_row("held")


def test_broken_toml_is_said():
    """Not a trace of the parser."""
    with pytest.raises(TableError, match=r"plan.toml: not TOML"):
        parse_plan_table("[")
