"""Sets of faulty parts, against full enumeration where that can be done."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations, product
from math import comb
from typing import Any

import numpy as np
import pytest

from acoustic.verdict.fault_sets import COMPLAINT, HEALTHY, weigh_faults

SHARE = 0.4


def enumerate_all(
    parts: Sequence[Mapping[str, Any]],
    tones: int,
    count_prior: Sequence[float] = COMPLAINT,
    stranger: Sequence[float] | None = None,
) -> np.ndarray:
    """P(faulty) of every part: all sets, all songs, all offsets, one by one.

    A tone's factor is (stranger + claims of all songs + the largest claim of a faulty part)
    / stranger: one tone is no evidence for two faults.
    """
    weight_of_stranger = np.ones(tones) if stranger is None else np.array(stranger, dtype=float)
    n = len(parts)
    densities = [np.array(part.get("density", (0.25, 0.5, 0.25))) for part in parts]
    faulty, total = np.zeros(n), 0.0

    def at(value: Any, place: int) -> float:
        return float(np.broadcast_to(value, (3,))[place])

    singers = [k for k in range(n) if parts[k].get("song") is not None]
    for size in range(min(len(count_prior) - 1, n) + 1):
        for chosen in combinations(range(n), size):
            likelihood = 0.0
            for sings in product((False, True), repeat=len(singers)):
                singing = {k for k, s in zip(singers, sings, strict=True) if s}
                chance = np.prod([SHARE if s else 1 - SHARE for s in sings])
                for places in product(range(3), repeat=n):
                    value = chance * np.prod([d[p] for d, p in zip(densities, places, strict=True)])
                    claims, faults = np.zeros(tones), np.zeros(tones)
                    for k, place in enumerate(places):
                        if k in chosen:
                            value *= at(parts[k].get("steady", 1.0), place)
                            for tone, u in parts[k].get("claims", {}).items():
                                faults[tone] = max(faults[tone], at(u, place))
                        if k in singing:
                            value *= at(parts[k].get("song_steady", 1.0), place)
                            for tone, u in parts[k]["song"].items():
                                claims[tone] += at(u, place)
                    likelihood += value * np.prod(1.0 + (claims + faults) / weight_of_stranger)
            weight = count_prior[size] / comb(n, size) * likelihood
            total += weight
            faulty[list(chosen)] += weight
    return faulty / total


def test_nothing_heard_leaves_the_prior(problem_of) -> None:
    """Four parts without a claim: expected number of faulty ones as before (0.92 of 4)."""
    result = weigh_faults(problem_of([{}] * 4, 0))
    expected = (0.60 + 2 * 0.13 + 3 * 0.02) / 4
    # Third parts are only tried beside the likeliest pairs: good to half a percent.
    assert result.faulty == pytest.approx([expected] * 4, abs=0.005)
    assert result.fault_evidence == pytest.approx([1.0] * 4)


def test_a_recording_known_to_be_sound_accuses_nobody(problem_of) -> None:
    """With the prior of a healthy drive no evidence makes a part faulty."""
    result = weigh_faults(problem_of([{"claims": {0: 100.0}}, {}], 1, count_prior=HEALTHY))
    assert result.faulty.tolist() == [0.0, 0.0]


def test_one_part_by_hand(problem_of) -> None:
    """A claim of 19 is 20 : 1; with 0.25 against 0.60/2 before and one silent part beside."""
    parts = [{"claims": {0: 19.0}}, {}]
    prior = (0.4, 0.6)
    result = weigh_faults(problem_of(parts, 1, count_prior=prior))
    assert result.fault_evidence[0] == pytest.approx(20.0)
    assert result.faulty == pytest.approx(np.array([0.3 * 20, 0.3]) / (0.4 + 0.3 * 20 + 0.3))


def test_one_part_explains_two_tones(problem_of) -> None:
    """One part that makes both tones beats two that make one each."""
    parts = [{"claims": {0: 20.0, 1: 20.0}}, {"claims": {0: 20.0}}, {"claims": {1: 20.0}}]
    result = weigh_faults(problem_of(parts, 2))
    exact = enumerate_all(parts, 2)
    assert result.faulty[0] > 0.7 > 0.5 > result.faulty[1:].max()
    assert result.faulty == pytest.approx(exact, abs=0.02)


def test_parts_with_equal_lines_share_the_probability(problem_of) -> None:
    """Two parts with the same three tones: equal, and neither called on its own."""
    alike = {"claims": {0: 15.0, 1: 15.0, 2: 15.0}}
    parts = [alike, alike, {}]
    faulty = weigh_faults(problem_of(parts, 3)).faulty
    assert faulty[0] == pytest.approx(faulty[1], rel=1e-6)
    assert 0.45 < faulty[0] < 0.8
    assert faulty == pytest.approx(enumerate_all(parts, 3), abs=0.02)


def test_two_faults_with_tones_of_their_own_are_both_found(problem_of) -> None:
    """Nobody else makes either's tones: both above 0.8."""
    parts = [{"claims": {0: 60.0, 1: 60.0}}, {"claims": {2: 60.0, 3: 60.0}}, {}]
    faulty = weigh_faults(problem_of(parts, 4)).faulty
    assert np.all(faulty[:2] > 0.8)
    assert faulty == pytest.approx(enumerate_all(parts, 4), abs=0.02)


