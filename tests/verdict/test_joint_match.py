"""The match over a whole drive, on spectra made line by line.

The drive: a pump, an idler and a fan on one belt whose slip is unknown up to 3 %, their
pulleys known to 0.3 %.
"""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.verdict.healthy_reference import learn_healthy
from acoustic.verdict.joint_match import JointAnswer, match_drive

PUMP = (11.23, 22.46, 33.69, 44.92)
IDLER = (6.77, 13.79, 20.56)
FAN = (8.81, 17.62, 26.43, 35.24)
SLIP = 0.012


@pytest.fixture(scope="module")
def drive(drive_with):
    """One slip and three pulleys."""
    return drive_with(slip=0.03, pump=0.003, idler=0.003, fan=0.003)


@pytest.fixture(scope="module")
def families(family):
    """None of the parts sings when healthy."""
    return [family("pump", PUMP), family("idler", IDLER), family("fan", FAN)]


def _slipped(orders, levels_db, slip=SLIP) -> dict[float, float]:
    return {o * np.exp(-slip): db for o, db in zip(orders, levels_db, strict=False)}


def _probability(answer: JointAnswer, part: str) -> float:
    return float(answer.result.faulty[answer.parts.index(part)])


@pytest.mark.parametrize(
    ("part", "orders", "levels"),
    [("pump", PUMP, (-6, -9, -12, -15)), ("idler", IDLER, (-4, -7, -10)), ("fan", FAN, (-8, -11))],
)
def test_a_planted_family_is_found(heard_of, drive, families, settings, part, orders, levels):
    """Whichever part sounds leads by far, at whatever slip of the belt."""
    answer = match_drive(drive, families, [heard_of(_slipped(orders, levels))], settings)
    others = [_probability(answer, p) for p in answer.parts if p != part]
    assert _probability(answer, part) > 0.8
    assert max(others) < 0.2


def test_noise_accuses_nobody(heard_of, drive, families, settings) -> None:
    """With nothing planted no part is called in eight recordings, and most fall below prior."""
    prior = (0.60 + 2 * 0.13 + 3 * 0.02) / 3
    worst = []
    for seed in range(8):
        answer = match_drive(drive, families, [heard_of({}, seed=seed)], settings)
        worst.append(float(answer.result.faulty.max()))
    assert max(worst) < 0.5
    assert np.median(worst) < prior


def test_the_shaft_is_found_where_it_turns(heard_of, drive, families, settings) -> None:
    """The pump's offset comes out at minus the slip, to 0.1 %."""
    answer = match_drive(drive, families, [heard_of(_slipped(PUMP, (-6, -9, -12)))], settings)
    part = answer.parts.index("pump")
    lattice = answer.groups[answer.part_groups[part]].offset
    mean = float(answer.result.offset_posteriors[part] @ lattice)
    assert mean == pytest.approx(-SLIP, abs=1e-3)


def test_lines_must_share_one_slip(heard_of, drive, families, settings) -> None:
    """The same lines, each off by another slip within the tolerance, are not one shaft's."""
    good = _slipped(PUMP, (-8, -11, -14))
    odd = {
        order * np.exp(-slip): db
        for order, db, slip in zip(PUMP, (-8, -11, -14), (0.002, 0.016, 0.028), strict=False)
    }
    together, apart = (
        match_drive(drive, families, [heard_of(lines)], settings).result.fault_evidence[0]
        for lines in (good, odd)
    )
    assert together > 20 * apart


def test_missing_lines_speak_against(heard_of, drive, families, settings) -> None:
    """The first line alone makes a weaker case than all four."""
    one = match_drive(drive, families, [heard_of(_slipped(PUMP, (-6,)))], settings)
    all_four = match_drive(
        drive, families, [heard_of(_slipped(PUMP, (-6, -9, -12, -15)))], settings
    )
    assert _probability(one, "pump") < _probability(all_four, "pump") - 0.05


