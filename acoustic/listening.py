"""One recording listened to: from its samples to tones, swelling and noises.

What a person can be told at once (is it usable, how fast did it turn) comes first, as
`first_look`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from acoustic.drive.drive import Drive
from acoustic.errors import SpeedError
from acoustic.evidence.comb import comb_levels
from acoustic.evidence.envelope import EnvelopeSettings, envelope_spectra
from acoustic.evidence.fixed_tones import spectrum_over_hz, without_fixed_lines
from acoustic.evidence.noises import HeardNoises, find_noises
from acoustic.evidence.order_spectrum import TrackingSettings, track_orders
from acoustic.evidence.run_down import switch_off_finding
from acoustic.evidence.stretch_spectrum import transformed
from acoustic.evidence.swelling import SwellingSettings, find_swelling
from acoustic.evidence.tones import ToneSettings, find_tones
from acoustic.recording.frame_levels import frame_levels
from acoustic.recording.quality import QualitySettings, check_recording, codec_cutoff_hz
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.remarks import make_remark
from acoustic.recording.speed_alignment import align_speed_log
from acoustic.recording.speed_given import speed_of
from acoustic.recording.speed_heard import HeardSpeed, SpeedSettings
from acoustic.recording.speed_log import SpeedLog
from acoustic.recording.stretches import StretchSettings, find_stretches
from acoustic.recording.switch_off import cut, second_of_switch_off, with_rest_left_out
from acoustic.recording.taken import IN_FRONT, Taken
from acoustic.verdict.joint_match import (
    HeardOrders,
)
from acoustic.verdict.suspects import Heard

_FIXED_TONE_SEGMENT_S = 2.0


@dataclass(frozen=True, slots=True)
class ListenSettings:
    """Settings of how one recording is listened to, part by part."""

    stretches: StretchSettings = field(default_factory=StretchSettings)
    speed: SpeedSettings = field(default_factory=SpeedSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    tracking: TrackingSettings = field(default_factory=TrackingSettings)
    tones: ToneSettings = field(default_factory=ToneSettings)
    envelope: EnvelopeSettings = field(default_factory=EnvelopeSettings)
    swelling: SwellingSettings = field(default_factory=SwellingSettings)


@dataclass(frozen=True, slots=True)
class Clip:
    """A recording with what is known of the engine's speed in it.

    Attributes
    ----------
    recording : Recording
    rpm : float or None
        Crankshaft speed as stated by the user; None to have it heard. [1/min]
    rpm_tolerance : float
        How far off `rpm` may be, relative. [-]
    speed_log : SpeedLog or None
        Logged speed with unknown offset; goes before `rpm`.
    switched_off_s : float or None
        Second of the clip at which the engine is switched off: the sound before it is
        screened, that after it listened to for a rattle that runs on. [s]
    taken : Taken
        Where the phone was and which loads were on. Its speed and switch-off are not read:
        they stand above.
    """

    recording: Recording
    rpm: float | None = None
    rpm_tolerance: float = 0.05
    speed_log: SpeedLog | None = None
    switched_off_s: float | None = None
    taken: Taken = IN_FRONT


@dataclass(frozen=True, slots=True, eq=False)
class Listened:
    """One recording listened to; `orders` is None if it takes no part in the match.

    `noises` is what its noises are compared with a reference by.
    """

    heard: Heard
    orders: HeardOrders | None
    noises: HeardNoises | None = None


@dataclass(frozen=True, slots=True, eq=False)
class FirstLook:
    """A recording before it is listened to closely.

    Attributes
    ----------
    heard : Heard
        Without spectra.
    usable : bool
        Whether it can be screened: nothing makes it unfit and its speed is known.
    highest_hz : float
        Up to where it holds sound. [Hz]
    """

    heard: Heard
    usable: bool
    highest_hz: float


def listen(
    clip: Clip, drive: Drive, settings: ListenSettings, tell: Callable[[str], None]
) -> Listened:
    """Take one recording from samples to tones and noises, until it is switched off and after."""
    whole, stated_s = clip.recording, clip.switched_off_s
    if stated_s is None:
        return _listen_running(clip, drive, settings, tell)
    off_s = second_of_switch_off(whole, stated_s)
    needed_s = settings.quality.shortest_s
    if off_s < needed_s:
        remark = make_remark("run_too_short", "unfit", off_s, run_s=off_s, needed_s=needed_s)
        rest = with_rest_left_out(Stretches((), ()), 0.0, whole.duration_s)
        heard = Heard(whole, None, rest, (remark,), None, (), remark.message, taken=clip.taken)
        return Listened(heard, None)
    running = replace(clip, recording=cut(whole, 0.0, off_s))
    listened = _listen_running(running, drive, settings, tell)
    stretches = with_rest_left_out(listened.heard.stretches, off_s, whole.duration_s)
    heard = replace(listened.heard, recording=whole, stretches=stretches, switched_off_s=stated_s)
    if listened.orders is None or listened.noises is None:
        return Listened(heard, None)
    tell(f"listening to {whole.name} after it is switched off")
    finding = switch_off_finding(whole, off_s, listened.orders.spectrum.highest_hz)
    noises = replace(listened.noises, findings=(*listened.noises.findings, finding))
    heard = replace(heard, noises=noises.findings)
    return Listened(heard, replace(listened.orders, noises=noises.findings), noises)


def first_look(clip: Clip, drive: Drive, settings: ListenSettings) -> FirstLook:
    """What a recording is fit for: its usable stretches, its speed and remarks on its quality.

    Quick enough to answer at the engine.

    Raises
    ------
    SpeedError
        If a stated speed makes no sense.
    """
    recording = clip.recording
    levels = frame_levels(recording)
    stretches = find_stretches(recording, settings.stretches, levels)
    cutoff_hz = codec_cutoff_hz(recording)
    speed = _speed(clip, stretches, drive, settings)
    checked = check_recording(recording, stretches, speed.trace, settings.quality, levels)
    quality = (*recording.remarks, *checked)
    heard = Heard(
        recording, speed.trace, stretches, quality, None, (), speed.reason, taken=clip.taken
    )
    unfit = any(remark.severity == "unfit" for remark in quality)
    usable = speed.trace is not None and speed.contradicts_rpm is None and not unfit
    return FirstLook(heard, usable, 0.9 * (cutoff_hz or recording.sample_rate_hz / 2))


def _listen_running(
    clip: Clip, drive: Drive, settings: ListenSettings, tell: Callable[[str], None]
) -> Listened:
    """Take one recording of a running engine from samples to tones."""
    recording = clip.recording
    tell(f"listening to {recording.name}")
    look = first_look(clip, drive, settings)
    unheard, trace = look.heard, look.heard.speed
    if trace is None or not look.usable:
        return Listened(unheard, None)
    stretches, highest_hz = unheard.stretches, look.highest_hz
    tell(f"tracking orders of {recording.name}")
    try:
        spectrum = track_orders(
            recording, stretches, trace, drive.engine, highest_hz, settings.tracking
        )
    except SpeedError as error:
        return Listened(replace(unheard, speed_reason=str(error)), None)
    comb = comb_levels(spectrum, drive.engine)
    over_hz = spectrum_over_hz(recording, stretches, _FIXED_TONE_SEGMENT_S, spectrum.highest_hz)
    level = settings.tones.false_alarms_per_recording
    spectrum = without_fixed_lines(spectrum, over_hz, trace, level)
    tones = find_tones(spectrum, comb, over_hz, trace, settings.tones)
    tell(f"looking for knocks and swelling in {recording.name}")
    heard = transformed(recording, stretches)
    envelope = envelope_spectra(
        recording, heard, trace, drive.engine, highest_hz, settings.envelope
    )
    noises = find_noises(recording, heard, trace, drive.engine, highest_hz, spectrum)
    orders = HeardOrders(
        spectrum,
        comb,
        trace.uncertainty,
        envelope,
        noises.findings,
        taken=clip.taken,
        cries=noises.cries,
    )
    swelling = find_swelling(envelope, settings.swelling)
    unheard = replace(
        unheard,
        envelope=envelope,
        noises=noises.findings,
        swelling=swelling,
        knocks=noises.knocks,
    )
    return Listened(replace(unheard, spectrum=spectrum, tones=tones), orders, noises)


def _speed(clip: Clip, stretches: Stretches, drive: Drive, settings: ListenSettings) -> HeardSpeed:
    recording = clip.recording
    log_trace = None
    if clip.speed_log is not None:
        by_ear = speed_of(recording, stretches, drive.engine, settings=settings.speed)
        log_trace = align_speed_log(
            clip.speed_log, by_ear.trace, recording.duration_s, recording.start_s
        )
    return speed_of(
        recording,
        stretches,
        drive.engine,
        clip.rpm,
        clip.rpm_tolerance,
        log_trace,
        settings.speed,
    )
