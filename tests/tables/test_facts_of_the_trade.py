"""What technicians know, each fact found in the rows that a person is shown.

Every fact here is common practice, no source: these tests hold that the tables keep it,
not that it is true.
"""

import re

import pytest

from acoustic.tables.knowledge import Knowledge, load_knowledge
from acoustic.tables.rows import Kind, Mechanism

OVERRUNNING = ("overrunning drive pulley", "overrunning pulley", "decoupler pulley")
KM_150_000_MILES = 150_000 * 1.609344


@pytest.fixture(scope="module")
def tables() -> Knowledge:
    """The shipped tables."""
    return load_knowledge()


def everything(kind: Kind) -> list[Mechanism]:
    """All mechanisms of a kind; at least one."""
    assert kind.mechanism, kind.id
    return list(kind.mechanism)


def noises(row: Mechanism) -> set[str]:
    """Ids of the noises a mechanism makes."""
    return {made.noise for made in row.noise}


def says(text: str, *words: str) -> bool:
    """Whether a text holds all these words, whatever their case."""
    return all(re.search(word, text, re.IGNORECASE) for word in words)


def practice(*texts: str) -> bool:
    """Whether one of the texts says that it is common practice without a source."""
    return any("common practice, no source" in text.lower() for text in texts)


def test_rattle_with_a_jolting_belt(tables) -> None:
    """Rattle and a belt that jolts or shivers: tensioner and pulley felt for smooth action."""
    arm = tables.mechanism("tensioner", "worn arm")
    worn = [tables.kinds[kind].mechanism[0] for kind in OVERRUNNING]
    for row in (arm, *worn):
        assert "rattle" in row.sounds_like
        assert {"impacts with firing", "flutter"} <= noises(row)
        assert "idle" in row.comes_when
        assert says(row.hand_check, "jolts or shivers", "overrunning pulley and tensioner")
        assert says(row.hand_check, "smooth action")
        assert practice(row.source)


def test_run_on_rattle(tables) -> None:
    """A worn overrunning pulley or decoupler rattles on for seconds after switching off."""
    for kind in OVERRUNNING:
        row = tables.kinds[kind].mechanism[0]
        assert "run-on rattle" in noises(row)
        assert "switch-off" in row.comes_when
    assert "overrunning" in tables.noises["run-on rattle"].advice


@pytest.mark.parametrize("kind", OVERRUNNING)
def test_overrunning_pulleys_need_a_special_tool(tables, kind) -> None:
    """Special tool; changed with the tensioner; hold the rotor and turn the pulley."""
    for row in everything(tables.kinds[kind]):
        assert row.special_tool
        assert says(row.change_together, "tensioner", "overrunning pulley")
        assert says(row.hand_check, "lock one way", "free")
    assert practice(tables.kinds[kind].note)


def test_an_overrunning_drive_pulley_is_a_usual_failure(tables) -> None:
    """One that carries pumps and compressor fails often: it weighs more than another."""
    drive, other = (tables.kinds[name] for name in OVERRUNNING[:2])
    assert says(drive.note, "pumps and compressor", "usual failure")
    assert drive.mechanism[0].prior_weight > other.mechanism[0].prior_weight


def test_what_a_bad_drive_pulley_wears(tables) -> None:
    """The accessory shaft's main bearing goes: whine or whirr at the drive's side of the block.

    The drive unit itself is a specialist's job with special tools.
    """
    for row in everything(tables.kinds["overrunning drive pulley"]):
        assert says(row.harms, "accessory shaft's main bearing", "whine or whirr")
        assert says(row.harms, "drive's side of the block", "specialist's job", "special tools")
    bearing = tables.mechanism("gears", "drive unit bearing")
    assert {"whine", "whirr"} <= set(bearing.sounds_like)
    assert says(bearing.hand_check, "drive's side of the block", "overrunning drive pulley")
    assert says(bearing.repair, "specialist")
    assert bearing.special_tool
    assert practice(bearing.source)
    assert says(tables.kinds["shaft"].note, "main bearing", "specialist's job")


def test_a_loose_coupling_looks_like_a_dead_alternator(tables) -> None:
    """Bolt and pulley first, thread locker, torque by the manual."""
    row = tables.mechanism("coupling", "loose coupling")
    assert row.lags
    assert says(row.hand_check, "bolt and pulley first", "signs of a dead alternator")
    assert says(row.repair, "thread locker", "torque by the maker's manual")
    assert practice(row.source)
    charging = tables.mechanism("alternator", "winding or rectifier")
    assert says(charging.hand_check, "bolt and pulley first")


