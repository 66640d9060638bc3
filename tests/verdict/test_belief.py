"""Sets of faulty parts and how findings change them: worked by hand."""

import json

import numpy as np
import pytest

from acoustic.verdict.belief import Belief, PartLikelihood


@pytest.fixture
def two_parts():
    """One of two parts is faulty, or neither; the idler by its race or by a loose bolt."""
    return Belief(
        ("idler", "pump"),
        (((), 0.2), ((0,), 0.5), ((1,), 0.3)),
        ({"race": 0.8, "loose": 0.2}, {"vane": 1.0}),
    )


def test_a_finding_on_one_part_moves_the_other(two_parts):
    """A check four times likelier on a sound idler: 0.2, 0.125, 0.3 become 0.32, 0.2, 0.48."""
    after = two_parts.updated({"idler": PartLikelihood(healthy=1.0, faulty=0.25)})
    assert [w for _, w in after.sets] == pytest.approx([0.32, 0.2, 0.48])
    assert after.faulty == pytest.approx([0.2, 0.48])


def test_a_finding_on_a_mechanism_tells_which(two_parts):
    """Looseness felt: only the loose bolt explains it. 0.5 x (0.8 x 0.1 + 0.2 x 0.9) = 0.13."""
    felt = {"idler": PartLikelihood(0.1, 0.1, {"loose": 0.9})}
    assert two_parts.probability(felt) == pytest.approx(0.02 + 0.13 + 0.03)
    after = two_parts.updated(felt)
    assert after.faulty[0] == pytest.approx(0.13 / 0.18)
    assert after.mechanisms[0]["loose"] == pytest.approx(0.18 / 0.26)


def test_certainty_has_no_uncertainty(two_parts):
    """Entropy: of thirds ln 3, of one set 0."""
    assert Belief(("a",), (((0,), 1.0),), ({},)).uncertainty_nat == 0.0
    third = Belief(("a", "b"), (((), 1 / 3), ((0,), 1 / 3), ((1,), 1 / 3)), ({}, {}))
    assert third.uncertainty_nat == pytest.approx(np.log(3))
    assert two_parts.uncertainty_nat < np.log(3)


def test_an_impossible_finding_changes_nothing(two_parts):
    """Nothing explains it: the belief stays."""
    assert two_parts.updated({"idler": PartLikelihood(0.0, 0.0)}) == two_parts
    every = {name: PartLikelihood(0.0, 0.0) for name in ("idler", "pump")}
    assert two_parts.updated(every) == two_parts


def test_a_record_gives_the_belief_back(two_parts):
    """Through JSON and back: the same, but for what weighs next to nothing."""
    values = json.loads(json.dumps(two_parts.as_values()))
    back = Belief.from_values(values)
    assert back.parts == two_parts.parts
    assert back.faulty == pytest.approx(two_parts.faulty)
    assert back.mechanisms[0] == pytest.approx(two_parts.mechanisms[0])
    with pytest.raises(KeyError):
        Belief.from_values({"parts": ["idler"], "sets": []} | {"sets": [{"faulty": []}]})
    with pytest.raises(ValueError, match="no weight"):
        Belief.from_values({**values, "sets": []})
