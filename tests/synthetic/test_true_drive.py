"""True slips and diameters of a scene."""

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.synthetic.true_drive import draw_true_drive, shift_slips, true_factor


def test_every_unknown_gets_a_value_within_its_range(drive: Drive) -> None:
    """200 draws stay inside what the drive allows, and spread over it."""
    rng = np.random.default_rng(3)
    families = expected_families(drive)
    drawn = [draw_true_drive(drive, families, rng).unknowns for _ in range(200)]
    for name, unknown in drive.unknowns.items():
        values = np.array([values[name] for values in drawn])
        assert (values >= unknown.low).all()
        assert (values <= unknown.high).all()
        assert values.std() == pytest.approx(unknown.sd, rel=0.2)


def test_slip_slows_the_shaft_behind_the_belt(drive: Drive) -> None:
    """With true diameters and 2 % slip the pump turns at 98 % of its nominal speed."""
    values = dict.fromkeys(drive.unknowns, 0.0)
    slips = [name for name, unknown in drive.unknowns.items() if unknown.kind == "slip"]
    values[slips[0]] = 0.02
    pump = next(f for f in expected_families(drive) if f.part == "pump")
    assert true_factor(pump.depends_on, values, drive) == pytest.approx(0.98)


def test_another_recording_changes_only_the_slip(drive: Drive, rng: np.random.Generator) -> None:
    """Diameters are what they are; the slip moves, but stays in range."""
    true_drive = draw_true_drive(drive, expected_families(drive), rng)
    shifted = shift_slips(drive, true_drive, 0.05, rng)
    for name, unknown in drive.unknowns.items():
        if unknown.kind == "slip":
            assert unknown.low <= shifted[name] <= unknown.high
            assert shifted[name] != true_drive.unknowns[name]
        else:
            assert shifted[name] == true_drive.unknowns[name]
