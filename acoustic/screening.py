"""The story in one place: listen to each clip, match them all to the drive, decide."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace

from acoustic import __version__
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.errors import RecordingError, SettingsError, SpeedError
from acoustic.evidence.comb import comb_levels
from acoustic.evidence.envelope import EnvelopeSettings, envelope_spectra
from acoustic.evidence.fixed_tones import spectrum_over_hz, without_fixed_lines
from acoustic.evidence.hiss import NOISE as HISS
from acoustic.evidence.noises import HeardNoises, find_noises
from acoustic.evidence.order_spectrum import TrackingSettings, track_orders
from acoustic.evidence.run_down import switch_off_finding
from acoustic.evidence.tones import ToneSettings, find_tones
from acoustic.recording.quality import QualitySettings, check_recording, codec_cutoff_hz
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.remarks import make_remark
from acoustic.recording.speed_alignment import align_speed_log
from acoustic.recording.speed_given import speed_of
from acoustic.recording.speed_heard import HeardSpeed, SpeedSettings
from acoustic.recording.speed_log import SpeedLog
from acoustic.recording.stretches import StretchSettings, find_stretches
from acoustic.recording.switch_off import cut, second_of_switch_off, with_rest_left_out
from acoustic.tables.knowledge import Knowledge, load_knowledge
from acoustic.tables.sound_words import Complaint
from acoustic.verdict.decision import Decision, decide
from acoustic.verdict.joint_match import (
    HealthySong,
    HeardOrders,
    MatchSettings,
    learn_healthy,
    match_drive,
)
from acoustic.verdict.suspects import CountedWords, Heard, Screening

_FIXED_TONE_SEGMENT_S = 2.0
_SAME_SPEED = 0.05  # relative: 3 % as asked for, and what idle wanders


@dataclass(frozen=True, slots=True)
class ScreenSettings:
    """All settings of a screening, part by part."""

    stretches: StretchSettings = field(default_factory=StretchSettings)
    speed: SpeedSettings = field(default_factory=SpeedSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    tracking: TrackingSettings = field(default_factory=TrackingSettings)
    tones: ToneSettings = field(default_factory=ToneSettings)
    envelope: EnvelopeSettings = field(default_factory=EnvelopeSettings)
    match: MatchSettings = field(default_factory=MatchSettings)


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
    """

    recording: Recording
    rpm: float | None = None
    rpm_tolerance: float = 0.05
    speed_log: SpeedLog | None = None
    switched_off_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Listened:
    """One recording listened to; `orders` is None if it takes no part in the match.

    `noises` is what its noises are compared with a reference by.
    """

    heard: Heard
    orders: HeardOrders | None
    noises: HeardNoises | None = None


def screen(
    clips: Sequence[Clip | Recording],
    drive: Drive,
    *,
    reference: Clip | Recording | None = None,
    complaint: Complaint | None = None,
    settings: ScreenSettings | None = None,
    knowledge: Knowledge | None = None,
    progress: Callable[[str], None] | None = None,
) -> Screening:
    """Screen one or more recordings of a drive.

    Parameters
    ----------
    clips : sequence of Clip or Recording
        Recordings of one engine, at any speeds and points. A bare `Recording` has its
        speed heard from the sound.
    drive : Drive
        What turns, from `read_drive`.
    reference : Clip or Recording, optional
        The same drive without the complaint.
    complaint : Complaint, optional
        What a person says of the sound, and when it comes: counted as evidence, of the
        small weight that stands in the tables.
    settings : ScreenSettings, optional
    knowledge : Knowledge, optional
        Tables to take hand checks from; the shipped ones if left out.
    progress : callable, optional
        Told in a few words what is being done.

    Returns
    -------
    Screening

    Raises
    ------
    SettingsError
        If no clip is given, or a clip is said to be switched off outside of it.
    SpeedError
        If a stated speed makes no sense.
    """
    settings = settings or ScreenSettings()
    knowledge = knowledge or load_knowledge()
    tell = progress or (lambda _: None)
    if not clips:
        raise SettingsError("No recording was given. Name at least one clip to screen.")
    listened = [listen(_as_clip(clip), drive, settings, tell) for clip in clips]
    families = expected_families(drive)
    usable = [one for one in listened if one.orders is not None]
    if usable:
        tell("matching the drive")
        healthy = None
        if reference is not None:
            before = _listen_to_reference(reference, drive, settings, tell)
            listened = [_against(one, before) for one in listened]
            usable = [one for one in listened if one.orders is not None]
            healthy = _healthy(before, usable, drive, settings)
        orders = _orders(usable)
        answer = match_drive(drive, families, orders, settings.match, healthy, complaint)
        heard = {n: one.heard for n, one in enumerate(listened) if one.orders is not None}
        decision = decide(drive, families, heard, answer, knowledge)
        words = answer.words
    else:
        decision, words = _no_answer(listened), _not_counted(complaint)
    return Screening(
        verdict=decision.verdict,
        headline=decision.headline,
        reasons=decision.reasons,
        next_steps=decision.next_steps,
        suspects=decision.suspects,
        unexplained=decision.unexplained,
        heard=tuple(one.heard for one in listened),
        detectable=decision.detectable,
        unseen_parts=decision.unseen,
        settings=asdict(settings) | ({"complaint": asdict(complaint)} if complaint else {}),
        version=__version__,
        words=words,
        slips=decision.slips,
    )


def _as_clip(clip: Clip | Recording) -> Clip:
    return clip if isinstance(clip, Clip) else Clip(clip)


