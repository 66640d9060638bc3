"""The floor under lines: edges and humps of resonances, medians, shadows."""

import numpy as np
import pytest

from acoustic.evidence.noise_floor import (
    FloorSettings,
    chance_of_ratio,
    degrees_of_freedom,
    ln_noise_floor,
    without_shadows,
)

FREEDOM = degrees_of_freedom(30)
SETTINGS = FloorSettings()
BINS = 1200


def _noise(mean_power: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Log power of chi-square noise, alike from bin to bin as Hann bins are."""
    lines = rng.standard_normal((30, BINS + 2)) + 1j * rng.standard_normal((30, BINS + 2))
    hann = lines[:, 1:-1] - 0.5 * (lines[:, :-2] + lines[:, 2:])
    power = np.mean(np.abs(hann) ** 2, axis=0) / 3.0
    return np.log(power * mean_power)


def _floor(ln_power: np.ndarray, masked: np.ndarray | None = None) -> np.ndarray:
    masked = np.zeros(ln_power.size, dtype=bool) if masked is None else masked
    return ln_noise_floor(ln_power, masked, FREEDOM, SETTINGS)


def _false_lines(mean_power: np.ndarray, recordings: int, level: float) -> float:
    """Lines per recording at a rate of `level` per recording."""
    rng = np.random.default_rng(83)
    count = 0
    for _ in range(recordings):
        ln_power = _noise(mean_power, rng)
        chance = chance_of_ratio(ln_power - _floor(ln_power), FREEDOM)
        count += int(np.sum(chance * BINS / 1.5 < level))
    return count / recordings


def test_floor_of_flat_noise() -> None:
    """The floor of white noise is its mean power, little above it by the greater-of rule."""
    rng = np.random.default_rng(2)
    floors = [np.median(_floor(_noise(np.full(BINS, 2.0), rng))) for _ in range(10)]
    assert np.mean(floors) - np.log(2.0) == pytest.approx(0.08, abs=0.12)


def test_a_step_of_20_db_gives_no_false_line() -> None:
    """At the edge of a band of noise a single median would call every bin a line."""
    step = np.where(np.arange(BINS) < BINS // 2, 1.0, 100.0)
    assert _false_lines(step, 60, 0.05) < 0.15


def test_a_resonance_gives_no_false_line() -> None:
    """A hump of quality 12, 20 dB high, as a bracket or a cover makes it."""
    x = np.arange(BINS) / 600.0
    hump = 1.0 + 100.0 / (1.0 + (12 * (x - 1 / np.maximum(x, 1e-3))) ** 2)
    assert _false_lines(hump, 60, 0.05) < 0.15


@pytest.mark.parametrize("width_bins", [16, 20, 40])
def test_a_narrow_resonance_gives_no_false_line(width_bins) -> None:
    """Narrower than the medians' reach, 15 dB high: still higher on both sides of its top."""
    hump = 1.0 + 31.0 / (1.0 + (2 * (np.arange(BINS) - 600) / width_bins) ** 2)
    assert _false_lines(hump, 60, 0.05) < 0.15


def test_a_single_line_does_not_lift_its_own_floor() -> None:
    """A line three bins wide, 30 dB up, leaves the floor under it within 1.5 dB."""
    rng = np.random.default_rng(4)
    ln_power = _noise(np.ones(BINS), rng)
    with_line = ln_power.copy()
    with_line[599:602] = np.log([250.0, 1000.0, 250.0])
    lifted_db = (_floor(with_line)[600] - _floor(ln_power)[600]) * 10 / np.log(10)
    assert lifted_db < 1.5


def test_masked_bins_do_not_count() -> None:
    """The engine's own lines, 40 dB up every eighth bin, leave the floor where it was."""
    rng = np.random.default_rng(5)
    ln_power = _noise(np.ones(BINS), rng)
    comb = np.zeros(BINS, dtype=bool)
    comb[::8] = comb[1::8] = True
    loud = np.where(comb, np.log(1e4), ln_power)
    difference = _floor(loud, comb) - _floor(ln_power)
    assert np.abs(difference).mean() < 0.12


def test_all_masked_is_no_failure() -> None:
    """Where everything is the engine's there is still a finite floor."""
    assert np.all(np.isfinite(_floor(np.zeros(BINS), np.ones(BINS, dtype=bool))))


def test_chance_falls_with_the_ratio_and_with_more_averages() -> None:
    """A ratio of 1 is nothing; 3 is rarer than 2, and rarer with 60 degrees than with 10."""
    assert chance_of_ratio(np.array(0.0), 20.0) == pytest.approx(0.45, abs=0.1)
    two, three = chance_of_ratio(np.log([2.0, 3.0]), 20.0)
    assert three < two < 0.05
    assert chance_of_ratio(np.log(2.0), 60.0) < chance_of_ratio(np.log(2.0), 10.0)


def test_skirts_of_a_strong_line_are_taken_off() -> None:
    """Skirts 26 to 42 dB down at 5 to 12 bins vanish; the line itself stays."""
    excess = np.zeros(60)
    nat = np.log(10) / 10
    excess[30] = 45 * nat
    for bins, down_db in ((5, 26.0), (8, 37.0), (12, 42.0)):
        excess[30 - bins] = excess[30 + bins] = (45 - down_db) * nat
    clean = without_shadows(excess)
    assert clean[30] == pytest.approx(45 * nat)
    for bins in (5, 8, 12):
        assert clean[30 - bins] == clean[30 + bins] == 0.0


def test_a_second_line_in_the_shadow_is_kept_as_far_as_it_stands_out() -> None:
    """Six bins from a 40 dB line a 20 dB line is 5 dB over the skirt (25 dB down)."""
    nat = np.log(10) / 10
    excess = np.zeros(60)
    excess[30], excess[36] = 40 * nat, 20 * nat
    assert without_shadows(excess)[36] == pytest.approx(5 * nat)


def test_a_shadow_does_not_prove_silence() -> None:
    """Bins in a shadow go to zero, not below; what was below zero stays as heard."""
    nat = np.log(10) / 10
    excess = np.full(60, -0.3)
    excess[30] = 40 * nat
    excess[33] = 0.2
    clean = without_shadows(excess)
    assert clean[33] == 0.0
    assert clean[40] == pytest.approx(-0.3)
