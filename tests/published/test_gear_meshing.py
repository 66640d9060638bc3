"""Gear mesh and hunting tooth: Winterton's article, Foiles's paper (abstracts), public notes."""

import pytest

from acoustic.drive.gears import chain_turn, gear_train


def test_24_teeth_drive_84() -> None:
    """24 teeth at 2000 rpm drive 84: 800 Hz mesh, 571.43 rpm, tooth repeat 4.7619 Hz."""
    train = gear_train([24, 84])
    hz = 2000 / 60
    assert train.mesh * hz == pytest.approx(800)
    assert train.ratio * 2000 == pytest.approx(571.43, abs=0.01)
    assert train.assembly_phases == (12,)
    assert train.mesh * hz / train.assembly_phases[0] == pytest.approx(66.667, abs=1e-3)
    assert train.hunting[0] * hz == pytest.approx(4.7619, abs=1e-4)


def test_13_teeth_drive_35() -> None:
    """13 teeth at 22.5 Hz drive 35: 292.5 Hz mesh, 8.35714 Hz wheel, a hunting set."""
    train = gear_train([13, 35])
    assert train.mesh * 22.5 == pytest.approx(292.5)
    assert train.ratio * 22.5 == pytest.approx(8.35714, abs=1e-5)
    assert train.assembly_phases == (1,)
    assert train.hunting[0] * 22.5 == pytest.approx(0.642857, abs=1e-6)


def test_rear_accessory_shaft() -> None:
    """48 over 37 to 32 teeth: exactly 1.5, idler 1.297297, tooth repeat 0.02703 and 0.04054."""
    train = gear_train([48, 37, 32])
    assert train.ratio == 1.5
    assert train.sense == 1
    assert train.turns[1] == pytest.approx(1.297297, abs=1e-6)
    assert train.hunting == pytest.approx((0.0270270, 0.0405405), abs=1e-7)


def test_tooth_repeat_is_not_gcd_times_speed() -> None:
    """23 on 67 teeth at 1800 rpm: 690 / (23 x 67) = 0.4478 Hz, not the 30 Hz of one glossary."""
    assert gear_train([23, 67]).hunting[0] * 30 == pytest.approx(0.4478, abs=1e-4)


def test_chain_circulation() -> None:
    """A chain of 124 links on 21 teeth comes round 21/124 times a turn (derived)."""
    assert chain_turn(21, 124) == pytest.approx(0.169355, abs=1e-6)
