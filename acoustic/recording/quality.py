"""What limits a recording, how much, and what to do about it at the engine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from acoustic.recording.codec_band import (
    SPEECH_CODEC_RELIABLE_HZ,
    codec_cutoff_hz,
    is_speech_codec,
)
from acoustic.recording.frame_levels import FrameLevels, frame_levels
from acoustic.recording.level_checks import LevelLimits, check_levels, used_level_dbfs
from acoustic.recording.recording import QualityRemark, Recording, Stretches
from acoustic.recording.remarks import Severity, make_remark
from acoustic.recording.speed_trace import SpeedTrace

__all__ = ["QualitySettings", "check_recording", "codec_cutoff_hz"]

_GRAVITY = ("unfit", "weak", "note")

# What a graver remark already explains is not said again.
_EXPLAINS = {
    "near_silence": ("no_engine", "levels_ride"),
    "noise_suppressed": ("wind", "speech", "levels_ride", "gated", "moved"),
}


@dataclass(frozen=True, slots=True)
class QualitySettings:
    """Limits of the checks.

    Attributes
    ----------
    levels : LevelLimits
    shortest_s : float
        Less steady sound than this cannot be screened. [s]
    short_s : float
        Less than this loses weak tones: at 10 s half of those 17 dB under the noise of
        their critical band are seen, at 20 s of those 20 dB under (made sound). [s]
    low_cut_hz, cut_hz : float
        A codec cut under these is a weakness, or worth a note. [Hz]
    quiet_without_speed_dbfs : float
        Fainter than this and no speed heard: there is no engine. [dB re full scale]
    wander_note, wander_weak, sweep : float
        Relative scatter of the speed, and relative span from which it is a sweep.
    sure_gap : float
        Score gap of a heard speed from which it is certain.
    """

    levels: LevelLimits = field(default_factory=LevelLimits)
    shortest_s: float = 2.0
    short_s: float = 10.0
    low_cut_hz: float = 8500.0
    cut_hz: float = 15000.0
    quiet_without_speed_dbfs: float = -50.0
    wander_note: float = 0.015
    wander_weak: float = 0.03
    sweep: float = 0.15
    sure_gap: float = 8.0


def check_recording(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace | None,
    settings: QualitySettings = QualitySettings(),
    levels: FrameLevels | None = None,
) -> tuple[QualityRemark, ...]:
    """Check a recording for everything that limits what can be heard in it.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Of this recording.
    speed : SpeedTrace or None
        None if the speed could not be heard.
    settings : QualitySettings
    levels : FrameLevels, optional
        Its `frame_levels`, where they are known already.

    Returns
    -------
    tuple of QualityRemark
        Worst first; ``"unfit"`` only where screening is pointless. What reading the file
        showed stands in ``recording.remarks`` and is not repeated here.
    """
    levels = frame_levels(recording) if levels is None else levels
    remarks = [
        *check_levels(recording, levels, stretches, settings.levels),
        *_check_engine(levels, stretches, speed, settings),
        *_check_length(recording, stretches, settings),
        *_check_codec(recording, settings),
        *_check_surroundings(stretches),
        *_check_speed(speed, settings),
    ]
    codes = {remark.code for remark in remarks}
    explained = {code for code in codes & _EXPLAINS.keys() for code in _EXPLAINS[code]}
    remarks = [remark for remark in remarks if remark.code not in explained]
    return tuple(sorted(remarks, key=lambda remark: _GRAVITY.index(remark.severity)))


def _check_engine(
    levels: FrameLevels,
    stretches: Stretches,
    speed: SpeedTrace | None,
    settings: QualitySettings,
) -> Iterator[QualityRemark]:
    level = used_level_dbfs(levels, stretches)
    if speed is None and level < settings.quiet_without_speed_dbfs:
        yield make_remark("no_engine", "unfit", level, level_dbfs=level)


def _check_length(
    recording: Recording, stretches: Stretches, settings: QualitySettings
) -> Iterator[QualityRemark]:
    used_s, all_s = stretches.used_s, recording.duration_s
    if used_s < settings.shortest_s:
        needed_s = settings.shortest_s
        yield make_remark("too_short", "unfit", used_s, used_s=used_s, needed_s=needed_s)
    elif used_s < settings.short_s:
        yield make_remark("short", "weak", used_s, used_s=used_s)
    if stretches.left_out and used_s < 0.5 * all_s:
        reasons = ", ".join(_seconds_by_reason(stretches))
        yield make_remark(
            "much_left_out", "weak", used_s, used_s=used_s, all_s=all_s, reasons=reasons
        )


def _seconds_by_reason(stretches: Stretches) -> list[str]:
    """Reasons with their seconds, longest first."""
    seconds: dict[str, float] = {}
    for part in stretches.left_out:
        seconds[part.reason] = seconds.get(part.reason, 0.0) + part.end_s - part.start_s
    longest = sorted(seconds.items(), key=lambda item: -item[1])
    return [f"{reason}: {length:.0f} s" for reason, length in longest]


def _check_codec(recording: Recording, settings: QualitySettings) -> Iterator[QualityRemark]:
    codec = recording.codec or "unknown codec"
    if is_speech_codec(codec):
        reliable_hz = SPEECH_CODEC_RELIABLE_HZ
        yield make_remark("voice_codec", "weak", None, codec=codec, reliable_hz=reliable_hz)
    if recording.sample_rate_hz <= 8000:
        rate_hz = recording.sample_rate_hz
        yield make_remark("telephone_band", "weak", rate_hz, rate_hz=rate_hz)
    cutoff_hz = codec_cutoff_hz(recording)
    if cutoff_hz is not None and cutoff_hz < settings.cut_hz:
        severity: Severity = "weak" if cutoff_hz < settings.low_cut_hz else "note"
        yield make_remark("band_cut", severity, cutoff_hz, cutoff_hz=cutoff_hz, codec=codec)


def _check_surroundings(stretches: Stretches) -> Iterator[QualityRemark]:
    seconds = {"wind": 0.0, "speech": 0.0}
    moves = 0
    for part in stretches.left_out:
        if part.code in seconds:
            seconds[part.code] += part.end_s - part.start_s
        moves += part.code == "level_jump"
    for code, length in seconds.items():
        if length > 1.0:
            yield make_remark(code, "note", length, seconds=length)
    if moves:
        yield make_remark("moved", "note", float(moves), times=moves)


def _check_speed(speed: SpeedTrace | None, settings: QualitySettings) -> Iterator[QualityRemark]:
    if speed is None:
        return
    if speed.source == "heard" and speed.confidence < settings.sure_gap:
        confidence = speed.confidence
        yield make_remark("speed_uncertain", "weak", confidence, confidence=confidence)
    low_hz, high_hz = (float(q) for q in np.quantile(speed.speed_hz, [0.05, 0.95]))
    if high_hz > (1 + settings.sweep) * low_hz:
        yield make_remark(
            "speed_sweeps", "note", high_hz / low_hz, low_rpm=60 * low_hz, high_rpm=60 * high_hz
        )
        return
    wander = float(np.std(speed.speed_hz) / np.mean(speed.speed_hz))
    if wander > settings.wander_note:
        severity: Severity = "weak" if wander > settings.wander_weak else "note"
        yield make_remark("speed_wanders", severity, wander, wander=wander)
