"""The table of hand checks: every mechanism has one that bears on it; wrong rows are refused."""

import pytest

from acoustic.errors import TableError
from acoustic.tables.knowledge import load_knowledge, parse_knowledge

ROW = """
[[check]]
id = "tap it"
title = "Tap it"
how = ["Tap it."]
minutes = 1
engine = "off"
caution = "Softly."
source = "invented for this test"
results = [{ id = "rings", words = "rings" }, { id = "dull", words = "dull" }]
part_sound = [0.9, 0.1]
other_fault = [0.8, 0.2]
  [[check.fault]]
  mechanisms = ["run-out"]
  chances = [0.2, 0.8]
"""


def mechanisms_of(knowledge, kind):
    """List all that a part of this kind may suffer, its bearings included."""
    rows = list(kind.mechanism)
    if kind.turns_whole:
        rows += [*knowledge.every_part, *knowledge.every_bearing]
    return rows


def bearing_on(knowledge, kind, mechanism):
    """Checks that name this mechanism and can tell it from a sound part of this kind."""
    return [
        check
        for check in knowledge.hand_checks.values()
        if (check.made_at(kind.id) or check.bears_on == "belt drive")
        and (chances := knowledge.named_chances(check, mechanism.id)) is not None
        and max(abs(a - b) for a, b in zip(chances, check.part_sound, strict=True)) > 0.2
    ]


@pytest.mark.parametrize("kind", sorted(load_knowledge().kinds))
def test_every_mechanism_has_a_check_that_bears_on_it(kind) -> None:
    """Of every kind, and of whatever turns: none is left to guessing."""
    knowledge = load_knowledge()
    rows = mechanisms_of(knowledge, knowledge.kinds[kind])
    assert rows or kind == "shaft"
    bare = [row.id for row in rows if not bearing_on(knowledge, knowledge.kinds[kind], row)]
    assert bare == []


def test_checks_at_a_running_engine_say_how_not_to_be_hurt() -> None:
    """Each has a caution; a moving belt is never sprayed; half a minute with the belt off."""
    checks = load_knowledge().hand_checks
    for check in checks.values():
        assert len(check.caution) >= len("Engine off and key out."), check.id
        assert "common practice, no source" in check.source, check.id
    water, bare = checks["water on the ribs"], checks["run with the belt off"]
    assert "engine off" in water.caution and "never a moving belt" in water.caution
    assert "30 seconds" in bare.caution and "maker's manual" in bare.caution
    assert "two seconds" in checks["steering at its stop"].caution
    assert "fixed bolt" in checks["stethoscope"].how[0]


def test_a_bearing_s_own_row_goes_before_all_bearings() -> None:
    """``every bearing`` stands for its mechanisms with place and variant, and one not listed."""
    knowledge = load_knowledge()
    spin = knowledge.hand_checks["spin by hand"]
    rough = knowledge.named_chances(spin, "outer race/front#2")
    assert rough == knowledge.named_chances(spin, "worn bearing") == (0.74, 0.11, 0.15)
    assert knowledge.named_chances(spin, "pulley out of line") is None


def test_own_table_adds_a_check() -> None:
    """A check of one's own joins the shipped ones."""
    joined = parse_knowledge(ROW)
    assert joined.hand_checks.keys() == {*load_knowledge().hand_checks, "tap it"}


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[0.9, 0.1]", "[0.9, 0.2]", "part_sound: the chances sum to 1.1, not to 1"),
        ("[0.8, 0.2]", "[0.8, 0.1, 0.1]", "other_fault: 3 chances for 2 results"),
        ("[0.2, 0.8]", "[0.0, 1.0]", "chances"),
        ('["run-out"]', '["run-in"]', "unknown name 'run-in'"),
        ('["run-out"]', '["run-out", "run-out"]', "'run-out' is named twice"),
        ('id = "dull"', 'id = "rings"', "the same id twice"),
        ('engine = "off"', 'engine = "off"\nkinds = ["idle"]', "unknown name 'idle'"),
        ('engine = "off"', 'engine = "half"', "engine"),
        ("minutes = 1", "minutes = 0", "minutes"),
    ],
)
def test_a_wrong_row_is_refused(old, new, told) -> None:
    """With the table, the row and the key."""
    assert old in ROW
    with pytest.raises(TableError) as refused:
        parse_knowledge(ROW.replace(old, new))
    assert told in str(refused.value)
    assert "tap it" in str(refused.value)


def test_two_checks_of_one_id_are_refused() -> None:
    """The second would silently stand for the first."""
    with pytest.raises(TableError, match="check 'tap it': stands there twice"):
        parse_knowledge(ROW + ROW)


def test_who_may_repair_it() -> None:
    """Drive unit, refrigerant circuit and high pressure: a specialist; an idler: oneself."""
    knowledge = load_knowledge()
    for kind, mechanism in (
        ("compressor", "pistons"),
        ("scroll compressor", "orbit"),
        ("engine", "fuel pump on the engine"),
    ):
        assert knowledge.mechanism(kind, mechanism).who == "specialist"
    assert knowledge.kinds["gears"].who == "specialist"
    assert knowledge.kinds["high-pressure fuel pump"].who == "specialist"
    assert knowledge.kinds["idler"].who == "do-it-yourself"
    assert knowledge.mechanism("compressor", "clutch").who == ""
