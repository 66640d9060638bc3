"""How long to record, and how far two parts' lines must lie apart to be told from each other.

Time parts lines that are known exactly. Which of two parts a line belongs to is limited by
what is known of their diameters and slip, and no length of recording mends that.
"""

from __future__ import annotations

import math

from acoustic.drive.drive import Drive, ExpectedFamily

SEGMENTS = 8
"""Overlapping segments whose mean makes a steady spectrum (measured on made scenes)."""
FEWEST_TURNS = 10
"""Turns in the shortest segments of the analysis, those for the highest orders."""
FAINT_S = 20.0
"""From this length a tone 20 dB under everything beside it is found half of the time; at 5 s
it must be 7 dB louder (measured on made scenes). [s]"""
_ROUNDED_TO_S = 5.0
_HANN_BINS = 2.0  # two lines of a Hann window are told apart two bins apart
_ONE_SIDED_5_PERCENT = 1.65  # standard deviations of a normal distribution


def turns_to_part(gap_order: float) -> int:
    """Turns of the crankshaft in one segment that part two lines so far apart.

    Parameters
    ----------
    gap_order : float
        Distance of the two lines, in orders.

    Examples
    --------
    >>> turns_to_part(0.05)
    40
    """
    return math.ceil(_HANN_BINS / gap_order - 1e-9)


def clip_turns(segment_turns: float, segments: int = SEGMENTS) -> float:
    """Turns that so many segments take, each overlapping half of the next.

    >>> clip_turns(40)
    180.0
    """
    return segment_turns * (segments + 1) / 2


def clip_seconds(segment_turns: float, rpm: float, segments: int = SEGMENTS) -> float:
    """Least length of a clip at a held crankshaft speed. [s]

    >>> clip_seconds(40, 800), clip_seconds(40, 2000)
    (13.5, 5.4)
    """
    return 60.0 * clip_turns(segment_turns, segments) / rpm


def recording_seconds(segment_turns: float, rpm: float) -> float:
    """Length to ask for: what the resolution needs, and long enough for faint tones. [s]

    Rounded up to whole five seconds, as people count them.
    """
    needed = max(FAINT_S, clip_seconds(segment_turns, rpm))
    return _ROUNDED_TO_S * math.ceil(needed / _ROUNDED_TO_S - 1e-9)


def family_sd(drive: Drive, family: ExpectedFamily) -> float:
    """Relative standard deviation of where a family's lines lie. [-]

    Diameters, ratios and geometry, and the slip of its belt as a uniform.
    """
    variance = family.own_tolerance**2
    for name, slope in family.depends_on.items():
        variance += (slope * drive.unknowns[name].sd) ** 2
    return math.sqrt(variance)


def least_apart(first_sd: float, second_sd: float) -> float:
    """Least ``|ln(order / other order)|`` by which one heard line names its part. [-]

    With 5 % error each way: 3.3 standard deviations where both parts' lines are known
    equally well. Farther off than this one part's line cannot be taken for the other's.
    """
    return _ONE_SIDED_5_PERCENT * (first_sd + second_sd)