def test_lines_that_cannot_be_heard_are_not_missed(heard_of, drive, family, settings) -> None:
    """Three further lines under 60 Hz (order 4.4) change nothing; three visible ones do."""
    lines = _slipped(PUMP[:2], (-6, -9))
    evidence = []
    for extra in ((), (1.31, 2.23, 3.77), (14.77, 18.31, 27.23)):
        families = [family("pump", (*PUMP[:2], *extra)), family("fan", FAN)]
        answer = match_drive(drive, families, [heard_of(lines)], settings)
        evidence.append(float(answer.result.fault_evidence[0]))
    plain, hidden, missing = evidence
    assert hidden == pytest.approx(plain, rel=1e-6)
    assert missing < 0.5 * plain


def test_hidden_by_the_engine_is_not_missed_either(heard_of, drive_with, family, settings) -> None:
    """A line on order 21.5, which the engine fills, is neither for nor against."""
    drive = drive_with(slip=1e-4, pump=1e-4, fan=1e-4)
    lines = _slipped(PUMP[:2], (-6, -9), slip=0.0015)
    evidence = []
    for extra in ((), (21.5 * np.exp(0.0015),)):
        families = [family("pump", (*PUMP[:2], *extra)), family("fan", FAN)]
        answer = match_drive(drive, families, [heard_of(lines)], settings)
        evidence.append(float(answer.result.fault_evidence[0]))
    assert evidence[1] == pytest.approx(evidence[0], rel=0.02)


def test_two_recordings_beat_one(heard_of, drive, families, settings) -> None:
    """Weak lines at idle and at 1900 rpm with another slip: surer than either, on average."""
    single, both = [], []
    for seed in range(4):
        idle = heard_of(_slipped(PUMP, (-20, -23, -26, -29)), 13.5, seed=10 + seed)
        held = heard_of(_slipped(PUMP, (-20, -23, -26, -29), slip=0.014), 31.7, seed=20 + seed)
        single += [
            _probability(match_drive(drive, families, [one], settings), "pump")
            for one in (idle, held)
        ]
        both.append(_probability(match_drive(drive, families, [idle, held], settings), "pump"))
    assert np.mean(both) > np.mean(single) + 0.05
    assert np.mean(both) > 0.8


def test_slip_may_change_with_speed(heard_of, drive, families, settings) -> None:
    """0.5 % more slip at 1900 rpm: still one pump; with one slip for both it would not be."""
    idle = heard_of(_slipped(PUMP, (-8, -11, -14)), 13.5)
    held = heard_of(_slipped(PUMP, (-8, -11, -14), slip=SLIP + 0.005), 31.7, seed=2)
    rigid = replace(settings, other_speed_blur=0.0)
    free_to_change, one_slip = (
        match_drive(drive, families, [idle, held], s).result.fault_evidence[0]
        for s in (settings, rigid)
    )
    assert free_to_change > 100 * one_slip


def test_lines_that_are_gone_at_another_speed_are_doubted(heard_of, drive, families, settings):
    """Tones at the pump's orders at idle that stay at their frequency were never the pump's."""
    idle = heard_of(_slipped(PUMP, (-8, -11)), 13.5)
    fixed = {order * 13.5 / 31.7: db for order, db in _slipped(PUMP, (-8, -11)).items()}
    held = heard_of(fixed, 31.7, seed=2)
    alone = _probability(match_drive(drive, families, [idle], settings), "pump")
    both = _probability(match_drive(drive, families, [idle, held], settings), "pump")
    assert both < alone - 0.2


def test_a_shared_slip_tells_two_readings_apart(heard_of, drive_with, family, settings) -> None:
    """A neighbour on the belt shows the slip: of two parts near one tone the right one leads.

    Pump at 11.23 and clutch at 11.37 fit the tone at slips of 1.2 and 2.4 %; the idler's
    three lines say 1.2 %.
    """
    drive = drive_with(slip=0.03, pump=0.001, clutch=0.001, idler=0.001)
    families = [
        family("pump", PUMP[:1]),
        family("clutch", [11.23 * np.exp(0.012)]),
        family("idler", IDLER),
    ]
    tone = _slipped(PUMP[:1], (-6,))
    alone = match_drive(drive, families, [heard_of(tone)], settings)
    told = match_drive(drive, families, [heard_of(tone | _slipped(IDLER, (-4, -7, -10)))], settings)
    assert abs(_probability(alone, "pump") - _probability(alone, "clutch")) < 0.25
    assert _probability(told, "pump") > _probability(told, "clutch") + 0.2


