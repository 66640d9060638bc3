"""Cries in step with a mechanism speak for it; in no step, or a sound drive's own, they do not.

The drive is the made one of `test_joint_match.py`; cries are placed in turns by hand.
"""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import ExpectedNoise
from acoustic.evidence.chirps import ChirpTrain
from acoustic.evidence.findings import NoiseFinding
from acoustic.verdict.joint_match import HealthySong, JointAnswer, match_drive

PUMP, FAN = 1.27, 2.17
SLIP = 0.012
TURNS = 300.0
SECONDS = TURNS / 13.5


def train_at(turns) -> ChirpTrain:
    """Cries at these crank angles."""
    turns = np.sort(np.asarray(turns, dtype=np.float64))
    return ChirpTrain(
        times_s=turns / TURNS * SECONDS,
        turns=turns,
        ratio=np.full(turns.size, 30.0),
        piece=np.zeros(turns.size, dtype=np.intp),
        pitch_hz=3400.0,
        share_of_all=1.0,
        others_per_s=0.0,
        seconds=SECONDS,
        revolutions=TURNS,
    )


def once_a_turn_of(order: float, seed: int = 3) -> ChirpTrain:
    """Cries once a turn, one in five missing, 0.02 turns early or late."""
    rng = np.random.default_rng(seed)
    at = np.arange(1, int(order * TURNS) - 1) + 0.02 * rng.standard_normal(int(order * TURNS) - 2)
    return train_at(at[rng.random(at.size) > 0.2] / order)


def in_no_step(count: int = 300, seed: int = 4) -> ChirpTrain:
    """As many cries anywhere."""
    return train_at(np.random.default_rng(seed).uniform(0.0, TURNS, count))


@pytest.fixture(scope="module")
def drive(drive_with):
    """One slip and two pulleys."""
    return drive_with(slip=0.03, pump=0.003, fan=0.003)


@pytest.fixture(scope="module")
def families(family):
    """Pump and fan may each knock or cry once a turn; their lines are otherwise the same."""

    def shown(part: str, order: float, mechanism: str, shows_as: str):
        plain = family(part, [order, 2 * order], mechanism=mechanism)
        lines = tuple(replace(line, shows_as=shows_as) for line in plain.lines)
        return replace(plain, lines=lines)

    return [
        shown(part, order, mechanism, shows_as)
        for part, order in (("pump", PUMP), ("fan", FAN))
        for mechanism, shows_as in (("loose", "impacts"), ("askew", "bursts"))
    ]


@pytest.fixture(scope="module")
def answered(drive, families, heard_of, settings):
    """The match on what was found of cries in each recording."""

    def make(*trains: ChirpTrain | None, healthy=None, only=families) -> JointAnswer:
        heard = [replace(heard_of({}), cries=train) for train in trains]
        return match_drive(drive, only, heard, settings, healthy)

    return make


def _chance(answer: JointAnswer, part: str, mechanism: str) -> float:
    """P(the part is faulty by this mechanism)."""
    k = answer.parts.index(part)
    (v,) = (
        v
        for v, voice in enumerate(answer.voices)
        if voice.part == k and voice.family is not None and voice.family.mechanism == mechanism
    )
    return float(answer.result.faulty[k] * answer.result.voice_shares[v])


def test_cries_in_step_move_belief_from_knocks_to_cries(answered) -> None:
    """Of two mechanisms with the same lines the one that cries leads, tenfold and more."""
    without = answered(None)
    locked = answered(once_a_turn_of(PUMP * np.exp(-SLIP)))
    assert _chance(without, "pump", "askew") == pytest.approx(_chance(without, "pump", "loose"))
    assert _chance(locked, "pump", "askew") > 10 * _chance(locked, "pump", "loose")
    assert _chance(locked, "fan", "askew") < _chance(without, "fan", "askew")
    assert _chance(locked, "pump", "askew") > 3 * _chance(without, "pump", "askew")


