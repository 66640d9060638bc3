"""The shipped tables, and tables of one's own."""

import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_layout
from acoustic.errors import TableError
from acoustic.tables.knowledge import load_knowledge, parse_knowledge

BUTTER_CHURN = """
[[kind]]
id = "butter churn"
title = "butter churn"
source = "invented for this test"
  [[kind.quantity]]
  name = "paddles"
  title = "paddles of the dasher"
  source = "count them"
  low = 1
  high = 12
  [[kind.mechanism]]
  id = "paddles"
  title = "paddle touching the tub"
  sounds_like = ["flap"]
  prior_weight = 2.0
  hand_check = "Stop and look."
  hand_check_minutes = 1
  caution = "Stop it first."
  repair = "Bend the paddle back."
  source = "invented for this test"
    [[kind.mechanism.line]]
    formula = "2 * paddles"
    label = "paddle pass"
    harmonics = [1, 3]
    probability = [0.8, 0.4]
    relative_level_db = [0, -6]
    natural = true
"""


def test_every_row_has_what_people_are_shown() -> None:
    """Each mechanism names its source, a hand check with time, a caution and a repair."""
    knowledge = load_knowledge()
    rows = [row for kind in knowledge.kinds.values() for row in kind.mechanism] + [
        *knowledge.every_part,
        *knowledge.every_bearing,
    ]
    assert len(rows) >= 20
    for row in rows:
        assert row.source and row.hand_check and row.caution and row.repair, row.id
        assert row.hand_check_minutes > 0
        assert row.sounds_like


@pytest.mark.parametrize(
    "kind",
    [
        "alternator",
        "water pump",
        "vane pump",
        "gear pump",
        "compressor",
        "scroll compressor",
        "vacuum pump",
        "fan",
        "idler",
        "tensioner",
        "supercharger",
        "air compressor",
        "high-pressure fuel pump",
        "rotating accessory",
    ],
)
def test_usual_kinds_are_there(kind) -> None:
    """The kinds of an ordinary accessory drive ship with the program."""
    row = load_knowledge().kind(kind)
    assert row is not None
    assert row.listed


def test_rings_that_turn() -> None:
    """Idlers, tensioners and clutch pulleys turn the outer ring (common practice, no source)."""
    kinds = load_knowledge().kinds
    assert kinds["idler"].turning_ring == kinds["tensioner"].turning_ring == "outer"
    assert kinds["compressor"].turning_ring == "inner"
    assert kinds["compressor"].place_ring["clutch"] == "outer"


def test_aliases_lead_to_their_kind() -> None:
    """Another usual name finds the same row."""
    kind = load_knowledge().kind("power steering pump")
    assert kind is not None
    assert kind.id == "vane pump"
    assert load_knowledge().kind("flux capacitor") is None


def test_mechanism_behind_a_family_id() -> None:
    """Place and variant behind a mechanism's id do not hide its row."""
    knowledge = load_knowledge()
    assert knowledge.mechanism("idler", "outer race/front#2").id == "outer race"
    assert knowledge.mechanism("vane pump", "pumping").load[0].switch == "steering"
    with pytest.raises(KeyError):
        knowledge.mechanism("idler", "pumping")


def test_a_new_kind_needs_no_code() -> None:
    """A kind from a TOML text is checked, listed in a layout and gives its orders."""
    knowledge = parse_knowledge(BUTTER_CHURN)
    layout = parse_layout(
        """
        name = "dairy"
        engine = { cylinders = 1 }
        component = [{ name = "churn", kind = "butter churn", on = "crankshaft", paddles = 5 }]
        """
    )
    families = expected_families(build_drive(layout, knowledge))
    paddles = next(family for family in families if family.mechanism == "paddles")
    assert [line.order for line in paddles.lines] == [10, 30]
    assert paddles.lines[0].natural
    common = {row.id: row.prior_weight for row in knowledge.every_part if row.applies == "always"}
    mechanisms = {family.mechanism for family in families if family.part == "churn"}
    assert mechanisms >= {"paddles", *common}
    churn = [family for family in families if family.part == "churn"]
    rows = {
        row.id: row for row in (*knowledge.kinds["butter churn"].mechanism, *knowledge.every_part)
    }
    weights = sum(rows[family.mechanism].prior_weight for family in churn)
    assert paddles.prior_weight == pytest.approx(2 / weights)
    assert "butter churn" not in load_knowledge().kinds


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("2 * paddles", "2 * padles", r"own\.toml: kind 'butter churn', mechanism 'paddles', "
         r"line 'paddle pass', formula: unknown name 'padles'; known here: paddles"),
        ("2 * paddles", "2 *", r"formula: .*'2 \*' is not arithmetic"),
        ('"2 * paddles"', '"exit()"', r"'exit\(\)' in 'exit\(\)' is not allowed"),
        ("harmonics = [1, 3]", "harmonics = [1]", r"must be equally long, not 1, 2, 2"),
        ("[0.8, 0.4]", "[1.8, 0.4]", r"line 'paddle pass', probability number 1: .*less than 1"),
        ('repair = "Bend the paddle back."', "", r"mechanism 'paddles', repair: Field required"),
        ('title = "butter churn"', 'titel = "butter churn"', r"kind 'butter churn', titel"),
        ("low = 1", 'default = "paddels"', r"default: unknown name 'paddels'"),
        ('id = "paddles"', 'id = "pad/dles"', r"kept for bearing places"),
        ("natural = true", 'natural = true\n  [[kind.mechanism.load]]\n  switch = "x"\n'
         "  change_db = 3", r"switch: unknown name 'x'; known here: air conditioning"),
        ("[[kind]]", "[[kind]", r"own\.toml: not TOML"),
    ],
)  # fmt: skip
def test_faults_name_table_row_and_key(old, new, said) -> None:
    """A row that cannot be used is told with its table, row and key."""
    assert old in BUTTER_CHURN
    with pytest.raises(TableError, match=said):
        parse_knowledge(BUTTER_CHURN.replace(old, new, 1), where="own.toml")


