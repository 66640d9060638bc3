"""Pitch diameters: from what was measured to the circle on which the belt runs.

Speed ratios follow from pitch diameters, not from what a caliper reads (SAE J1459 calls
the latter a common mistake):

* rib side, effective diameter d_e: d_p = d_e + 2 b_e, nominal b_e = 2 mm for profile PK
  (ISO 9981:2020, 5.4);
* rib side, caliper over the ribs: the rounded tips lie 0 to 0.885 mm in diameter below d_e
  (geometry of SAE J1459), so half of that is added and the rest is tolerance;
* tape round the belt lying on the pulley, divided by pi: d_p = d - 2 t_b;
* flat pulley under the belt's back: d_p = d + 2 t_b, with t_b from back to cord.
"""

from __future__ import annotations

import math

from acoustic.tables.rows import BeltProfile

# Relative standard deviations of a diameter by how it was measured [-].
# Common practice, no source: reading error and wear on pulleys of 50 to 200 mm.
MEASURED_TOLERANCE = {
    "drawing": 0.003,
    "caliper over ribs": 0.010,
    "tape round the belt": 0.007,
    "flat back-side pulley": 0.006,
    "estimate": 0.05,
    "not said": 0.02,
}
RATIO_TOLERANCE = 0.005  # a tachometer or strobe on both shafts: common practice, no source
LONGEST_TIP_RADIUS_MM = 0.48  # tip radius of the SAE J1459 example
_BACK_TO_CORD_SD_MM = 0.17  # t_b is known to about +-0.3 mm: common practice, no source


def groove_diameters_mm(profile: BeltProfile, tip_radius_mm: float) -> tuple[float, float]:
    """Ridge-apex and tip diameter less the diameter over the check balls' inner side D_b.

    Half groove angle phi, check ball radius r, pitch e: the ball's top lies r / sin(phi) + r
    above the apex of the groove, the ridge apex (e / 2) / tan(phi), a rounded tip
    r_t (1 / sin(phi) - 1) lower. SAE J1459-2022.

    Returns
    -------
    (float, float)
        Ridge-apex diameter and tip diameter, each less the diameter over balls. [mm]
    """
    phi = math.radians(profile.groove_angle_deg / 2)
    ball = profile.check_ball_mm / 2
    over_ball = ball / math.sin(phi) + ball
    ridge = profile.rib_pitch_mm / 2 / math.tan(phi)
    tip = ridge - tip_radius_mm * (1 / math.sin(phi) - 1)
    return 2 * (ridge - over_ball), 2 * (tip - over_ball)


def tip_correction_mm(profile: BeltProfile) -> float:
    """Mean of what a caliper over the ribs reads below the effective diameter. [mm]

    The tip circle equals d_e at the least tip radius and lies below it for a larger one.
    """
    _, sharp = groove_diameters_mm(profile, profile.tip_radius_min_mm)
    scale = LONGEST_TIP_RADIUS_MM / 0.25  # largest against least tip radius of profile PK
    _, round_ = groove_diameters_mm(profile, profile.tip_radius_min_mm * scale)
    return (sharp - round_) / 2


def pitch_diameter_mm(
    diameter_mm: float, measured: str, profile: BeltProfile, back_side: bool
) -> float:
    """Pitch diameter from a measured one. [mm]

    Parameters
    ----------
    diameter_mm : float
        As measured; a tape's reading divided by pi.
    measured : str
        One of the keys of `MEASURED_TOLERANCE`.
    back_side : bool
        True where the flat back of the belt runs on the pulley.
    """
    if measured == "tape round the belt":
        # The tape lies on the back, or on the ribs where the back faces the pulley.
        over = profile.back_to_cord_mm
        return diameter_mm - 2 * (profile.belt_height_mm - over if back_side else over)
    if back_side:
        return diameter_mm + 2 * profile.back_to_cord_mm
    if measured == "caliper over ribs":
        diameter_mm += tip_correction_mm(profile)
    return diameter_mm + 2 * profile.line_differential_mm


def diameter_tolerance(pitch_mm: float, measured: str, back_side: bool) -> float:
    """Relative standard deviation of a pitch diameter. [-]

    Under the belt's back the distance from back to cord is uncertain as well, unless the
    way of measuring already counts it in.
    """
    own = MEASURED_TOLERANCE[measured]
    if back_side and measured != "flat back-side pulley":
        return math.hypot(own, 2 * _BACK_TO_CORD_SD_MM / pitch_mm)
    return own


def rim_diameter_mm(pitch_mm: float, profile: BeltProfile, back_side: bool) -> float:
    """Outside diameter of a pulley from its pitch diameter, for drawing. [mm]"""
    inward = profile.back_to_cord_mm if back_side else profile.line_differential_mm
    return max(pitch_mm - 2 * inward, 1.0)


def slip_ratio(driver_pitch_mm: float, driven_pitch_mm: float, slip: float = 0.0) -> float:
    """Speed of the driven over the driving pulley: d_1 / d_2 (1 - s).

    Examples
    --------
    >>> slip_ratio(154.0, 59.0)
    2.610169
    """
    return driver_pitch_mm / driven_pitch_mm * (1 - slip)
