"""Crowding of phases: Buccheri et al. 1983 and Mardia & Jupp 2000 (both from memory).

Buccheri et al., Astronomy and Astrophysics 128 (1983) 245-251: of phases that are even
over the turn, Z²_n is chi-square with 2 n degrees of freedom. Mardia and Jupp, Directional
Statistics (Wiley 2000): Rayleigh's test is the same with n = 1, P ≈ exp(-N R²), and the
mean resultant length of a wrapped normal law of standard deviation σ is exp(-σ²/2). The
law itself is taken from scipy.stats.
"""

import numpy as np
import pytest
from scipy.stats import chi2, kstest

from acoustic.evidence.impact_locking import chance_of_z_squared, vector_strength, z_squared


@pytest.mark.parametrize("harmonics", [1, 2, 4])
def test_even_phases_follow_chi_square(harmonics) -> None:
    """2000 sets of 60 even phases against the law, its body and its 1 % tail."""
    rng = np.random.default_rng(1983)
    found = np.array([z_squared(rng.random(60), harmonics) for _ in range(2000)])
    assert kstest(found, chi2(2 * harmonics).cdf).pvalue > 0.01
    tail = np.mean(found > chi2(2 * harmonics).isf(0.01))
    assert 0.004 < tail < 0.018


def test_chance_is_the_upper_tail_of_chi_square() -> None:
    """9.488 and 13.277 are the 5 % and 1 % points at four degrees (any table)."""
    assert chance_of_z_squared(9.488) == pytest.approx(0.05, rel=1e-3)
    assert chance_of_z_squared(13.277) == pytest.approx(0.01, rel=1e-3)
    for statistic in (0.5, 4.0, 30.0, 120.0):
        assert chance_of_z_squared(statistic) == pytest.approx(chi2.sf(statistic, 4), rel=1e-9)


def test_one_harmonic_is_the_test_of_rayleigh() -> None:
    """Z²_1 = 2 N R², so its chance is exp(-N R²), the first term of Rayleigh's."""
    phases = np.array([0.0, 0.1, 0.2, 0.15, 0.6])
    length = vector_strength(phases)
    assert z_squared(phases, 1) == pytest.approx(2 * 5 * length**2)
    assert chance_of_z_squared(z_squared(phases, 1), 1) == pytest.approx(np.exp(-5 * length**2))


@pytest.mark.parametrize(
    ("phases", "expected"),
    [
        ([0.3, 0.3, 0.3], 1.0),  # all alike
        ([0.0, 0.5], 0.0),  # opposite
        ([0.0, 0.25], np.sqrt(0.5)),  # (1 + i) / 2
        ([0.0, 1 / 3, 2 / 3], 0.0),  # a star of three
        ([0.0, 0.0, 0.5], 1 / 3),  # (1 + 1 - 1) / 3
    ],
)
def test_vector_strength_by_hand(phases, expected) -> None:
    """Mean of unit vectors worked out by hand."""
    assert vector_strength(np.array(phases)) == pytest.approx(expected, abs=1e-12)


def test_vector_strength_of_a_wrapped_normal_law() -> None:
    """A jitter of 0.1 turn, sd 0.628 rad, leaves exp(-0.1974) = 0.8209."""
    jitter = 0.1 * np.random.default_rng(2000).standard_normal(20000)
    assert vector_strength(0.4 + jitter) == pytest.approx(0.8209, abs=0.008)
