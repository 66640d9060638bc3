"""Before on the left ear, after on the right, equally loud."""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray

from acoustic.errors import UnfitRecordingError
from acoustic.evidence.isolate import faded
from acoustic.evidence.loudness import SILENT_LKFS, matched_pair
from acoustic.output.part_sounds import FADE_S, PEAK, PartSound, longest_piece
from acoustic.recording.recording import Recording
from acoustic.recording.stretches import find_stretches

Samples = NDArray[np.float32]


def before_after_sound(before: Recording, after: Recording) -> PartSound:
    """One stereo sound: the longest usable piece of each, matched in K-weighted loudness.

    The one with fewer samples a second is brought to the rate of the other, and it is said.

    Raises
    ------
    UnfitRecordingError
        If one of them holds nothing to listen to.
    """
    pieces = [longest_piece(one, find_stretches(one)) for one in (before, after)]
    rate_hz = max(before.sample_rate_hz, after.sample_rate_hz)
    sides: list[Samples] = []
    told = ""
    for one, (piece, _) in zip((before, after), pieces, strict=True):
        if one.sample_rate_hz != rate_hz:
            piece = soxr.resample(piece, one.sample_rate_hz, rate_hz)
            told = (
                f" {one.name} was brought from {one.sample_rate_hz:.0f} to {rate_hz:.0f} "
                "samples/s; it holds nothing above what it had."
            )
        sides.append(np.asarray(piece, dtype=np.float32))
    pair = matched_pair(sides[0], sides[1], rate_hz, PEAK)
    if min(pair.loudness_lkfs) <= SILENT_LKFS:
        raise UnfitRecordingError("One of the two recordings is silent. Record it again.")
    seconds = pair.samples.shape[0] / rate_hz
    starts = [start_s for _, start_s in pieces]
    return PartSound(
        "before-left-after-right",
        faded(pair.samples, rate_hz, FADE_S),
        rate_hz,
        f"Left ear before ({before.name} from second {starts[0]:.1f}), right ear after "
        f"({after.name} from second {starts[1]:.1f}), {seconds:.1f} s. Both equally loud by "
        "K-weighted loudness (ITU-R BS.1770, without its gates): before changed by "
        f"{pair.gains_db[0]:+.1f} dB, after by {pair.gains_db[1]:+.1f} dB. So a part that was "
        "the loudest thing before lets the rest stand out more after; only "
        f"acoustic change tells by how much it changed.{told}",
    )
