"""Lattices of what the shafts of a drive share."""

import numpy as np
import pytest

from acoustic.verdict.unknowns import (
    OFFSET_STEP,
    SHARED_STEP,
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)

CREEP = 0.0015


@pytest.fixture(scope="module")
def families(family):
    """Pump, idler and fan on one belt, the idler with two mechanisms."""
    return [
        family("pump", [11.3]),
        family("idler", [2.2]),
        family("idler", [6.6], mechanism="race"),
        family("fan", [9.4]),
    ]


@pytest.fixture(scope="module")
def drive(drive_with):
    """Slip up to 3 %, pulleys known to 0.3 %, the fan's only to 1 %."""
    return drive_with(slip=0.03, pump=0.003, idler=0.003, fan=0.01)


@pytest.fixture(scope="module")
def belt(drive, families):
    """The belt's shared offset."""
    return belt_offset(drive, "main", shared_unknowns(families, "main"))


def _group(drive, families, belt, part):
    key = group_key(next(f for f in families if f.part == part))
    return shaft_group(drive, key, (0, belt), shared_unknowns(families, "main"))


def test_families_of_one_shaft_share_their_offset(families) -> None:
    """Both idler mechanisms have one key; the pump's is another."""
    keys = [group_key(f) for f in families]
    assert keys[1] == keys[2]
    assert len(set(keys)) == 3


def test_only_what_all_depend_on_is_shared(families) -> None:
    """The belt's slip is everybody's, a pulley's diameter its own."""
    assert shared_unknowns(families, "main") == {"slip main": -1.0}


def test_a_drive_without_belt_has_no_slip(drive, family) -> None:
    """Gears and couplings: one point at 0."""
    geared = [family("pump", [3.0], belt=None)]
    assert shared_unknowns(geared, None) == {}
    offset = belt_offset(drive, None, {})
    assert offset.offset.tolist() == [0.0]
    assert offset.prior.tolist() == [1.0]


def test_the_belts_lattice_spans_slip_and_creep(belt) -> None:
    """From -3.15 % (all slip) to about 0, even steps, prior summing to 1."""
    assert belt.prior.sum() == pytest.approx(1.0)
    assert np.diff(belt.offset) == pytest.approx(SHARED_STEP)
    assert belt.offset[0] <= -0.03 - CREEP + SHARED_STEP
    assert belt.offset[-1] >= -CREEP - SHARED_STEP
    mean = float(belt.prior @ belt.offset)
    assert mean == pytest.approx(-0.015 - CREEP, abs=3e-4)
    sd = np.sqrt(float(belt.prior @ (belt.offset - mean) ** 2))
    assert sd == pytest.approx(0.03 / np.sqrt(12), rel=0.05)


@pytest.mark.parametrize("part", ["pump", "fan"])
def test_densities_sum_to_one(drive, families, belt, part) -> None:
    """For every slip of the belt the shaft is somewhere."""
    group = _group(drive, families, belt, part)
    assert group.given_shared.shape == (belt.offset.size, group.offset.size)
    assert group.given_shared.sum(axis=1) == pytest.approx(1.0)
    assert np.diff(group.offset) == pytest.approx(OFFSET_STEP)


def test_a_shafts_own_tolerance_is_its_pulleys(drive, families, belt) -> None:
    """Given the slip: 0.3 % of diameter with speed error and wander; 1 % for the fan."""
    for part, diameter in (("pump", 0.003), ("fan", 0.01)):
        group = _group(drive, families, belt, part)
        row = belt.offset.size // 2
        given = group.given_shared[row]
        mean = float(given @ group.offset)
        sd = np.sqrt(float(given @ (group.offset - mean) ** 2))
        assert mean == pytest.approx(belt.offset[row], abs=2e-4)
        assert sd == pytest.approx(np.sqrt(diameter**2 + 6e-4**2 + 9e-4**2), rel=0.03)


def test_the_shafts_lattice_spans_all_that_can_happen(drive, families, belt) -> None:
    """All slip with the pulley 3 sd off at both ends."""
    group = _group(drive, families, belt, "fan")
    assert group.offset[0] < -0.03 - CREEP - 0.028
    assert group.offset[-1] > -CREEP + 0.028


def test_two_belts_in_series_add_up(drive_with, family) -> None:
    """A shaft behind a second slip: mean and spread those of the sum of both, by hand."""
    drive = drive_with(slip=0.03, pump=0.003, second=0.003)
    drive.unknowns["slip second"] = drive.unknowns["slip main"]
    first = family("pump", [11.3])
    behind = family("second", [4.0])
    behind.depends_on["slip second"] = -1.0
    families = [first, family("fan", [9.4], own_diameter="second"), behind]
    shared = shared_unknowns(families, "main")
    belt = belt_offset(drive, "main", shared)
    group = shaft_group(drive, group_key(behind), (0, belt), shared)
    density = belt.prior @ group.given_shared
    mean = float(density @ group.offset)
    sd = np.sqrt(float(density @ (group.offset - mean) ** 2))
    assert mean == pytest.approx(-0.03 - CREEP, abs=5e-4)
    assert sd == pytest.approx(np.sqrt(2 * 0.03**2 / 12 + 0.003**2), rel=0.06)