def test_a_missing_line_speaks_against(problem_of) -> None:
    """The same tone, but one part lacks a line that should be there (factor 0.1)."""
    parts = [{"claims": {0: 20.0}}, {"claims": {0: 20.0}, "steady": 0.1}]
    faulty = weigh_faults(problem_of(parts, 1)).faulty
    assert faulty[0] > 4 * faulty[1]
    assert faulty == pytest.approx(enumerate_all(parts, 1), abs=0.03)


def test_a_tone_strangers_are_likely_to_make_proves_less(problem_of) -> None:
    """The same claim where a stranger weighs ten times as much."""
    parts = [{"claims": {0: 30.0}}, {}]
    alone = weigh_faults(problem_of(parts, 1)).faulty[0]
    crowded = weigh_faults(problem_of(parts, 1, stranger=[10.0])).faulty[0]
    assert crowded < alone
    assert crowded == pytest.approx(enumerate_all(parts, 1, stranger=[10.0])[0], abs=1e-6)


def test_a_song_explains_its_tone_away(problem_of) -> None:
    """A neighbour whose healthy song makes the tone takes suspicion off the other."""
    alone = [{"claims": {0: 30.0}}, {}]
    beside = [{"claims": {0: 30.0}}, {"song": {0: 30.0}}]
    without, with_song = (weigh_faults(problem_of(p, 1)).faulty[0] for p in (alone, beside))
    assert with_song < without - 0.15
    assert with_song == pytest.approx(enumerate_all(beside, 1)[0], abs=0.05)


def test_lines_must_agree_on_one_offset(problem_of) -> None:
    """Two tones at one offset of the shaft are one shaft's; at different ones they are not.

    With P(d) = 1/4 there: 1/4 x 81² + 3/4 against 2 x 1/4 x 81 + 1/2.
    """
    here, there = np.array([80.0, 0.0, 0.0]), np.array([0.0, 0.0, 80.0])
    parts = [{"claims": {0: here, 1: here}}, {"claims": {2: here, 3: there}}]
    result = weigh_faults(problem_of(parts, 4))
    assert result.fault_evidence == pytest.approx([0.25 * 81**2 + 0.75, 0.5 * 81 + 0.5])
    assert result.faulty == pytest.approx(enumerate_all(parts, 4), abs=0.02)
    # And the answer knows where the shaft is.
    assert result.offset_posteriors[0][0] > 0.99
    assert result.offset_posteriors[1][0] == pytest.approx(result.offset_posteriors[1][2])


def _random_parts(seed: int, count: int, singing: bool) -> list[dict[str, Any]]:
    """Parts with one to three claims of any size on four tones, some missing lines."""
    rng = np.random.default_rng(seed)
    parts: list[dict[str, Any]] = []
    for _ in range(count):
        tones = rng.choice(4, int(rng.integers(1, 4)), replace=False)
        part: dict[str, Any] = {
            "claims": {int(t): 10 ** rng.uniform(-0.5, 1.7) * rng.random(3) for t in tones},
            "steady": float(rng.choice([1.0, 1.0, 0.4])),
        }
        if singing and rng.random() < 0.6:
            part["song"] = {int(tones[0]): float(10 ** rng.uniform(-0.5, 1.5))}
        parts.append(part)
    return parts


@pytest.mark.parametrize(
    ("count", "singing", "mean", "worst"),
    [(4, False, 0.006, 0.03), (3, True, 0.012, 0.12)],
    ids=["silent", "singing"],
)
def test_against_full_enumeration(problem_of, count, singing, mean, worst) -> None:
    """20 random small drives: the same leader, and P to about a percent on average."""
    errors, leaders = [], 0
    for seed in range(20):
        parts = _random_parts(seed, count, singing)
        ours = weigh_faults(problem_of(parts, 4)).faulty
        exact = enumerate_all(parts, 4)
        errors.append(np.abs(ours - exact))
        best = np.sort(exact)[::-1]
        leaders += int(np.argmax(ours) == np.argmax(exact) or best[0] - best[1] < 0.02)
    assert np.mean(errors) < mean
    assert np.max(errors) < worst
    assert leaders == 20