def test_the_alternator_may_have_a_second_overrunning_pulley(tables) -> None:
    """Beside the one that drives the belt."""
    assert says(tables.kinds["alternator"].note, "overrunning pulley of its own")
    assert says(tables.kinds["overrunning pulley"].note, "alternator", "second one")


def test_a_stethoscope_at_fixed_parts(tables) -> None:
    """It, or a long screwdriver to the ear, pinpoints; from the side, clear of belt and fan."""
    rows = list(tables.every_bearing)
    rows += [
        row for kind in tables.kinds.values() for row in kind.mechanism if row.id == "rough inside"
    ]
    assert len(rows) > 10
    for row in rows:
        assert says(row.hand_check, "stethoscope, or a long screwdriver to the ear", "fixed")
        assert says(row.caution, "from the side", "belt or fan")


def test_a_water_pump_shows_by_coolant_loss(tables) -> None:
    """One that shares its pulley shows by coolant loss; buried, it is a day's work."""
    pump = tables.kinds["water pump"]
    assert says(pump.note, "shares its pulley", "coolant loss", "day's work")
    for row in everything(pump):
        assert says(row.hand_check, "coolant loss")
        assert says(row.repair, "day's work")


def test_hiss_at_idle_is_the_vent_diaphragm(tables) -> None:
    """Crankcase-vent diaphragm first; a hiss has no turning source, so no lines."""
    row = tables.mechanism("engine", "air leak")
    assert noises(row) == {"hiss"}
    assert not row.line
    assert "idle" in row.comes_when
    assert says(row.hand_check, "hiss at idle", "crankcase-vent diaphragm first")
    assert practice(row.source)


def test_a_misfire_follows_the_swapped_part(tables) -> None:
    """On one cylinder swap the coil, then the injector; on all look for an intake leak."""
    one = tables.mechanism("engine", "misfire, one cylinder")
    check = one.hand_check.lower()
    assert check.index("coil") < check.index("injector") < check.index("follows")
    everywhere = tables.mechanism("engine", "misfire, all cylinders")
    assert says(everywhere.hand_check, "all cylinders", "intake leak")
    for row in (one, everywhere):
        assert "uneven firing" in noises(row)
        assert practice(row.source)


@pytest.mark.parametrize("kind", ["belt", "tensioner", "coupling"])
def test_how_long_belt_tensioner_and_coupling_last(tables, kind) -> None:
    """About 240 000 km (150 000 miles), looked at with every service."""
    row = tables.kinds[kind]
    assert row.usual_life_km == pytest.approx(KM_150_000_MILES, rel=0.01)
    assert says(row.note, "240 000 km", "150 000 miles", "with every service")
    assert practice(row.note)


def test_seals_on_the_belt_side_leak_oil(tables) -> None:
    """Oil from a shaft seal makes the belt slip."""
    row = tables.mechanism("belt", "slipping belt")
    assert says(row.hand_check, "shaft seals on the belt side leak oil")
    assert noises(row) == {"squeal"}
    assert practice(row.source)


def test_water_tells_slip_from_misalignment(tables) -> None:
    """Wetted ribs: a chirp goes away for a moment, a squeal gets louder; straight edge."""
    chirp = tables.mechanism("belt", "chirping belt")
    line_up = tables.mechanism("idler", "pulley out of line")
    squeal = tables.mechanism("belt", "slipping belt")
    for row in (chirp, line_up):
        assert says(row.hand_check, "straight edge", "water", "goes away for a moment")
        assert "chirps" in noises(row)
        assert {line.shows_as for line in row.line} == {"bursts"}
    assert says(squeal.hand_check, "water", "gets louder")
    for row in (chirp, line_up, squeal):
        assert says(row.caution, "never spray a moving belt", "belt dressing")


def test_a_missing_rib_piece_ticks_once_a_belt_turn(tables) -> None:
    """One tick a turn of the belt, and no tone."""
    row = tables.mechanism("belt", "damaged belt")
    assert {line.shows_as for line in row.line} == {"impacts"}
    assert {line.formula.text for line in row.line} == {"belt_turn"}
    assert "tick" in row.sounds_like


