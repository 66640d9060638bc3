"""The one place where the speed of a recording is settled: given, logged or heard."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_heard import DEFAULT, HeardSpeed, hear_speed
from acoustic.recording.speed_settings import SpeedSettings
from acoustic.recording.speed_trace import SpeedTrace

LOG_MARGIN = 0.03  # a log lags and is filtered; it shows the speed to a few per cent
WANDER = 0.02  # an idle strays this far from its mean


def given_speed(rpm: float, tolerance: float, duration_s: float) -> SpeedTrace:
    """Trace of a speed the user states, the same throughout.

    Parameters
    ----------
    rpm : float
        Crankshaft speed. [1/min]
    tolerance : float
        How far off it may be, relative, as a limit; the sd is half of it. [-]
    duration_s : float
        Length of the recording. [s]

    Raises
    ------
    SpeedError
        If the speed is not above 0 or the tolerance is not from 0 to 0.3.
    """
    if not (np.isfinite(rpm) and rpm > 0):
        raise SpeedError(
            f"Engine speed {rpm:g} rpm: it must be above 0. Give the speed at which the clip "
            "was recorded."
        )
    if not 0 <= tolerance <= 0.3:
        raise SpeedError(
            f"Speed tolerance {tolerance:g}: it must lie from 0 to 0.3 (30 %). Leave the speed "
            "out to have it heard from the sound."
        )
    ends = np.array([0.0, max(duration_s, 1e-3)])
    speed = np.full(2, rpm / 60)
    note = f"given: {rpm:.0f} rpm within {100 * tolerance:.1f} %"
    return SpeedTrace(ends, speed, "given", tolerance / 2, note=note)


def speed_of(
    recording: Recording,
    stretches: Stretches,
    engine: Engine,
    given_rpm: float | None = None,
    tolerance: float = 0.05,
    log_trace: SpeedTrace | None = None,
    settings: SpeedSettings = DEFAULT,
) -> HeardSpeed:
    """Settle the speed of a recording from all there is.

    A log in step with the recording, or a given speed, says where to listen; what is heard
    there follows the engine more closely than either. Where nothing is heard there, the
    log or the given speed itself is kept.

    Parameters
    ----------
    recording, stretches, engine
        As for `hear_speed`.
    given_rpm : float, optional
        Speed stated by the user. [1/min]
    tolerance : float
        How far off it may be, relative. [-]
    log_trace : SpeedTrace, optional
        A log already in step with the recording; goes before `given_rpm`.
    settings : SpeedSettings

    Raises
    ------
    SpeedError
        If the given speed or its tolerance makes no sense.
    """
    if log_trace is not None:
        known, margin = log_trace, max(LOG_MARGIN, 3 * log_trace.uncertainty)
    elif given_rpm is not None:
        known = given_speed(given_rpm, tolerance, recording.duration_s)
        margin = tolerance + WANDER
    else:
        return hear_speed(recording, stretches, engine, settings)
    if engine.motor:
        # A motor has no firing; what could be followed is the mains and worn bearings.
        return HeardSpeed(known, float("nan"), known.note)
    low = 60 * float(known.speed_hz.min()) * (1 - margin)
    high = 60 * float(known.speed_hz.max()) * (1 + margin)
    heard = hear_speed(recording, stretches, engine, settings, (low, high))
    if heard.trace is not None:
        return _followed(known, heard, heard.trace)
    return _kept(known, hear_speed(recording, stretches, engine, settings), settings)


def _followed(known: SpeedTrace, heard: HeardSpeed, trace: SpeedTrace) -> HeardSpeed:
    """Return the known speed as followed by ear."""
    word = "logged" if known.source == "log" else "given"
    note = f"{word}, then followed by ear: {trace.mean_rpm:.0f} rpm"
    return replace(heard, trace=replace(trace, source=known.source, note=note), reason=note)


def _kept(known: SpeedTrace, free: HeardSpeed, settings: SpeedSettings) -> HeardSpeed:
    """Return the known speed as it is, and say so where the sound speaks against it."""
    note = f"{known.note}; kept as it is, no engine orders were heard there"
    instead = None
    if free.trace is not None and free.confidence > settings.sure_gap:
        instead = free.best_rpm
        note += f". The sound fits {instead:.0f} rpm: check the speed"
    trace = replace(known, note=note)
    return replace(free, trace=trace, reason=note, contradicts_rpm=instead)