def test_two_faults_are_both_found(heard_of, drive, families, settings) -> None:
    """Pump and idler sound together, with one slip."""
    lines = _slipped(PUMP, (-6, -9, -12, -15)) | _slipped(IDLER, (-4, -7, -10))
    answer = match_drive(drive, families, [heard_of(lines)], settings)
    assert _probability(answer, "pump") > 0.7
    assert _probability(answer, "idler") > 0.7
    assert _probability(answer, "fan") < 0.2


def test_a_strangers_tone_stays_unexplained(heard_of, drive, families, settings) -> None:
    """Order 19.27 is nobody's: its tone belongs to nobody with near certainty."""
    answer = match_drive(
        drive, families, [heard_of(_slipped(PUMP, (-6, -9, -12)) | {19.27: -5.0})], settings
    )
    (stray,) = [
        float(p)
        for tone, p in zip(answer.hot[0], answer.stray_probability[0], strict=True)
        if abs(np.exp(tone.ln_order) / 19.27 - 1) < 2e-3
    ]
    (pumps,) = [
        float(p)
        for tone, p in zip(answer.hot[0], answer.stray_probability[0], strict=True)
        if abs(np.exp(tone.ln_order + SLIP) / PUMP[0] - 1) < 2e-3
    ]
    assert stray > 0.9
    assert pumps < 0.3


def _twins(match_it, family, heard_of, orders, levels, seed) -> tuple[float, float]:
    """P of two parts with the same lines when one family of them is planted."""
    families = [family("pump", orders), family("idler", orders), family("fan", FAN)]
    answer = match_it(families, [heard_of(_slipped(orders, levels), seed=seed)])
    return _probability(answer, "pump"), _probability(answer, "idler")


@pytest.fixture(scope="module")
def match_it(drive, settings):
    """The match on that drive."""

    def match(families, heard) -> JointAnswer:
        return match_drive(drive, families, heard, settings)

    return match


TWIN_ORDERS = (11.23, 13.79, 19.92, 20.56, 27.23)


@pytest.mark.parametrize("count", [1, 2, 4])
def test_parts_with_the_same_lines_share_the_probability(match_it, family, heard_of, count) -> None:
    """Two parts nothing can tell apart: equal, and neither called (about 0.6 by their prior)."""
    orders, levels = TWIN_ORDERS[:count], (-6, -9, -12, -14)[:count]
    pump, idler = _twins(match_it, family, heard_of, orders, levels, 1)
    assert pump == pytest.approx(idler, rel=0.02)
    assert 0.45 < pump < 0.7


def test_a_weak_line_is_not_counted_for_two_parts_either(match_it, family, heard_of) -> None:
    """A fifth line at -18 dB: still neither of the two is called, in any of eight recordings."""
    levels = (-6, -9, -12, -14, -18)
    worst = max(
        max(_twins(match_it, family, heard_of, TWIN_ORDERS, levels, seed)) for seed in range(1, 9)
    )
    assert worst < 0.7


@pytest.fixture(scope="module")
def singers(family):
    """Pump and fan sing the lines they would be faulty by; the idler is silent."""
    return [
        family("pump", PUMP[:2], natural=True),
        family("idler", IDLER),
        family("fan", FAN[:2], natural=True),
    ]