def test_cries_in_no_step_move_nothing(answered) -> None:
    """What chirps may do so in no step too: neither for nor against anyone."""
    without, free = answered(None), answered(in_no_step())
    assert free.result.faulty == pytest.approx(without.result.faulty, rel=1e-9)
    assert free.result.voice_shares == pytest.approx(without.result.voice_shares, rel=1e-9)


def test_cries_in_step_with_another_turn_move_nothing(answered) -> None:
    """Cries once a turn of something 8 % faster than the pump are not the pump's."""
    without, other = answered(None), answered(once_a_turn_of(1.08 * PUMP))
    assert other.result.faulty == pytest.approx(without.result.faulty, rel=1e-9)


def test_twice_the_speed_is_not_in_step_as_well(drive, family, heard_of, settings) -> None:
    """Cries once a turn of the pump are none of a fan that turns exactly twice as fast."""
    families = [
        replace(one, lines=tuple(replace(line, shows_as="bursts") for line in one.lines))
        for one in (family("pump", [PUMP]), family("fan", [2 * PUMP]))
    ]
    train = once_a_turn_of(PUMP * np.exp(-SLIP))
    without, locked = (
        match_drive(drive, families, [replace(heard_of({}), cries=cries)], settings)
        for cries in (None, train)
    )
    assert _chance(locked, "pump", "worn") > 2 * _chance(without, "pump", "worn")
    assert _chance(locked, "fan", "worn") < _chance(without, "fan", "worn")


def test_a_second_recording_counts_once(answered) -> None:
    """The same cries at another time are no second witness."""
    first = once_a_turn_of(PUMP * np.exp(-SLIP))
    one, two = answered(first, None), answered(first, once_a_turn_of(PUMP * np.exp(-SLIP), 9))
    assert two.result.faulty == pytest.approx(one.result.faulty, rel=1e-6)


def test_what_a_sound_drive_cries_is_no_fault(answered) -> None:
    """Where the reference chirps as well, the step says nothing."""
    train = once_a_turn_of(PUMP * np.exp(-SLIP))
    healthy = HealthySong((None, None), (), (), {"chirps": 2.0})
    known, without = answered(train, healthy=healthy), answered(None, healthy=healthy)
    assert known.result.faulty == pytest.approx(without.result.faulty, rel=1e-9)
    silent = replace(healthy, noises={"chirps": -1.5})
    assert _chance(answered(train, healthy=silent), "pump", "askew") > 3 * _chance(
        known, "pump", "askew"
    )


def test_shares_of_the_noises_stay_in_their_columns(answered, families, heard_of, drive, settings):
    """The step takes a column of its own before those of the noises."""
    crying = replace(families[1], noises=(ExpectedNoise("chirps", 0.8),))
    found = NoiseFinding("chirps", 4.0, 3.0, 3300.0, 3500.0, 0.2, "short cries")
    train = once_a_turn_of(PUMP * np.exp(-SLIP))
    heard = [replace(heard_of({}), cries=train, noises=(found,))]
    answer = match_drive(drive, [families[0], crying, *families[2:]], heard, settings)
    (noise,) = answer.noises
    assert noise.contest == answer.result.tone_shares.shape[1] - 1
    assert answer.result.tone_shares[answer.parts.index("pump"), noise.contest - 1] > 0.9
    assert answer.noise_shares[answer.parts.index("fan"), 0] < 1e-9


@pytest.mark.parametrize(("speed_hz", "held_against"), [(13.5, True), (33.0, False)])
def test_cries_too_fast_to_be_found_are_not_missed(
    speed_hz, held_against, drive, families, heard_of, settings
) -> None:
    """No cries found: 17 a second would have been, 42 a second could not."""
    crying = replace(families[1], noises=(ExpectedNoise("chirps", 0.8),))
    missing = NoiseFinding("chirps", -1.5, None, None, None, 0.0, "no short cries")
    heard = [replace(heard_of({}, speed_hz), noises=(missing,))]
    answer = match_drive(drive, [families[0], crying], heard, settings)
    ratio = _chance(answer, "pump", "askew") / _chance(answer, "pump", "loose")
    assert ratio == pytest.approx(0.4 if held_against else 1.0, abs=0.05)
