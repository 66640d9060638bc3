"""Sounds to listen to, each with a name and words that say what it is.

What is changed or made says so in its name and first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.errors import UnfitRecordingError
from acoustic.evidence.isolate import (
    Isolated,
    crank_turns,
    faded,
    gain_to_peak_db,
    half_speed,
    isolate_band,
    isolate_lines,
    octaves_up,
)
from acoustic.output.wording import frequency_text, order_text
from acoustic.recording.recording import Recording, Stretches
from acoustic.synthetic.planted import AFTER_SWITCH_OFF, TONES, shown_by
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import (
    Condition,
    Phone,
    PlantedFault,
    SceneSettings,
)
from acoustic.verdict.sounding_place import (
    SoundingPlace,
    engine_step,
    likeliest_family,
    lines_on_the_engine,
    sounding_place,
)
from acoustic.verdict.suspects import Heard, Screening

Samples = NDArray[np.float32]

LONGEST_S, SHORTEST_S = 10.0, 2.0
FADE_S = 0.03
PEAK = 0.7
"""Highest sample of what is raised or made: 3 dB under full scale."""
SMALL_SPEAKER_HZ = 300.0
"""Below it a phone's speaker plays next to nothing (common practice, no source)."""
MOST_GAIN_DB = 60.0
MADE_S, MADE_SEED = 10.0, 5
MADE_TONES_DB, MADE_OTHER_DB = 10.0, 6.0
MADE_RATES_HZ = (8000, 16000, 24000, 32000, 44100, 48000, 96000)
MADE_USUAL_HZ = 48000
RUN_ON_S = 4.0
_FULL_SCALE = 1.0 - 2.0**-15


@dataclass(frozen=True, slots=True, eq=False)
class PartSound:
    """One sound to listen to.

    Attributes
    ----------
    name : str
        For a file, without ending.
    samples : ndarray of float32, shape (frames,) or (frames, 2)
        Full scale is 1; faded at both ends.
    rate_hz : float
    words : str
        What it is, in plain sentences; the first says if it is changed or made.
    heard : bool
        False if nothing of the part was heard and this is only what lies where it would be.
    """

    name: str
    samples: Samples
    rate_hz: float
    words: str
    heard: bool = True


def part_sounds(
    screening: Screening, drive: Drive, part: str, recording: int = 0
) -> tuple[PartSound, ...]:
    """The part alone, the recording without it, the part for a small speaker, the part made.

    Parameters
    ----------
    screening : Screening
    drive : Drive
    part : str
    recording : int
        Index into `screening.heard`.

    Raises
    ------
    AcousticError
        If the part or recording is not one that can be listened to so.
    """
    family = likeliest_family(screening, drive, part)
    heard = screening.heard[recording]
    piece, start_s = longest_piece(heard.recording, heard.stretches)
    place = sounding_place(screening, family, recording)
    found = _isolated(piece, start_s, heard, place, drive)
    rate_hz = heard.recording.sample_rate_hz
    alone, without = (faded(one, rate_hz, FADE_S) for one in (found.alone, found.without))
    gain_db = gain_to_peak_db(np.stack([alone, without]), _FULL_SCALE, 0.0)
    level = np.float32(10.0 ** (gain_db / 20.0))
    slug = file_slug(part)
    seconds = f"seconds {start_s:.1f} to {start_s + piece.size / rate_hz:.1f}"
    at = _level_words(gain_db)
    clip, what = heard.recording.name, _what_words(place, part)
    return (
        PartSound(
            f"{slug}-1-alone",
            level * alone,
            rate_hz,
            f"{what[0].upper()}{what[1:]}, out of {clip}, {seconds}, {at}. "
            f"{_place_words(place, part, found, drive)}",
            place.heard,
        ),
        PartSound(
            f"{slug}-2-recording-without-it",
            level * without,
            rate_hz,
            f"The same seconds of {clip} without it, {at}: this and the one before sum to the "
            "recording.",
        ),
        _for_a_small_speaker(found, place, part, rate_hz),
        made_sound(drive, family, _rpm(heard, start_s, piece.size), rate_hz),
    )


def made_part_sound(screening: Screening, drive: Drive, part: str, recording: int = 0) -> PartSound:
    """The part made only: for a recording that nothing of it can be taken out of.

    Raises
    ------
    AcousticError
        If the part makes no sound, or the recording's speed is not known.
    """
    family = likeliest_family(screening, drive, part)
    heard = screening.heard[recording]
    piece, start_s = longest_piece(heard.recording, heard.stretches)
    rpm = _rpm(heard, start_s, piece.size)
    return made_sound(drive, family, rpm, heard.recording.sample_rate_hz)


