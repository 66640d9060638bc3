"""Before and after, equally loud: one on each ear, or one after the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from acoustic.errors import UnfitRecordingError
from acoustic.evidence.isolate import faded
from acoustic.evidence.loudness import SILENT_LKFS, MatchedPair, matched_pair
from acoustic.output.part_sounds import FADE_S, PEAK, PartSound, longest_piece
from acoustic.recording.recording import Recording
from acoustic.recording.stretches import find_stretches

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class _Matched:
    """Two recordings brought to one rate and loudness, and what to say of both."""

    pair: MatchedPair
    rate_hz: float
    said: tuple[str, str]
    told: str

    @property
    def samples(self) -> Samples:
        """Faded, shape (frames, 2)."""
        return faded(self.pair.samples, self.rate_hz, FADE_S)

    @property
    def seconds(self) -> float:
        """How long. [s]"""
        return float(self.pair.samples.shape[0]) / self.rate_hz


def before_after_sound(before: Recording, after: Recording) -> PartSound:
    """One stereo sound: the longest usable piece of each, matched in K-weighted loudness.

    The one with fewer samples a second is brought to the rate of the other, and it is said.

    Raises
    ------
    UnfitRecordingError
        If one of them holds nothing to listen to.
    """
    found = _matched(before, after)
    return PartSound(
        "before-left-after-right",
        found.samples,
        found.rate_hz,
        f"Left ear before ({found.said[0]}), right ear after ({found.said[1]}), "
        f"{found.seconds:.1f} s. Both equally loud by K-weighted loudness (ITU-R BS.1770, without "
        f"its gates): before changed by {found.pair.gains_db[0]:+.1f} dB, after by "
        f"{found.pair.gains_db[1]:+.1f} dB. So a part that was the loudest thing before lets the "
        "rest stand out more after; only comparing them by figures (acoustic change, or a case's "
        f"report) tells by how much it changed.{found.told}",
    )


def before_then_after_sounds(before: Recording, after: Recording) -> tuple[PartSound, PartSound]:
    """The same two pieces each by itself, to be heard one after the other.

    Raises
    ------
    UnfitRecordingError
        If one of them holds nothing to listen to.
    """
    found = _matched(before, after)
    samples = np.ascontiguousarray(found.samples.T)
    first, second = (
        PartSound(
            f"{name}-the-repair",
            one,
            found.rate_hz,
            f"{name.capitalize()} the repair: {said}, {found.seconds:.1f} s, changed by "
            f"{gain_db:+.1f} dB to be as loud as the other by K-weighted loudness (ITU-R BS.1770, "
            f"without its gates).{found.told}",
        )
        for name, one, said, gain_db in zip(
            ("before", "after"), samples, found.said, found.pair.gains_db, strict=True
        )
    )
    return first, second


def _matched(before: Recording, after: Recording) -> _Matched:
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
    first, second = (
        f"{one.name} from second {start_s:.1f}"
        for one, (_, start_s) in zip((before, after), pieces, strict=True)
    )
    return _Matched(pair, rate_hz, (first, second), told)
