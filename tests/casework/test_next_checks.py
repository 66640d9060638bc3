"""The ranking: information of checks that can be worked by hand, minutes, where they are made."""

import math
from pathlib import Path

import pytest

from acoustic.casework.check_results import CheckMade
from acoustic.casework.next_checks import (
    CheckSettings,
    apply_results,
    nobody,
    places_of,
    rank_checks,
)
from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import read_drive
from acoustic.verdict.belief import Belief

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "layouts"


def even_belief(drive):
    """Every part of a drive alike, every mechanism by its weight in the tables."""
    mechanisms = {}
    for family in expected_families(drive):
        mechanisms.setdefault(family.part, {})[family.mechanism] = family.prior_weight
    share = 1 / len(mechanisms)
    sets = tuple(((k,), share) for k in range(len(mechanisms)))
    return Belief(tuple(mechanisms), sets, tuple(mechanisms.values()))


@pytest.mark.parametrize(
    ("sound", "faulty", "nat"),
    [
        (1e-12, 1 - 1e-12, math.log(2)),
        (0.3, 0.3, 0.0),
        # Binary symmetric channel, error 0.1: ln 2 less the entropy of (0.1, 0.9).
        (0.1, 0.9, math.log(2) + 0.1 * math.log(0.1) + 0.9 * math.log(0.9)),
    ],
)
def test_information_of_a_check_on_two_equal_suspects(
    front_four, two_idlers, sound, faulty, nat, only_check
):
    """A perfect one settles ln 2, one that says the same either way nothing."""
    ranked = rank_checks(front_four, two_idlers, only_check(sound, faulty))
    assert {one.part for one in ranked} == {"guide idler", "flat idler"}
    for one in ranked:
        assert one.information_nat == pytest.approx(nat, abs=1e-9)
        assert one.nat_per_minute == pytest.approx(nat / 4, abs=1e-9)
        assert one.doubt_share == pytest.approx(nat / math.log(2), abs=1e-9)
        assert one.minutes == 4


def test_what_results_would_do_is_told(front_four, two_idlers, only_check):
    """Bad at the guide idler, error 0.1: it rises from 0.50 to 0.90, the other falls."""
    ranked = rank_checks(front_four, two_idlers, only_check(0.1, 0.9))
    guide = next(one for one in ranked if one.part == "guide idler")
    bad, good = guide.results
    assert bad.chance == good.chance == pytest.approx(0.5)
    assert [(m.part, m.before, m.after) for m in bad.moves] == [
        ("guide idler", 0.5, pytest.approx(0.9)),
        ("flat idler", 0.5, pytest.approx(0.1)),
        (None, 0.0, 0.0),
    ]
    assert bad.sentence == (
        "Bad (chance 0.50): guide idler rises from 0.50 to 0.90, "
        "flat idler falls from 0.50 to 0.10."
    )
    assert bad.belief.faulty == pytest.approx([0.9, 0.1])


def test_most_per_minute_comes_first(front_four, two_idlers, knowledge):
    """And a check that was made is not proposed again, the rest is."""
    ranked = rank_checks(front_four, two_idlers, knowledge)
    rates = [one.nat_per_minute for one in ranked]
    assert rates == sorted(rates, reverse=True) and rates[0] > 0
    best = ranked[0]
    done = [CheckMade(best.check.id, best.part, best.results[0].result)]
    after = apply_results(front_four, two_idlers, done, knowledge)
    left = {(one.check.id, one.part) for one in rank_checks(front_four, after, knowledge, done)}
    assert left == {(one.check.id, one.part) for one in ranked[1:]}


def test_a_belt_comes_off_once(front_four, two_idlers, knowledge):
    """12 min for the belt and 4 for the idler; the next idler 4, until a check with it on."""

    def minutes(done):
        ranked = rank_checks(front_four, two_idlers, knowledge, done)
        return {one.part: one.minutes for one in ranked if one.check.id == "spin by hand"}

    assert minutes([]) == {"guide idler": 16, "flat idler": 16}
    spun = CheckMade("spin by hand", "guide idler", "smooth")
    assert minutes([spun]) == {"flat idler": 4}
    assert minutes([spun, CheckMade("rock for play", "flat idler", "no play")]) == {
        "flat idler": 16
    }


def test_nothing_is_asked_of_a_part_that_is_sound(front_four, two_idlers, knowledge):
    """Below the least probability a part gets no check of its own."""
    sets = (((0,), 0.999), ((1,), 0.001))
    belief = Belief(two_idlers.parts, sets, two_idlers.mechanisms)
    assert {one.part for one in rank_checks(front_four, belief, knowledge)} == {"guide idler"}
    every = rank_checks(front_four, belief, knowledge, settings=CheckSettings(least_probability=0))
    assert {one.part for one in every} == {"guide idler", "flat idler"}


@pytest.mark.parametrize("layout", sorted(path.name for path in SAMPLES.glob("*.toml")))
def test_every_mechanism_of_every_sample_can_be_checked_somewhere(layout, knowledge):
    """No suspect is left without a check that names what may be wrong with it."""
    drive = read_drive(SAMPLES / layout)
    belief = even_belief(drive)
    bare = []
    for part, shares in zip(belief.parts, belief.mechanisms, strict=True):
        checks = [
            check
            for check in knowledge.hand_checks.values()
            if (places := places_of(check, drive, belief, knowledge))
            and (part in places or check.bears_on == "belt drive")
        ]
        bare += [
            (part, name)
            for name in shares
            if not any(knowledge.named_chances(check, name) for check in checks)
        ]
    assert bare == []


def test_what_gears_turn_is_not_spun_by_hand(knowledge):
    """Behind gears nothing turns free; what the belt drives does, off it."""
    drive = read_drive(SAMPLES / "rear_six.toml")
    spun = places_of(knowledge.hand_checks["spin by hand"], drive, even_belief(drive), knowledge)
    assert {"compressor", "guide idler"} <= set(spun)
    assert not {"alternator", "accessory shaft"} & set(spun)


def test_no_run_without_a_belt_the_engine_needs(knowledge):
    """The accessories' belt may come off for half a minute, the supercharger's not."""
    drive = read_drive(SAMPLES / "v6_supercharger.toml")
    run = knowledge.hand_checks["run with the belt off"]
    assert places_of(run, drive, even_belief(drive), knowledge) == ("belt accessories",)


def test_a_stretch_belt_is_told_of(knowledge):
    """Taking it off costs a new one."""
    drive = read_drive(SAMPLES / "two_belt_diesel.toml")
    for one in rank_checks(drive, even_belief(drive), knowledge):
        if one.check.id == "spin by hand":
            stretch = any(remark.startswith("Stretch belt") for remark in one.remarks)
            assert stretch == (one.part == "compressor"), one.part


def test_none_of_them(on_and_off_the_belt):
    """The empty set."""
    assert nobody(on_and_off_the_belt) == pytest.approx(0.2)