def recorded_sound(heard: Heard) -> PartSound:
    """The same seconds as those a part is taken out of, as they were recorded.

    Raises
    ------
    UnfitRecordingError
        If it holds nothing to listen to.
    """
    piece, start_s = longest_piece(heard.recording, heard.stretches)
    rate_hz = heard.recording.sample_rate_hz
    whole = faded(piece, rate_hz, FADE_S)
    gain_db = gain_to_peak_db(whole, _FULL_SCALE, 0.0)
    end_s = start_s + piece.size / rate_hz
    return PartSound(
        "recording-as-it-is",
        whole * np.float32(10.0 ** (gain_db / 20.0)),
        rate_hz,
        f"Seconds {start_s:.1f} to {end_s:.1f} of {heard.recording.name}, nothing taken out, "
        f"{_level_words(gain_db)}.",
    )


def longest_piece(recording: Recording, stretches: Stretches) -> tuple[Samples, float]:
    """The longest usable stretch, of it no more than ``LONGEST_S``; and where it begins. [s]

    Raises
    ------
    UnfitRecordingError
        If it is shorter than ``SHORTEST_S``.
    """
    usable = max(stretches.used, key=lambda s: s.end_s - s.start_s, default=None)
    if usable is None or usable.end_s - usable.start_s < SHORTEST_S:
        raise UnfitRecordingError(
            f"{recording.name}: no {SHORTEST_S:.0f} s of it in a row are free of speech and "
            "bumps. Record 20 to 30 s at a held speed."
        )
    rate_hz = recording.sample_rate_hz
    first = int(usable.start_s * rate_hz)
    last = min(int(usable.end_s * rate_hz), first + int(LONGEST_S * rate_hz))
    return recording.samples[first:last], first / rate_hz


def made_sound(drive: Drive, family: ExpectedFamily, rpm: float, clip_rate_hz: float) -> PartSound:
    """What a fault would sound like on this engine at this speed, made by the program."""
    rate_hz = round(clip_rate_hz) if round(clip_rate_hz) in MADE_RATES_HZ else MADE_USUAL_HZ
    fault = PlantedFault(family.part, family.mechanism, MADE_OTHER_DB)
    shown = shown_by(fault, family)
    if TONES in shown:
        fault = PlantedFault(family.part, family.mechanism, MADE_TONES_DB, TONES)
    run_on_s = RUN_ON_S if AFTER_SWITCH_OFF in shown else None
    settings = SceneSettings(
        conditions=(Condition("made", rpm, duration_s=MADE_S, switch_off_s=run_on_s),),
        faults=(fault,),
        phone=Phone(hand_db=0.0, agc_s=None),
        sample_rate_hz=rate_hz,
    )
    scene = make_scene(drive, settings, np.random.default_rng(MADE_SEED))
    samples = faded(scene.recordings[0].samples, rate_hz, FADE_S)
    gain_db = gain_to_peak_db(samples, PEAK, MOST_GAIN_DB)
    off = "" if run_on_s is None else f" After {MADE_S - run_on_s:.0f} s it is switched off."
    other = (
        ""
        if rate_hz == round(clip_rate_hz)
        else f" It has {rate_hz} samples/s and the clip {clip_rate_hz:.0f}: it cannot be made at "
        "those."
    )
    return PartSound(
        f"made-not-recorded-{file_slug(family.part)}",
        samples * np.float32(10.0 ** (gain_db / 20.0)),
        rate_hz,
        f"Made, not recorded: how a fault of the {family.part}, {family.title}, could sound on "
        f"such an engine at {rpm:.0f} rpm, worked out from the layout. The fault is made plainly "
        "audible, the engine is any engine with these firings, and no healthy part sings: it "
        f"teaches the kind of sound, and proves nothing about this vehicle.{off}{other}",
    )


def file_slug(name: str) -> str:
    """A name as it can stand in any file name.

    >>> file_slug("Guide idler (no. 2)/left")
    'guide-idler-no-2-left'
    """
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-_") or "part"


def _rpm(heard: Heard, start_s: float, count: int) -> float:
    """Mean speed of the piece. [1/min]"""
    if heard.speed is None:
        raise UnfitRecordingError(f"{heard.recording.name}: {heard.speed_reason}")
    times = start_s + np.linspace(0.0, count / heard.recording.sample_rate_hz, 200)
    return 60.0 * float(heard.speed.at(times).mean())


