"""What parts tell each other about slip and pulleys."""

from types import SimpleNamespace

import numpy as np
import pytest

from acoustic.verdict.offsets import offset_priors
from acoustic.verdict.unknowns import belt_offset, group_key, shaft_group, shared_unknowns


@pytest.fixture(scope="module")
def problem(family, drive_with) -> SimpleNamespace:
    """Pump and clutch on one shaft, an idler on the same belt, a part behind gears."""
    families = [
        family("pump", [11.3]),
        family("clutch", [2.3], own_diameter="pump"),
        family("idler", [6.6]),
        family("gear pump", [8.0], belt=None),
    ]
    drive = drive_with(slip=0.03, pump=0.002, idler=0.002)
    shared = shared_unknowns(families[:3], "main")
    belts = [belt_offset(drive, "main", shared), belt_offset(drive, None, {})]
    groups = [
        shaft_group(drive, group_key(families[0]), (0, belts[0]), shared),
        shaft_group(drive, group_key(families[2]), (0, belts[0]), shared),
        shaft_group(drive, group_key(families[3]), (1, belts[1]), {}),
    ]
    return SimpleNamespace(belts=belts, groups=groups, part_groups=[0, 0, 1, 2], part_count=4)


def _flat(problem) -> list[np.ndarray]:
    return [np.ones(problem.groups[g].offset.size) for g in problem.part_groups]


def _peak(problem, part: int, at: float) -> np.ndarray:
    offset = problem.groups[problem.part_groups[part]].offset
    return np.exp(-0.5 * ((offset - at) / 5e-4) ** 2) + 1e-9


def _mean_sd(problem, part: int, density: np.ndarray) -> tuple[float, float]:
    offset = problem.groups[problem.part_groups[part]].offset
    mean = float(density @ offset)
    return mean, float(np.sqrt(density @ (offset - mean) ** 2))


def test_without_evidence_the_prior_stands(problem) -> None:
    """Slip from 0 to 3 %: mean -1.65 % with creep, spread 0.9 %."""
    priors = offset_priors(problem, _flat(problem))
    for part in (0, 1, 2):
        assert priors[part].sum() == pytest.approx(1.0)
        mean, sd = _mean_sd(problem, part, priors[part])
        assert mean == pytest.approx(-0.0165, abs=5e-4)
        assert sd == pytest.approx(np.hypot(0.03 / np.sqrt(12), 0.002), rel=0.06)


def test_two_parts_on_one_shaft_turn_alike(problem) -> None:
    """Where the clutch is heard the pump must be: exactly there."""
    likelihoods = _flat(problem)
    likelihoods[1] = _peak(problem, 1, -0.021)
    mean, sd = _mean_sd(problem, 0, offset_priors(problem, likelihoods)[0])
    assert mean == pytest.approx(-0.021, abs=2e-4)
    assert sd < 8e-4


def test_a_shaft_tells_its_belts_slip(problem) -> None:
    """The idler's place narrows the pump's to the two pulleys' errors: hypot(0.2, 0.2) %."""
    likelihoods = _flat(problem)
    likelihoods[2] = _peak(problem, 2, -0.021)
    mean, sd = _mean_sd(problem, 0, offset_priors(problem, likelihoods)[0])
    assert mean == pytest.approx(-0.021, abs=5e-4)
    assert 0.002 < sd < 0.0045


def test_a_part_does_not_confirm_itself(problem) -> None:
    """Its own likelihood is not in its own prior."""
    likelihoods = _flat(problem)
    plain = offset_priors(problem, likelihoods)[2]
    likelihoods[2] = _peak(problem, 2, -0.021)
    assert offset_priors(problem, likelihoods)[2] == pytest.approx(plain)


def test_gears_are_not_told_by_a_belt(problem) -> None:
    """What slips on the belt is nothing to a part behind gears."""
    likelihoods = _flat(problem)
    plain = offset_priors(problem, likelihoods)[3]
    likelihoods[0] = _peak(problem, 0, -0.021)
    assert offset_priors(problem, likelihoods)[3] == pytest.approx(plain)


def test_evidence_of_any_size_is_safe(problem) -> None:
    """Likelihoods of 1e250 and 1e-250 leave densities that sum to 1."""
    likelihoods = _flat(problem)
    likelihoods[1] = _peak(problem, 1, -0.021) * 1e250
    likelihoods[2] = _peak(problem, 2, -0.005) * 1e-250
    for prior in offset_priors(problem, likelihoods):
        assert prior.sum() == pytest.approx(1.0)
        assert np.all(np.isfinite(prior))