def test_two_that_fit_less_well_do_not_prove_each_other(problem_of) -> None:
    """Two tones of one part, each of which one other part fits less well.

    Either of the others alone is a thousandth of the first; the two together must not
    count the tones they share twice.
    """
    parts = [
        {"claims": {0: 3e4, 1: 3e4, 2: 3e4}},
        {"claims": {0: 2e3, 1: 2e3}},
        {"claims": {0: 2e3, 1: 2e3}},
    ]
    result = weigh_faults(problem_of(parts, 3))
    assert result.faulty[0] > 0.95
    assert result.faulty == pytest.approx(enumerate_all(parts, 3), abs=0.05)


def test_probabilities_stay_probabilities(problem_of) -> None:
    """Claims of 1e12 on everything: between 0 and 1, and no overflow."""
    parts = [{"claims": {0: 1e12, 1: 1e12}, "song": {0: 1e12}}] * 4
    result = weigh_faults(problem_of(parts, 2))
    for values in (result.faulty, result.singing, result.voice_shares):
        assert np.all((values >= 0) & (values <= 1 + 1e-9))
    for density in result.offset_posteriors:
        assert density.sum() == pytest.approx(1.0)


def test_nothing_is_surer_than_that_the_evidence_means_something(problem_of) -> None:
    """With 1 in 20 for evidence that means nothing: 19/20 of the answer, 1/20 of the prior."""
    problem = problem_of([{"claims": {0: 1e6, 1: 1e6}}, {"claims": {2: 3.0}}, {}], 3)
    trusting = weigh_faults(problem)
    careful = weigh_faults(replace(problem, astray=0.05))
    unheard = weigh_faults(problem_of([{}, {}, {}], 3))
    assert trusting.faulty[0] > 0.999
    assert careful.faulty == pytest.approx(0.95 * trusting.faulty + 0.05 * unheard.faulty, abs=1e-9)
    assert sum(careful.sets.values()) == pytest.approx(1.0)


def test_shares_of_the_mechanisms_sum_to_one(problem_of) -> None:
    """Of a part that is faulty, the mechanisms share the blame."""
    problem = problem_of([{"claims": {0: 9.0}}, {}], 1)
    result = weigh_faults(problem)
    for part in range(2):
        own = [v for v, w in enumerate(problem.voices) if w.part == part and not w.healthy]
        assert sum(result.voice_shares[v] for v in own) == pytest.approx(1.0)


def test_a_second_part_with_the_same_lines_gains_nothing(problem_of) -> None:
    """Eight tones that two parts fit, the first twice as well on each.

    Together they account for no tone better than the first alone: the second stays near
    what two faults at once are worth beforehand.
    """
    better = {"claims": dict.fromkeys(range(8), 40.0)}
    worse = {"claims": dict.fromkeys(range(8), 20.0)}
    faulty = weigh_faults(problem_of([better, worse, {}, {}], 8)).faulty
    assert faulty[0] > 0.95
    assert faulty[1] < 0.15


def test_further_lines_of_a_loud_source_prove_little_for_another_part(problem_of) -> None:
    """Two lines of the first part, two that nobody lists and another part happens to fit.

    Where such lines are nothing a loud source makes beside its own, both parts are faulty;
    where they usually are, the second is not.
    """
    parts = [{"claims": {0: 200.0, 1: 200.0}}, {"claims": {2: 40.0, 3: 40.0}}, {}, {}]
    plain = problem_of(parts, 4)
    beside = replace(plain, companions=np.full(4, 100.0))
    assert weigh_faults(plain).faulty[1] > 0.8
    faulty = weigh_faults(beside).faulty
    assert faulty[0] > 0.8
    assert faulty[1] < 0.3


def test_a_third_part_gets_no_more_than_the_second(problem_of) -> None:
    """A loud source, a second fault of its own tones, and one that fits the first's further lines.

    Telling the second, one tone of which the third part meets too, must not make the first's
    further lines anybody's again.
    """
    loud = {"claims": dict.fromkeys((0, 1), 3e6)}
    second = {"claims": dict.fromkeys((2, 3, 4), 3e3)}
    fits = {"claims": {4: 10.0, 5: 40.0, 6: 40.0}}
    companions = np.array([100.0, 100.0, 0.0, 0.0, 0.0, 100.0, 100.0])
    faulty = weigh_faults(replace(problem_of([loud, second, fits, {}], 7), companions=companions))
    assert np.all(faulty.faulty[:2] > 0.8)
    assert faulty.faulty[2] < 0.3
