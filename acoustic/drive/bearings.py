"""Rolling bearings: race, ball and cage orders with either or both rings turning.

With g = D_w / D_pw cos(alpha), f_i and f_o the speeds of the inner and the outer ring
(NSK catalogue, Table 15.6; the identities hold for any speeds):

* cage  f_c  = [f_i (1 - g) + f_o (1 + g)] / 2
* BPFO       = Z / 2 |f_i - f_o| (1 - g)
* BPFI       = Z / 2 |f_i - f_o| (1 + g)
* BSF        = D_pw / (2 D_w) |f_i - f_o| (1 - g^2); a ball defect strikes at 2 BSF.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from acoustic.drive.drive import BearingGeometry
from acoustic.tables.rows import BearingRow

# Ball diameter over section height (D - d) / 2 of deep-groove bearings lies between 0.53
# and 0.64 (14 sizes, from catalogue ratings); used where only the balls were counted.
_BALL_OF_SECTION = 0.585


@dataclass(frozen=True, slots=True)
class BearingOrders:
    """Orders of one bearing, in the unit of the ring speeds handed in."""

    bpfo: float
    bpfi: float
    bsf: float
    cage: float


def bearing_orders(
    geometry: BearingGeometry, inner_turn: float, outer_turn: float
) -> BearingOrders:
    """Orders (or frequencies) from geometry and ring speeds.

    Parameters
    ----------
    geometry : BearingGeometry
    inner_turn, outer_turn : float
        Signed speed of each ring, 0 for one that stands still; in orders or Hz.

    Returns
    -------
    BearingOrders
        In the same unit; the cage unsigned.
    """
    slope = math.cos(math.radians(geometry.contact_angle_deg))
    ratio = geometry.ball_diameter_mm / geometry.pitch_diameter_mm * slope
    relative = abs(inner_turn - outer_turn)
    half = geometry.ball_count / 2 * relative
    return BearingOrders(
        bpfo=half * (1 - ratio),
        bpfi=half * (1 + ratio),
        bsf=geometry.pitch_diameter_mm
        / (2 * geometry.ball_diameter_mm)
        * relative
        * (1 - ratio**2),
        cage=abs(inner_turn * (1 - ratio) + outer_turn * (1 + ratio)) / 2,
    )


def find_designation(
    designation: str, table: Mapping[str, tuple[BearingRow, ...]]
) -> tuple[BearingRow, ...]:
    """Rows of a designation; seal, clearance and cage suffixes are set aside.

    Examples
    --------
    >>> from acoustic.tables.knowledge import load_knowledge
    >>> find_designation("6203-2RS/C3", load_knowledge().bearings)[0].ball_count
    8
    """
    written = designation.strip()
    for candidate in (written, written.upper()):
        if candidate in table:
            return table[candidate]
    match = re.match(r"\d{4,5}", written)
    return table.get(match.group(), ()) if match else ()


def geometry_of(row: BearingRow) -> BearingGeometry | None:
    """Geometry of a table row, or None where its internals are not published."""
    if row.ball_count is None or row.ball_diameter_mm is None or row.pitch_diameter_mm is None:
        return None
    return BearingGeometry(
        designation=row.designation
        if row.variant == "usual"
        else f"{row.designation} ({row.variant})",
        ball_count=row.ball_count,
        ball_diameter_mm=row.ball_diameter_mm,
        pitch_diameter_mm=row.pitch_diameter_mm,
        contact_angle_deg=row.contact_angle_deg,
        source=row.source,
    )


def estimate_geometry(row: BearingRow, ball_count: int) -> BearingGeometry | None:
    """Geometry from outside dimensions and counted balls, good to about 2 % in BPFO.

    Returns None where the row has no dimensions.
    """
    if row.bore_mm is None or row.outside_mm is None:
        return None
    return BearingGeometry(
        designation=f"{row.designation} ({ball_count} balls counted)",
        ball_count=ball_count,
        ball_diameter_mm=_BALL_OF_SECTION * (row.outside_mm - row.bore_mm) / 2,
        pitch_diameter_mm=(row.outside_mm + row.bore_mm) / 2,
        contact_angle_deg=row.contact_angle_deg,
        source="estimated from the outside dimensions and the counted balls",
    )


def distinct_geometries(
    variants: tuple[BearingGeometry, ...], within: float = 0.01
) -> tuple[BearingGeometry, ...]:
    """Variants whose race orders differ by more than `within`, the usual one first."""
    kept: list[BearingGeometry] = []
    for variant in variants:
        own = bearing_orders(variant, 1.0, 0.0)
        others = (bearing_orders(other, 1.0, 0.0) for other in kept)
        if all(
            abs(own.bpfo / other.bpfo - 1) > within or abs(own.bpfi / other.bpfi - 1) > within
            for other in others
        ):
            kept.append(variant)
    return tuple(kept)
