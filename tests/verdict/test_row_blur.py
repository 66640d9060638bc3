"""Smearing down the rows of a table."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from acoustic.verdict.row_blur import blurred_rows


@pytest.mark.parametrize("rows", [1, 5, 32, 33, 167])
@pytest.mark.parametrize("sd", [0.3, 2.0, 6.7])
def test_rows_are_smeared_as_by_scipys_filter(rows, sd) -> None:
    """Values over forty powers of ten: each as scipy gives it, to the last digits."""
    values = 10 ** np.random.default_rng(rows).uniform(0.0, 40.0, (rows, 4))
    whole = gaussian_filter1d(values, sd, axis=0, mode="nearest", truncate=2.5)
    assert blurred_rows(values, sd, 2.5) == pytest.approx(whole, rel=1e-12)
