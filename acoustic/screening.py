"""The story in one place: listen to each clip, match them all to the drive, decide."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace

from acoustic import __version__
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.errors import RecordingError, SettingsError
from acoustic.evidence.hiss import NOISE as HISS
from acoustic.listening import Clip, Listened, ListenSettings, first_look, listen
from acoustic.recording.recording import Recording
from acoustic.recording.remarks import make_remark
from acoustic.recording.same_sound import repeats, sketch_of
from acoustic.tables.knowledge import Knowledge, load_knowledge
from acoustic.tables.sound_words import Complaint
from acoustic.verdict.beside import in_turn_or_beside
from acoustic.verdict.decision import Decision, decide
from acoustic.verdict.healthy_reference import learn_healthy
from acoustic.verdict.joint_match import (
    HealthySong,
    HeardOrders,
    MatchSettings,
    belief_of,
    match_drive,
)
from acoustic.verdict.suspects import CountedWords, Heard, Screening

_SAME_SPEED = 0.05  # relative: 3 % as asked for, and what idle wanders


@dataclass(frozen=True, slots=True)
class ScreenSettings(ListenSettings):
    """All settings of a screening, part by part.

    `match.workers` is also how many recordings are listened to at a time.
    """

    match: MatchSettings = field(default_factory=MatchSettings)


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
    listened = _listen_to_all([_as_clip(clip) for clip in clips], drive, settings, tell)
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
        decision = decide(drive, families, heard, answer, knowledge, referred=healthy is not None)
        words, belief = answer.words, belief_of(answer)
    else:
        decision, words, belief = _no_answer(listened), _not_counted(complaint), None
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
        belief=belief,
        noises=decision.noises,
        unexplained_swelling=decision.swelling,
    )


def _listen_to_all(
    clips: Sequence[Clip], drive: Drive, settings: ScreenSettings, tell: Callable[[str], None]
) -> list[Listened]:
    """Listen to each clip; several at a time share the cores, as transforms run outside Python.

    A clip that holds the sound of another one over again is looked at, but not counted.
    """
    repeated = repeats([sketch_of(clip.recording) for clip in clips]) if len(clips) > 1 else [None]

    def listen_to(number: int) -> Listened:
        clip, same_as = clips[number], repeated[number]
        if same_as is None:
            return listen(clip, drive, settings, tell)
        return Listened(_known_already(clip, clips[same_as], drive, settings), None)

    return in_turn_or_beside(listen_to, range(len(clips)), settings.match.workers)


def _known_already(clip: Clip, same_as: Clip, drive: Drive, settings: ScreenSettings) -> Heard:
    """What is told of a clip whose sound another one holds too."""
    heard = first_look(clip, drive, settings).heard
    remark = make_remark("same_sound", "unfit", other=same_as.recording.name)
    return replace(heard, quality=(*heard.quality, remark), speed_reason=remark.message)


def _as_clip(clip: Clip | Recording) -> Clip:
    return clip if isinstance(clip, Clip) else Clip(clip)


def _not_counted(complaint: Complaint | None) -> CountedWords | None:
    """What was said where nothing could be weighed."""
    if complaint is None:
        return None
    return CountedWords(tuple(complaint.sounds), tuple(complaint.when))


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
