"""What the engine's comb says for gears and chains locked to the crankshaft."""

import numpy as np
import pytest

from acoustic.drive.drive import ExpectedLine
from acoustic.evidence.comb import CombLevels
from acoustic.verdict.comb_evidence import CombEvidence

LEVELS_DB = np.array([-30.0, -6.0, 9.0])


def _evidence(above_db: float, neighbours_db: float = -10.0) -> CombEvidence:
    """Order 19 this far above its neighbours, which stand at -10 dB tone-to-noise."""
    comb = CombLevels(
        orders=np.array([18.0, 19.0, 20.0]),
        above_neighbours_db=np.array([0.0, above_db, 0.0]),
        scatter_db=np.full(3, 1.5),
        neighbour_tone_to_noise_db=np.full(3, neighbours_db),
    )
    return CombEvidence(comb)


def _mesh(order: float, probability: float = 0.9) -> ExpectedLine:
    return ExpectedLine(order, "gear mesh", probability, 0.0, True)


def test_a_mesh_as_loud_as_expected_speaks_for_its_gear() -> None:
    """A family at +9 dB over neighbours at -10 dB should stand 19 dB up, and does."""
    factor = _evidence(19.0).factor(_mesh(19.0), LEVELS_DB)
    assert factor[2] > 2.0


def test_a_loud_mesh_that_is_not_there_speaks_against() -> None:
    """No rise at order 19 where 19 dB should be: against the gear."""
    assert _evidence(0.0).factor(_mesh(19.0), LEVELS_DB)[2] < 0.8


def test_a_mesh_below_the_engines_own_line_is_no_matter() -> None:
    """20 dB under the engine's line a mesh adds 0.04 dB: its absence cannot be noticed."""
    assert _evidence(0.0).factor(_mesh(19.0), LEVELS_DB)[0] == pytest.approx(1.0, abs=0.1)


def test_a_line_off_the_comb_is_none_of_its_business() -> None:
    """Order 19.3 is no comb line, and an empty comb says nothing of any."""
    assert np.all(_evidence(19.0).factor(_mesh(19.3), LEVELS_DB) == 1.0)
    nothing = CombEvidence(CombLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0)))
    assert np.all(nothing.factor(_mesh(19.0), LEVELS_DB) == 1.0)


def test_one_comb_line_never_proves_much() -> None:
    """Engines have resonances: even 40 dB counts at most e, and nothing at most 0.6 against."""
    for above_db in (-20.0, 0.0, 12.0, 40.0):
        factor = _evidence(above_db).factor(_mesh(19.0), LEVELS_DB)
        assert np.all((factor > 0.6) & (factor < np.e))


def test_a_line_unlikely_to_be_there_says_less() -> None:
    """Half the probability, half the weight."""
    sure, half = (
        _evidence(19.0).factor(_mesh(19.0, probability), LEVELS_DB)[2] - 1.0
        for probability in (0.9, 0.45)
    )
    assert half == pytest.approx(sure / 2)
