"""The best way through a table of scores."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest

from acoustic.recording.speed_path import best_path, between_cells


@pytest.mark.parametrize("seed", range(5))
def test_as_good_as_trying_every_path(seed: int) -> None:
    """5 frames of 6 cells: the same total as the best of all 7776 paths."""
    rng = np.random.default_rng(seed)
    score = rng.normal(0, 2, (5, 6)).astype(np.float32)
    steps = np.array([1.0, 3.0, 1.0, 1.0])
    sd_cells = 1.3

    def total(path: tuple[int, ...]) -> float:
        jumps = sum(
            0.5 * ((b - a) / sd_cells) ** 2 / step
            for (a, b), step in zip(pairwise(path), steps, strict=True)
        )
        return float(sum(score[f, c] for f, c in enumerate(path))) - jumps

    path, found = best_path(score, steps, sd_cells)
    assert found == pytest.approx(max(total(p) for p in product(range(6), repeat=5)), abs=1e-4)
    assert total(tuple(path.tolist())) == pytest.approx(found, abs=1e-4)


def test_a_single_wild_frame_is_bridged() -> None:
    """One frame that shouts elsewhere does not pull a narrow path away."""
    score = np.zeros((9, 40), dtype=np.float32)
    score[:, 10] = 3.0
    score[4, 35] = 8.0
    path, _ = best_path(score, np.ones(8), 1.0)
    assert path.tolist() == [10] * 9


def test_a_gap_allows_a_longer_step() -> None:
    """Over 16 hops the usual change is 4 times that of one hop."""
    score = np.zeros((2, 30), dtype=np.float32)
    score[0, 5] = score[1, 9] = 5.0
    near, _ = best_path(score, np.array([1.0]), 1.0)
    far, _ = best_path(score, np.array([16.0]), 1.0)
    assert near.tolist() != [5, 9]
    assert far.tolist() == [5, 9]


def test_the_top_of_a_parabola_is_found_exactly() -> None:
    """Scores -(c - 4.3)² have their top at 4.3, and the clipped end stays inside."""
    score = -((np.arange(9, dtype=np.float32) - 4.3) ** 2)[None, :]
    assert between_cells(score, np.array([4]))[0] == pytest.approx(4.3, abs=1e-5)
    assert 0.0 <= between_cells(score, np.array([0]))[0] <= 1.5