def _not_counted(complaint: Complaint | None) -> CountedWords | None:
    """What was said where nothing could be weighed."""
    if complaint is None:
        return None
    return CountedWords(tuple(complaint.sounds), tuple(complaint.when))


def listen(
    clip: Clip, drive: Drive, settings: ScreenSettings, tell: Callable[[str], None]
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
        return Listened(Heard(whole, None, rest, (remark,), None, (), remark.message), None)
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


def _listen_running(
    clip: Clip, drive: Drive, settings: ScreenSettings, tell: Callable[[str], None]
) -> Listened:
    """Take one recording of a running engine from samples to tones."""
    recording = clip.recording
    tell(f"listening to {recording.name}")
    stretches = find_stretches(recording, settings.stretches)
    cutoff_hz = codec_cutoff_hz(recording)
    speed = _speed(clip, stretches, drive, settings)
    quality = check_recording(recording, stretches, speed.trace, settings.quality)
    quality = (*recording.remarks, *quality)
    unheard = Heard(recording, speed.trace, stretches, quality, None, (), speed.reason)
    unfit = any(q.severity == "unfit" for q in quality)
    if speed.trace is None or speed.contradicts_rpm is not None or unfit:
        return Listened(unheard, None)
    tell(f"tracking orders of {recording.name}")
    highest_hz = 0.9 * (cutoff_hz or recording.sample_rate_hz / 2)
    try:
        spectrum = track_orders(
            recording, stretches, speed.trace, drive.engine, highest_hz, settings.tracking
        )
    except SpeedError as error:
        return Listened(replace(unheard, speed_reason=str(error)), None)
    comb = comb_levels(spectrum, drive.engine)
    over_hz = spectrum_over_hz(recording, stretches, _FIXED_TONE_SEGMENT_S, spectrum.highest_hz)
    level = settings.tones.false_alarms_per_recording
    spectrum = without_fixed_lines(spectrum, over_hz, speed.trace, level)
    tones = find_tones(spectrum, comb, over_hz, speed.trace, settings.tones)
    tell(f"looking for knocks and swelling in {recording.name}")
    envelope = envelope_spectra(
        recording, stretches, speed.trace, drive.engine, highest_hz, settings.envelope
    )
    noises = find_noises(recording, stretches, speed.trace, drive.engine, highest_hz, spectrum)
    orders = HeardOrders(
        spectrum, comb, speed.trace.uncertainty, envelope, noises.findings, noises.cries
    )
    unheard = replace(unheard, envelope=envelope, noises=noises.findings)
    return Listened(replace(unheard, spectrum=spectrum, tones=tones), orders, noises)


def _speed(clip: Clip, stretches: Stretches, drive: Drive, settings: ScreenSettings) -> HeardSpeed:
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


def _orders(listened: Sequence[Listened]) -> list[HeardOrders]:
    return [one.orders for one in listened if one.orders is not None]


def _listen_to_reference(
    reference: Clip | Recording,
    drive: Drive,
    settings: ScreenSettings,
    tell: Callable[[str], None],
) -> Listened:
    listened = listen(_as_clip(reference), drive, settings, tell)
    if listened.heard.spectrum is None:
        name = listened.heard.recording.name
        raise RecordingError(
            f"{name}: cannot serve as the healthy reference: {listened.heard.speed_reason}. "
            "Leave it out or record it again."
        )
    return listened


def _against(one: Listened, reference: Listened) -> Listened:
    """A recording whose noises are measured against the reference, where speeds are alike."""
    if one.orders is None or one.noises is None or reference.noises is None:
        return one
    if not _same_speed(one, reference):
        return one
    noises = one.noises.against(reference.noises)
    heard, orders = replace(one.heard, noises=noises), replace(one.orders, noises=noises)
    return Listened(heard, orders, one.noises)


def _same_speed(one: Listened, reference: Listened) -> bool:
    speeds = [each.orders.spectrum.mean_speed_hz for each in (one, reference) if each.orders]
    return len(speeds) == 2 and abs(speeds[0] / speeds[1] - 1.0) < _SAME_SPEED


def _healthy(
    before: Listened, usable: Sequence[Listened], drive: Drive, settings: ScreenSettings
) -> HealthySong:
    """What the reference says of the parts, less what the clips were compared with already."""
    families = expected_families(drive)
    healthy = learn_healthy(drive, families, _orders([before]), settings.match)
    if not any(_same_speed(one, before) for one in usable):
        return healthy
    return replace(healthy, noises={n: r for n, r in healthy.noises.items() if n != HISS})


def _no_answer(listened: Sequence[Listened]) -> Decision:
    """No recording got as far as a spectrum: unfit, or the speed is not known."""
    first = listened[0]
    unfit = [q for q in first.heard.quality if q.severity == "unfit"]
    if unfit:
        return Decision(
            verdict="recording_unfit",
            headline=f"The recording cannot be used: {unfit[0].message}",
            reasons=tuple(q.message for q in unfit[1:3]),
            next_steps=tuple(q.advice for q in unfit[:3]),
        )
    if first.heard.speed is not None:
        return Decision(
            verdict="cannot_tell",
            headline="Cannot tell: this recording does not bear out the engine speed.",
            reasons=(first.heard.speed_reason,),
            next_steps=(
                "Give the speed at which this clip was recorded, or leave it out to have it heard.",
            ),
        )
    return Decision(
        verdict="cannot_tell",
        headline="Cannot tell: the engine speed of this recording is not known.",
        reasons=(first.heard.speed_reason,),
        next_steps=(
            "Give the engine speed read off the dash or a diagnostic reader, to about 5 %.",
            "Or record again nearer the engine block or the exhaust, 20 to 30 s at a held speed.",
        ),
    )
