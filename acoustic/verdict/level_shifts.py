"""How loud a source is expected at another place of the phone or with a load switched on."""

from __future__ import annotations

from collections.abc import Mapping

from acoustic.recording.taken import Taken

OWN_POINT_DB = 5.0
OTHER_POINT_DB = -5.0
"""At a part's own probe point it is louder against the rest, all others are softer there.

Common practice, no source; the same in the open is 0.
"""


def level_shift_db(part: str, load_db: Mapping[str, float], taken: Taken) -> float:
    """Level of a source against where it is heard in front of the drive, unloaded. [dB]

    Parameters
    ----------
    part : str
        The part that makes the sound.
    load_db : mapping of str to float
        By how much each load switched on makes it louder. [dB]
    taken : Taken
        How the recording was taken.
    """
    loaded = sum(load_db.get(load, 0.0) for load in taken.loads)
    if not taken.point:
        return loaded
    return loaded + (OWN_POINT_DB if taken.point == part else OTHER_POINT_DB)