HAY_BLOWER = """
[[noise]]
id = "straw in the duct"
title = "straw brushing the duct"
elsewhere = 0.1
advice = "Stop the blower and look."
source = "invented for this test"
[[kind]]
id = "hay blower"
title = "hay blower"
source = "invented for this test"
  [[kind.mechanism]]
  id = "clogged"
  title = "rotor clogged with straw"
  sounds_like = ["growl", "hiss"]
  comes_when = ["load"]
  prior_weight = 1.0
  hand_check = "Stop and look."
  hand_check_minutes = 1
  caution = "Stop it first."
  repair = "Clear the straw."
  source = "invented for this test"
    [[kind.mechanism.line]]
    formula = "1"
    label = "brushing once a turn"
    shows_as = "roughness"
    harmonics = [1, 2]
    probability = [0.7, 0.4]
    relative_level_db = [0, -4]
    [[kind.mechanism.noise]]
    noise = "straw in the duct"
    probability = 0.6
"""
BARN = """
name = "barn"
engine = { cylinders = 2 }
shaft = [{ name = "blower shaft", driven_by = { kind = "gears", teeth = [40, 25] } }]
component = [{ name = "blower", kind = "hay blower", on = "blower shaft", bearings = [] }]
"""


def test_a_new_kind_may_swell_and_hiss() -> None:
    """Envelope lines and noises of a TOML text become families too, without code."""
    drive = build_drive(parse_layout(BARN), parse_knowledge(HAY_BLOWER))
    family = next(f for f in expected_families(drive) if f.mechanism == "clogged")
    assert [line.order for line in family.envelope_lines] == pytest.approx([1.6, 3.2])
    assert family.tonal_lines == ()
    assert [(made.noise, made.probability) for made in family.noises] == [
        ("straw in the duct", 0.6)
    ]
    assert drive.knowledge.noises["straw in the duct"].elsewhere == 0.1


def test_a_mechanism_that_only_hisses() -> None:
    """A family without any line is there for its noise."""
    text = HAY_BLOWER[: HAY_BLOWER.index("    [[kind.mechanism.line]]")]
    text += HAY_BLOWER[HAY_BLOWER.index("    [[kind.mechanism.noise]]") :]
    drive = build_drive(parse_layout(BARN), parse_knowledge(text))
    family = next(f for f in expected_families(drive) if f.mechanism == "clogged")
    assert family.lines == ()
    assert family.noises


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('noise = "straw in the duct"', 'noise = "straw"', r"noise: unknown name 'straw'"),
        ('shows_as = "roughness"', 'shows_as = "smell"', r"shows_as: .*'tones'"),
        (
            "elsewhere = 0.1",
            "elsewhere = 1.0",
            r"noise 'straw in the duct', elsewhere: .*less than 1",
        ),
    ],
)
def test_faults_of_noises(old, new, said) -> None:
    """Unknown noises and ways of showing are told with their row."""
    assert old in HAY_BLOWER
    with pytest.raises(TableError, match=said):
        parse_knowledge(HAY_BLOWER.replace(old, new, 1))


def test_a_mechanism_nobody_could_hear() -> None:
    """Neither line nor noise nor lines of others sitting low: refused."""
    text = HAY_BLOWER[: HAY_BLOWER.index("    [[kind.mechanism.line]]")]
    with pytest.raises(TableError, match="neither line nor noise"):
        parse_knowledge(text)
    parse_knowledge(text.replace("prior_weight", "lags = true\n  prior_weight"))


def test_all_faults_of_a_table_at_once() -> None:
    """Two wrong formulas are two lines of one message."""
    text = BUTTER_CHURN + BUTTER_CHURN.replace("butter churn", "second churn")
    with pytest.raises(TableError) as error:
        parse_knowledge(text.replace("2 * paddles", "spoons"))
    assert len(str(error.value).splitlines()) == 2


def test_bearing_variants_with_the_usual_first() -> None:
    """A designation holds all makers' variants; internals not published are left empty."""
    bearings = load_knowledge().bearings
    assert [row.ball_count for row in bearings["6003"]] == [10, 9]
    assert bearings["6203"][0].variant == "usual"
    assert bearings["35x50x20"][0].ball_count is None
    assert sum(len(rows) for rows in bearings.values()) >= 57


def test_no_two_switches_share_a_word():
    """A word in a file name stands for one load only."""
    rows = load_knowledge().switches.values()
    words = [word for row in rows for word in (row.id, *row.aliases)]
    assert len(words) == len(set(words))
    assert "ac" in load_knowledge().switches["air conditioning"].aliases
