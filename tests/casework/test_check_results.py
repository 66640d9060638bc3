"""What a result proves: worked by hand, or against the joint probability written out."""

import itertools
import math
from pathlib import Path

import pytest

from acoustic.casework.check_results import (
    CheckMade,
    apply_result,
    belt_of,
    chance_of_result,
    driven_parts,
    outcomes,
    turns_free_without_belt,
    unsettled_nat,
)
from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import read_drive
from acoustic.errors import CaseError
from acoustic.verdict.belief import Belief

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "layouts"


def test_a_rough_idler_by_hand(front_four, two_idlers, knowledge):
    """Rough: 0.74 if it is this one, 0.07 if it is the other. 0.37 / (0.37 + 0.035) = 0.9136."""
    rough = CheckMade("spin by hand", "guide idler", "rough")
    assert chance_of_result(front_four, two_idlers, rough, knowledge) == pytest.approx(0.405)
    after = apply_result(front_four, two_idlers, rough, knowledge)
    assert after.faulty == pytest.approx([0.37 / 0.405, 0.035 / 0.405])


def test_a_check_tells_the_mechanism(front_four, knowledge):
    """A jerky arm, 0.85 if the arm is worn and 0.15 if the bearing is: halves become those."""
    belief = Belief(("tensioner",), (((0,), 1.0),), ({"worn arm": 0.5, "rough bearing": 0.5},))
    jerky = CheckMade("swing the tensioner", "tensioner", "jerky")
    after = apply_result(front_four, belief, jerky, knowledge)
    assert after.mechanisms[0] == pytest.approx({"worn arm": 0.85, "rough bearing": 0.15})


def test_run_with_the_belt_off(front_four, on_and_off_the_belt, knowledge):
    """Gone: 0.2 x 0.05 + 0.5 x 0.94 + 0.3 x 0.05 = 0.495; the idler is at 0.47 / 0.495."""
    belief = Belief(
        (*on_and_off_the_belt.parts, "belt main"),
        on_and_off_the_belt.sets,
        (*on_and_off_the_belt.mechanisms, {"slipping belt": 1.0}),
    )
    gone = CheckMade("run with the belt off", "belt main", "gone")
    assert chance_of_result(front_four, belief, gone, knowledge) == pytest.approx(0.495)
    after = apply_result(front_four, belief, gone, knowledge)
    assert after.faulty == pytest.approx([0.47 / 0.495, 0.015 / 0.495, 0.0])


def test_two_faults_on_one_belt_drive_against_the_joint_written_out(front_four, knowledge):
    """Every set with every pair of mechanisms; one of the faulty parts is the one heard."""
    shares = (
        {"slipping belt": 0.3, "chirping belt": 0.7},
        {"pulley out of line": 0.4, "run-out": 0.6},
    )
    sets = (((), 0.1), ((0,), 0.3), ((1,), 0.2), ((0, 1), 0.4))
    belief = Belief(("belt main", "guide idler"), sets, shares)
    louder = {
        "slipping belt": 0.72,
        "chirping belt": 0.05,
        "pulley out of line": 0.05,
        "run-out": 0.05,
    }
    joint = {}
    for chosen, weight in sets:
        for names in itertools.product(*shares):
            prior = weight * shares[0][names[0]] * shares[1][names[1]]
            heard = [louder[names[k]] for k in chosen] or [0.03]
            joint[chosen, names] = prior * sum(heard) / len(heard)
    whole = sum(joint.values())
    done = CheckMade("water on the ribs", "belt main", "louder")
    after = apply_result(front_four, belief, done, knowledge)
    assert chance_of_result(front_four, belief, done, knowledge) == pytest.approx(whole)
    for k in range(2):
        faulty = {key: w for key, w in joint.items() if k in key[0]}
        assert after.faulty[k] == pytest.approx(sum(faulty.values()) / whole)
        for name in shares[k]:
            share = sum(w for key, w in faulty.items() if key[1][k] == name) / sum(faulty.values())
            assert after.mechanisms[k][name] == pytest.approx(share)


@pytest.mark.parametrize("layout", sorted(path.name for path in SAMPLES.glob("*.toml")))
def test_results_of_every_check_exhaust_it(layout, knowledge):
    """At every part of every sample the chances sum to 1, and beliefs stay probabilities."""
    drive = read_drive(SAMPLES / layout)
    mechanisms = {}
    for family in expected_families(drive):
        mechanisms.setdefault(family.part, {})[family.mechanism] = family.prior_weight
    count = len(mechanisms)
    single = [((k,), 0.6 / count) for k in range(count)]
    double = [((k, (k + 1) % count), 0.3 / count) for k in range(count)]
    belief = Belief(tuple(mechanisms), (((), 0.1), *single, *double), tuple(mechanisms.values()))
    tried = 0
    for check, part in itertools.product(knowledge.hand_checks.values(), belief.parts):
        if not check.made_at(drive.parts[part].kind):
            continue
        found = outcomes(drive, belief, check, part, knowledge)
        assert sum(chance for _, chance, _ in found) == pytest.approx(1.0)
        for _, _, after in found:
            assert sum(weight for _, weight in after.sets) == pytest.approx(1.0)
            for shares in after.mechanisms:
                assert sum(shares.values()) == pytest.approx(1.0)
        tried += 1
    assert tried > count


def test_what_is_unsettled(front_four, two_idlers, knowledge):
    """Two parts: ln 2. Arm or bearing: ln 2 more for the half where it is the tensioner."""
    assert unsettled_nat(front_four, two_idlers, knowledge) == pytest.approx(math.log(2))
    shares = ({"worn arm": 0.5, "rough bearing": 0.5}, {"rough bearing": 1.0})
    belief = Belief(("tensioner", "flat idler"), two_idlers.sets, shares)
    assert unsettled_nat(front_four, belief, knowledge) == pytest.approx(1.5 * math.log(2))


def test_which_race_it_is_unsettles_nothing(front_four, two_idlers, knowledge):
    """Outer or inner race: the same repair, so no check is worth a minute for it."""
    races = {"outer race": 0.5, "inner race": 0.5}
    belief = Belief(two_idlers.parts, two_idlers.sets, (races, {"rough bearing": 1.0}))
    assert unsettled_nat(front_four, belief, knowledge) == pytest.approx(math.log(2))


def test_what_a_belt_drives():
    """Behind the gears nothing turns free; a one-way driving pulley and its belt's parts do."""
    drive = read_drive(SAMPLES / "rear_six.toml")
    driven = driven_parts(drive, drive.belts["rear"])
    assert {"compressor", "steering pump", "guide idler", "belt rear"} <= set(driven)
    assert "drive pulley one-way clutch" in driven
    assert not {"alternator", "accessory shaft", "engine itself"} & set(driven)
    assert not turns_free_without_belt(drive, "alternator")
    assert belt_of(drive, "alternator") is None
    assert belt_of(drive, "compressor").name == "rear"


@pytest.mark.parametrize(
    ("done", "told"),
    [
        (CheckMade("made down", "guide idler", "bad"), "Known are: made up"),
        (CheckMade("made up", "gide idler", "bad"), "Known are: guide idler, flat idler"),
        (CheckMade("made up", "guide idler", "worse"), "Known are: bad, good"),
    ],
)
def test_a_wrong_name_is_told_with_the_right_ones(front_four, two_idlers, done, told, only_check):
    """Check, part and result."""
    with pytest.raises(CaseError, match=told):
        apply_result(front_four, two_idlers, done, only_check(0.1, 0.9))
