"""Lengths of clips and what tolerance allows, worked by hand."""

import math

import pytest

from acoustic.casework.clip_length import (
    FAINT_S,
    clip_seconds,
    clip_turns,
    family_sd,
    least_apart,
    recording_seconds,
    turns_to_part,
)
from acoustic.drive.expected import expected_families

SLIP_SD = 0.03 / math.sqrt(12)  # uniform from 0 to 3 %


def test_a_twentieth_of_an_order():
    """Two bins of a Hann window: 2 / 0.05 = 40 turns; 40 x 9 / 2 = 180 turns for eight."""
    assert turns_to_part(0.05) == 40
    assert clip_turns(40) == 180


@pytest.mark.parametrize(("rpm", "seconds"), [(800, 13.5), (2000, 5.4)])
def test_time_is_turns_over_speed(rpm, seconds):
    """180 turns take 60 x 180 / 800 = 13.5 s at idle, 5.4 s at 2000."""
    assert clip_seconds(40, rpm) == pytest.approx(seconds)


def test_a_recording_is_long_enough_for_resolution_and_for_faint_tones():
    """64 turns need 288 in all: 21.6 s at 800 rpm, asked as 25; at 2000 8.64 s, so 20."""
    assert recording_seconds(64, 800) == 25
    assert recording_seconds(64, 2000) == FAINT_S == 20


@pytest.mark.parametrize(("diameter", "apart"), [(0.01, 0.044), (0.003, 0.030)])
def test_tolerance_limits_what_time_cannot(diameter, apart):
    """3.3 sd of diameter and slip: 4.4 % for caliper diameters, 3.0 % for drawn ones."""
    sd = math.hypot(diameter, SLIP_SD)
    assert least_apart(sd, sd) == pytest.approx(apart, abs=5e-4)


def test_a_gear_train_is_exact(rear_six):
    """Gears neither slip nor have a diameter that could be off."""
    mesh = next(f for f in expected_families(rear_six) if f.part == "gears to accessory shaft")
    assert family_sd(rear_six, mesh) == 0


def test_the_sd_of_an_idler_s_lines(front_four):
    """Crank 0.3 % and idler 0.6 % in diameter, belt line small, and slip 3 % / sqrt 12."""
    family = next(f for f in expected_families(front_four) if f.part == "flat idler")
    by_hand = math.sqrt(0.003**2 + 0.006**2 + SLIP_SD**2 + family.own_tolerance**2)
    assert family_sd(front_four, family) == pytest.approx(by_hand, rel=0.15)