def test_a_flapping_span_moves_with_tension(tables) -> None:
    """Its rate is fixed in Hz, so it is a noise and has no order."""
    row = tables.mechanism("belt", "flapping span")
    assert noises(row) == {"flutter"}
    assert not row.line
    assert says(row.source, "with tension, not with speed")


def test_the_engines_own_knocks(tables) -> None:
    """Timing drive, fuel pump and injectors knock with the firing, at no accessory's speed."""
    engine = tables.kinds["engine"]
    own = {row.id for row in engine.mechanism if "impacts with firing" in noises(row)}
    assert own == {"timing drive", "valves or injectors", "fuel pump on the engine"}
    assert all(not row.line for row in engine.mechanism)
    assert engine.everywhere
    assert tables.kinds["loose shield"].everywhere
    assert noises(tables.mechanism("loose shield", "rattling shield")) == {"impacts at random"}


def test_electrical_load(tables) -> None:
    """Pole, slot and rectifier lines rise with electrical load; bearing and fan lines do not."""
    for row_id in ("winding or rectifier", "failed diode"):
        row = tables.mechanism("alternator", row_id)
        effects = {effect.switch: effect.change_db for effect in row.load}
        assert effects["electrical load"] > 0
    still = [tables.mechanism("alternator", "fan blades"), *tables.every_bearing]
    assert all(not row.load for row in still)
    assert says(tables.kinds["alternator"].note, "rise with electrical load")


def test_compressor_clutch(tables) -> None:
    """Air conditioning off: what stays is the clutch's bearing, what goes the compressor."""
    for kind in ("compressor", "scroll compressor", "vane compressor"):
        clutch = tables.mechanism(kind, "clutch")
        assert says(clutch.hand_check, "air conditioning off", "clutch pulley's bearing")
        assert (
            clutch.load[0].change_db < 0 < tables.mechanism(kind, "rough inside").load[0].change_db
        )
        assert tables.kinds[kind].place_ring["clutch"] == "outer"


@pytest.mark.parametrize(
    "kind",
    [
        "water pump", "vane pump", "gear pump", "vacuum pump", "compressor", "scroll compressor",
        "vane compressor", "air compressor", "supercharger", "rotating accessory",
    ],
)  # fmt: skip
def test_worn_pumps_growl(tables, kind) -> None:
    """Noise that swells once a turn of the shaft, and no clean line."""
    row = tables.mechanism(kind, "rough inside")
    assert "growl" in row.sounds_like
    assert {line.shows_as for line in row.line} == {"roughness"}
    assert row.line[0].formula.text == "1"
    assert row.line[0].harmonics == (1, 2, 3)


def test_ball_faults_are_not_named_on_thin_evidence(tables) -> None:
    """A ball weighs far less than a race beforehand."""
    weights = {row.id: row.prior_weight for row in tables.every_bearing}
    assert weights["rolling element"] < 0.35 * weights["inner race"] < weights["outer race"]
    assert weights["rough bearing"] > weights["inner race"]


def test_every_noise_can_be_made_and_is_rare_without_a_fault(tables) -> None:
    """Each noise belongs to some mechanism and is likelier with it than without."""
    rows = [row for kind in tables.kinds.values() for row in kind.mechanism]
    rows += [*tables.every_part, *tables.every_bearing]
    made = {m.noise: max(o.probability for r in rows for o in r.noise if o.noise == m.noise)
            for r in rows for m in r.noise}  # fmt: skip
    assert set(made) == set(tables.noises)
    for name, noise in tables.noises.items():
        assert noise.elsewhere < 0.5 * made[name]
        assert noise.advice and noise.source


def test_danger_is_named_where_the_engine_runs(tables) -> None:
    """A check at a running engine warns of what moves.

    Refrigerant, fuel under pressure and high voltage are left to licensed practice.
    """
    for kind in tables.kinds.values():
        for row in kind.mechanism:
            if says(row.hand_check, r"\bidling\b|\brunning\b"):
                assert says(row.caution, "belt|fan|moving|running"), (kind.id, row.id)
    assert says(tables.mechanism("compressor", "rough inside").caution, "licensed")
    assert says(tables.mechanism("high-pressure fuel pump", "strokes").repair, "licensed")
    assert says(tables.mechanism("engine", "misfire, one cylinder").caution, "can kill")