def _isolated(
    piece: Samples, start_s: float, heard: Heard, place: SoundingPlace, drive: Drive
) -> Isolated:
    rate_hz = heard.recording.sample_rate_hz
    if place.band_hz is not None:
        return isolate_band(piece, rate_hz, place.band_hz)
    if heard.speed is None:
        raise UnfitRecordingError(f"{heard.recording.name}: {heard.speed_reason}")
    turns = crank_turns(heard.speed, start_s, piece.size, rate_hz)
    found = isolate_lines(piece, rate_hz, turns, place.orders, engine_step(drive))
    if not found.lines:
        raise UnfitRecordingError(
            f"{heard.recording.name}: its {rate_hz:.0f} samples/s hold none of the part's lines. "
            "Record with the phone's own recorder and send the original file."
        )
    return found


def _what_words(place: SoundingPlace, part: str) -> str:
    return f"the {part} alone" if place.heard else f"what lies where the {part} would sound"


def _place_words(place: SoundingPlace, part: str, found: Isolated, drive: Drive) -> str:
    """What was taken out, and what came with it."""
    unheard = (
        ""
        if place.heard
        else f"Nothing of the {part} was heard in this recording: this is only what lies where "
        "its sound would have to be. "
    )
    if place.band_hz is not None:
        return f"{unheard}{_band_words(place, place.band_hz)}"
    label_of = dict(zip(place.orders, place.labels, strict=True))
    lines = "; ".join(
        f"{frequency_text(line.frequency_hz)} Hz ({label_of[line.order]}, order "
        f"{order_text(line.order)})"
        for line in found.lines
    )
    wide = sorted({round(line.half_width_hz, 1) for line in found.lines})
    widths = f"{wide[0]:.1f}" if len(wide) == 1 else f"{wide[0]:.1f} to {wide[-1]:.1f}"
    words = f"{unheard}Lines followed with the speed, {widths} Hz to either side: {lines}."
    shared = lines_on_the_engine(found.lines, drive)
    if shared:
        words += (
            f" In {shared} of {len(found.lines)} a line of the engine's own lies so near that it "
            "is heard with it."
        )
    return words


def _band_words(place: SoundingPlace, band_hz: tuple[float, float]) -> str:
    low, high = (f"{edge:.0f}" for edge in band_hz)
    if place.swings_order is None:
        what = f"found by {place.labels[0]}" if place.labels[0] else "that its noise lies in"
    else:
        verb = "swings" if place.heard else "would swing"
        order = order_text(place.swings_order)
        what = f"whose loudness {verb} {order} times a turn of the engine ({place.labels[0]})"
    return (
        f"It is the band of {low} to {high} Hz, {what}. Whatever else lies in that band is in "
        "it too."
    )


def _for_a_small_speaker(
    found: Isolated, place: SoundingPlace, part: str, rate_hz: float
) -> PartSound:
    """Lines moved up by octaves, a band slowed down; what needs neither is made louder only."""
    slug = f"{file_slug(part)}-3-changed"
    lowest_hz = min((line.frequency_hz for line in found.lines), default=0.0)
    if place.band_hz is not None:
        sound = half_speed(faded(found.alone, rate_hz, FADE_S))
        low, high = (f"{0.5 * edge:.0f}" for edge in place.band_hz)
        name, how = (
            f"{slug}-half-speed",
            f"slowed to half speed, so that it lies at {low} to {high} Hz",
        )
    elif lowest_hz < SMALL_SPEAKER_HZ:
        octaves = int(np.ceil(np.log2(SMALL_SPEAKER_HZ / lowest_hz)))
        sound = faded(octaves_up(found, octaves, rate_hz), rate_hz, FADE_S)
        many = f"{octaves} octave{'s' if octaves > 1 else ''}"
        name = f"{slug}-{octaves}-octaves-up" if octaves > 1 else f"{slug}-1-octave-up"
        how = f"moved up by {many} ({2**octaves} times the frequency), as fast as before"
    else:
        sound = faded(found.alone, rate_hz, FADE_S)
        name, how = f"{slug}-louder", "neither moved nor slowed"
    gain_db = gain_to_peak_db(sound, PEAK, MOST_GAIN_DB)
    words = (
        f"Changed, for a small speaker: {_what_words(place, part)}, {how}, and made louder by "
        f"{gain_db:.0f} dB. Its loudness says nothing about the vehicle."
    )
    raised = sound * np.float32(10.0 ** (gain_db / 20.0))
    return PartSound(name, raised, rate_hz, words, place.heard)


def _level_words(gain_db: float) -> str:
    if gain_db > -0.05:
        return "as loud as recorded"
    return f"lowered by {-gain_db:.1f} dB so that nothing clips"
