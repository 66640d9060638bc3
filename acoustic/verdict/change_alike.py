"""Whether recordings may be compared at all: same place, speed, loads, device and codec.

Levels are not comparable across codecs: steady tones came out of Opus in its voice mode 1 to
22 dB lower, out of AMR 1 to 13 dB, out of AAC, MP3 and Opus for music within 1 dB (own
measurements). What differs is refused, not corrected for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from acoustic.errors import CaseError
from acoustic.verdict.change_values import Take

SAME_SPEED = 0.03
_SAME_BAND = 0.3
_LOSSLESS = ("pcm", "flac", "alac", "wavpack")


def require_alike(before: Sequence[Take], after: Sequence[Take]) -> tuple[str, ...]:
    """Notes on what was taken for granted.

    Raises
    ------
    CaseError
        If the recordings cannot be compared; names all that differs and what to record again.
    """
    if not before or not after:
        side = "after" if before else "before"
        raise CaseError(
            f"No recording from {side} the repair is given. Give at least one, better three, of "
            "each side, taken at the same point and speed."
        )
    takes = [*before, *after]
    faults = [fault for take in takes if (fault := _unusable(take))]
    if not faults:
        faults = [*_stages(before, after), *_differences(takes)]
    if faults:
        raise CaseError("\n".join(["These recordings cannot be compared.", *faults]))
    return _taken_for_granted(takes)


def against(before: Sequence[Take]) -> Literal["before", "healthy"]:
    """What the recordings after are held against."""
    return "healthy" if all(take.taken.stage == "healthy" for take in before) else "before"


def codec_family(codec: str) -> str:
    """Codecs whose levels may be compared bear the same name.

    >>> codec_family("pcm_s16le"), codec_family("flac"), codec_family("aac")
    ('lossless', 'lossless', 'aac')
    """
    return "lossless" if codec.startswith(_LOSSLESS) or not codec else codec


def _unusable(take: Take) -> str:
    heard = take.heard
    if heard.speed is not None and heard.spectrum is not None:
        return ""
    unfit = [remark.message for remark in heard.quality if remark.severity == "unfit"]
    why = unfit[0] if unfit else heard.speed_reason or "the engine speed is not known"
    return f"{heard.recording.name}: {why.rstrip('.')}. Record it again or give its speed."


def _stages(before: Sequence[Take], after: Sequence[Take]) -> list[str]:
    stages = {take.taken.stage for take in before}
    faults = []
    if "after" in stages or len(stages) > 1:
        faults.append(
            "The recordings before are not all of one stage. Take those from before the repair, "
            "or those of a healthy drive, not both."
        )
    if any(take.taken.stage == "healthy" for take in after):
        faults.append("A recording of a healthy drive stands among those after: put it before.")
    return faults


def _differences(takes: Sequence[Take]) -> list[str]:
    asked: tuple[tuple[str, Callable[[Take], str], str], ...] = (
        ("point", lambda t: t.taken.point or "in front of the drive", "at the same marked point"),
        (
            "contact",
            lambda t: "resting on the part" if t.taken.contact else "held in the air",
            "with the phone in the same way on the part or in the air",
        ),
        ("loads", lambda t: ", ".join(t.taken.loads) or "none on", "with the same loads on"),
        ("device", lambda t: t.taken.device, "with the same phone"),
        (
            "codec",
            lambda t: codec_family(t.heard.recording.codec),
            "with the same recorder and setting: codecs change levels, voice notes by 20 dB",
        ),
    )
    faults = []
    for name, value, again in asked:
        fault = _difference(takes, name, value, again)
        if fault:
            faults.append(fault)
    return faults or [fault for fault in (_speeds(takes), _bands(takes)) if fault]


def _difference(takes: Sequence[Take], name: str, value: Callable[[Take], str], again: str) -> str:
    said = [(value(take), take.heard.recording.name) for take in takes if value(take)]
    named: dict[str, str] = {}
    for text, recording in said:
        named.setdefault(text, recording)
    if len(named) <= 1:
        return ""
    which = "; ".join(f"{recording}: {text}" for text, recording in named.items())
    return f"The {name} differs ({which}). Record one side again {again}."


def _speeds(takes: Sequence[Take]) -> str:
    """Speeds within 3 % of each other, or sweeps that overlap."""
    means = [(t.heard.speed.mean_rpm, t) for t in takes if t.heard.speed is not None]
    slow, fast = (choose(means, key=lambda pair: pair[0]) for choose in (min, max))
    if fast[0] / slow[0] <= 1.0 + SAME_SPEED:
        return ""
    low_hz, high_hz = common_speeds_hz(takes)
    if high_hz > low_hz * (1.0 + SAME_SPEED):
        return ""
    return (
        f"The speed differs ({slow[1].heard.recording.name}: {slow[0]:.0f} rpm; "
        f"{fast[1].heard.recording.name}: {fast[0]:.0f} rpm), and they have none in common. "
        f"Record one side again within 3 % of the other's speed."
    )


def common_speeds_hz(takes: Sequence[Take]) -> tuple[float, float]:
    """Speeds all recordings went through; all speeds where their means agree. [Hz]"""
    speeds = [take.heard.speed for take in takes if take.heard.speed is not None]
    means = [speed.mean_rpm for speed in speeds]
    if max(means) / min(means) <= 1.0 + SAME_SPEED:
        return 0.0, float("inf")
    return max(s.low_rpm for s in speeds) / 60.0, min(s.high_rpm for s in speeds) / 60.0


def _bands(takes: Sequence[Take]) -> str:
    tops = [(t.heard.spectrum.highest_hz, t) for t in takes if t.heard.spectrum is not None]
    low, high = (choose(tops, key=lambda pair: pair[0]) for choose in (min, max))
    if high[0] <= low[0] * (1.0 + _SAME_BAND):
        return ""
    return (
        f"The recordings end at different frequencies ({low[1].heard.recording.name}: "
        f"{low[0]:.0f} Hz; {high[1].heard.recording.name}: {high[0]:.0f} Hz): another recorder "
        "or bit rate. Record one side again with the same setting."
    )


def _taken_for_granted(takes: Sequence[Take]) -> tuple[str, ...]:
    notes = []
    if not all(take.taken.device for take in takes):
        notes.append("The device is not said for every recording: taken to be the same phone.")
    if not any(take.taken.point for take in takes):
        notes.append("No point is said: taken to be the same place in front of the drive.")
    return tuple(notes)
