"""A clip in which the engine is switched off: the running part, and what comes after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from acoustic.errors import SettingsError
from acoustic.recording.recording import LeftOut, Recording, Stretches
from acoustic.tables.words import left_out_words

SWITCHED_OFF = "switched_off"


def second_of_switch_off(recording: Recording, stated_s: float) -> float:
    """Moment of switching off, from the recording's first sample. [s]

    Parameters
    ----------
    recording : Recording
    stated_s : float
        The same from the start of the clip, of which `recording` may be a later part. [s]

    Raises
    ------
    SettingsError
        If it does not lie inside the recording.
    """
    first_s, last_s = recording.start_s, recording.start_s + recording.duration_s
    if not (np.isfinite(stated_s) and first_s < stated_s < last_s):
        raise SettingsError(
            f"{recording.name}: switched off at {stated_s:g} s, but the sound that is used runs "
            f"from {first_s:.1f} to {last_s:.1f} s. Give the second, counted from the start of "
            "the clip, at which the engine is switched off."
        )
    return stated_s - first_s


def cut(recording: Recording, start_s: float, end_s: float) -> Recording:
    """Seconds of a recording as a recording of their own; it knows where in the file it began."""
    first, last = (round(second * recording.sample_rate_hz) for second in (start_s, end_s))
    first_s = recording.start_s + first / recording.sample_rate_hz
    return replace(recording, samples=recording.samples[first:last], start_s=first_s)


def with_rest_left_out(running: Stretches, off_s: float, duration_s: float) -> Stretches:
    """Stretches of the running part, and the rest of the recording named as left out."""
    rest = LeftOut(off_s, duration_s, SWITCHED_OFF, left_out_words(SWITCHED_OFF))
    return replace(running, left_out=(*running.left_out, rest))