def test_a_quiet_singer_is_not_accused(heard_of, drive, singers, settings) -> None:
    """The pump's lines at -17 dB, as healthy ones sing: heard as the source, not as faulty."""
    answer = match_drive(drive, singers, [heard_of(_slipped(PUMP[:2], (-17, -20)))], settings)
    part = answer.parts.index("pump")
    assert answer.result.faulty[part] < 0.8
    assert answer.result.singing[part] + answer.result.faulty[part] > 0.7


def test_a_loud_one_is_more_suspect_than_a_quiet_one(heard_of, drive, singers, settings) -> None:
    """At +6 dB the same lines speak for a fault."""
    quiet, loud = (
        _probability(
            match_drive(drive, singers, [heard_of(_slipped(PUMP[:2], (db, db - 3)))], settings),
            "pump",
        )
        for db in (-17, 6)
    )
    assert loud > quiet + 0.3


@pytest.mark.parametrize("level_db", [-14, -2])
def test_a_healthy_reference_takes_suspicion_off_a_singer(
    heard_of, drive, singers, settings, level_db
) -> None:
    """The pump sang as loudly when all was well: less suspect than without that knowledge."""
    lines = _slipped(PUMP[:2], (level_db, level_db - 3))
    before = heard_of(_slipped(PUMP[:2], (level_db, level_db - 3), slip=0.015), 13.2, seed=7)
    healthy = learn_healthy(drive, singers, [before], settings)
    without = match_drive(drive, singers, [heard_of(lines)], settings)
    with_reference = match_drive(drive, singers, [heard_of(lines)], settings, healthy)
    assert _probability(with_reference, "pump") < _probability(without, "pump") - 0.3
    assert _probability(with_reference, "pump") < 0.5


def test_a_part_silent_in_the_reference_and_loud_now_is_suspect(
    heard_of, drive, singers, settings
) -> None:
    """It did not sing before: now it is the source, and a fault is likelier than without."""
    lines = _slipped(PUMP[:2], (-4, -7))
    healthy = learn_healthy(drive, singers, [heard_of({}, 13.2, seed=7)], settings)
    without = match_drive(drive, singers, [heard_of(lines)], settings)
    with_reference = match_drive(drive, singers, [heard_of(lines)], settings, healthy)
    assert _probability(with_reference, "pump") > _probability(without, "pump")
    assert _probability(with_reference, "pump") > 0.8


def test_the_reference_knows_who_sings(heard_of, drive, singers, settings) -> None:
    """Pump heard, fan not, idler cannot: shares and level of the pump's song."""
    before = heard_of(_slipped(PUMP[:2], (-8, -11)), seed=7)
    songs = dict(
        zip(("pump", "idler", "fan"), learn_healthy(drive, singers, [before], settings).songs,
            strict=True)
    )  # fmt: skip
    assert songs["idler"] is None
    assert songs["pump"].share > 0.8 > 0.4 > songs["fan"].share
    assert songs["pump"].level.sum() == pytest.approx(1.0)


def test_a_strangers_tone_of_the_reference_is_expected_again(
    heard_of, drive, singers, settings
) -> None:
    """A tone nobody explained when all was well is handed on."""
    healthy = learn_healthy(drive, singers, [heard_of({19.27: -5.0})], settings)
    assert any(abs(np.exp(stray.ln_order) / 19.27 - 1) < 2e-3 for stray in healthy.strays)


def test_densities_and_probabilities(heard_of, drive, singers, settings) -> None:
    """All between 0 and 1; every density sums to 1; arrays have one entry per part or tone."""
    answer = match_drive(drive, singers, [heard_of(_slipped(PUMP[:2], (0, -3)))], settings)
    result = answer.result
    assert result.faulty.shape == result.singing.shape == (3,)
    assert np.all((result.faulty >= 0) & (result.faulty + result.singing <= 1 + 1e-9))
    assert result.tone_shares.shape == (3, len(answer.hot[0]))
    assert np.all((result.tone_shares >= 0) & (result.tone_shares.sum(axis=0) <= 1 + 1e-9))
    for density in (*result.offset_posteriors, *result.level_posteriors):
        assert density.sum() == pytest.approx(1.0)
