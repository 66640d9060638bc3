"""Sounds of a report, packed to be heard in the page: a part, before and after, recordings."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from math import gcd

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import AcousticError
from acoustic.output.page_pieces import Element, Piece, data_address, element, listed, render
from acoustic.output.part_letters import shown_recording
from acoustic.output.part_sounds import PartSound, part_sounds
from acoustic.output.points_text import taken_text
from acoustic.output.report_matter import ReportMatter
from acoustic.output.side_by_side import before_after_sound
from acoustic.recording.recording import Recording, Stretches
from acoustic.verdict.suspects import Heard, Screening

SNIPPET_S = 6.0
_MOST_SNIPPETS = 3
_RATES_HZ = (16000, 22050, 24000, 32000, 44100, 48000)  # of MPEG-1 and -2 audio, layer 3
_PACKING = 0.5
"""Of libsndfile, 0 largest to 1 smallest: half of the largest, 30 to 130 kbit/s measured."""
_LOUDNESS, _PEAK = 0.1, 0.9
"""Rms every snippet is brought to, and the peak that none passes; of full scale."""

Samples = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class PageSound:
    """A sound as it goes into the page.

    Attributes
    ----------
    title : str
        What it is, in a few words; what is changed or made says so first.
    words : str
        The same in sentences.
    content : bytes
        MP3.
    as_recorded : bool
        False for what is changed or made; it stands in a frame of its own.
    """

    title: str
    words: str
    content: bytes
    as_recorded: bool = True


@dataclass(frozen=True, slots=True)
class Snippet:
    """A piece of a recording as it goes into the page: number from 1, start, MP3. [s]"""

    recording: int
    start_s: float
    length_s: float
    content: bytes


def sounds_section(matter: ReportMatter, room_bytes: int) -> Element | None:
    """Sounds to play, most telling first, as many as there is room for; None if there are none.

    Parameters
    ----------
    matter : ReportMatter
    room_bytes : int
        What the section may add to the page. What is left out for it is named.
    """
    missing: list[str] = []
    sounds = [*_of_part(matter, missing), *_of_repair(matter, missing), *_as_recorded(matter)]
    if not sounds:
        return None
    players: list[Piece] = []
    left_out: list[Piece] = []
    room = room_bytes - len(render(_section([], [*map(_title, sounds)], missing)).encode())
    for sound in sounds:
        player = _player(sound)
        size = len(render(player).encode())
        if size <= room:
            players.append(player)
            room -= size
        else:
            left_out.append(_title(sound))
    return _section(players, left_out, missing)


def cut_snippet(recording: Recording, stretches: Stretches, number: int) -> Snippet:
    """Cut the first seconds of the longest used stretch of a recording and pack them."""
    longest = max(stretches.used, key=lambda one: one.end_s - one.start_s)
    length_s = min(SNIPPET_S, longest.end_s - longest.start_s)
    first = round(longest.start_s * recording.sample_rate_hz)
    last = first + round(length_s * recording.sample_rate_hz)
    samples = _one_loudness(recording.samples[first:last])
    return Snippet(
        number, longest.start_s, length_s, packed_sound(samples, recording.sample_rate_hz)
    )


def packed_sound(samples: Samples, rate_hz: float) -> bytes:
    """Samples, shape (frames,) or (frames, 2), full scale 1, as MP3."""
    import soundfile

    there, usual_hz = _at_usual_rate(samples, rate_hz)
    content = io.BytesIO()
    soundfile.write(
        content, there, usual_hz, format="MP3", bitrate_mode="VARIABLE", compression_level=_PACKING
    )
    return content.getvalue()


def _section(players: list[Piece], left_out: list[Piece], missing: list[str]) -> Element:
    told: list[Piece] = []
    if left_out:
        told = [
            element("p", "Left out, so that the page stays small enough to mail:"),
            *listed(left_out),
        ]
    return element(
        "section",
        element("h3", "To hear"),
        element(
            "p",
            f"Of each sound no more than its first {SNIPPET_S:.0f} s, packed (MP3) for this page; "
            "the command acoustic hear writes them whole. A small speaker does not play the low "
            "ones: use headphones. What an ear hears here is no finding: the figures of this "
            "report and a hand check are.",
        ),
        *players,
        *told,
        *listed([*missing]),
        class_="hear",
    )


def _of_part(matter: ReportMatter, missing: list[str]) -> Iterator[PageSound]:
    """The leading suspect alone, the recording without it, for a small speaker, and made."""
    if not matter.screening.suspects or not matter.screening.heard:
        return
    leading = matter.suspects or (matter.screening.suspects[0].part,)
    part = leading[0]
    recording = shown_recording(matter.screening)
    try:
        sounds = part_sounds(matter.screening, matter.case.drive, part, recording)
    except AcousticError as error:
        missing.append(f"Nothing of {part} alone: {error}")
        return
    alone, without, changed, made = sounds
    yield _page_sound(f"{part} alone, recording {recording + 1}", alone)
    yield _page_sound(f"Recording {recording + 1} without {part}", without)
    yield _page_sound(f"CHANGED for a small speaker: {part} alone", changed, as_recorded=False)
    yield _page_sound(f"MADE, not recorded: such a fault of {part}", made, as_recorded=False)


def _of_repair(matter: ReportMatter, missing: list[str]) -> Iterator[PageSound]:
    if matter.before_after is None:
        return
    try:
        sound = before_after_sound(*matter.before_after)
    except AcousticError as error:
        missing.append(f"No before beside after: {error}")
        return
    yield _page_sound("Before on the left ear, after on the right, equally loud", sound)


def _as_recorded(matter: ReportMatter) -> Iterator[PageSound]:
    """Snippets of the recordings that say most."""
    screening = matter.screening
    order = sorted(range(len(screening.heard)), key=lambda n: -_support(screening, n))
    chosen = [n for n in order if screening.heard[n].stretches.used][:_MOST_SNIPPETS]
    for n in chosen:
        yield _snippet_sound(n, screening.heard[n])


def _page_sound(title: str, sound: PartSound, *, as_recorded: bool = True) -> PageSound:
    piece = sound.samples[: round(SNIPPET_S * sound.rate_hz)]
    return PageSound(title, sound.words, packed_sound(piece, sound.rate_hz), as_recorded)


def _snippet_sound(place: int, heard: Heard) -> PageSound:
    snippet = cut_snippet(heard.recording, heard.stretches, place + 1)
    rpm = None if heard.speed is None else heard.speed.mean_rpm
    end_s = snippet.start_s + snippet.length_s
    words = (
        f"Seconds {snippet.start_s:.1f} to {end_s:.1f} of {heard.recording.name} as they are, "
        "only their loudness is brought to one level."
    )
    title = f"Recording {snippet.recording}, {taken_text(heard.taken, rpm)}"
    return PageSound(title, words, snippet.content)


def _title(sound: PageSound) -> Piece:
    return sound.title


def _player(sound: PageSound) -> Element:
    address = data_address("audio/mpeg", sound.content)
    return element(
        "figure",
        element("p", element("strong", sound.title), class_="side"),
        element("audio", src=address, controls="controls", preload="none", aria_label=sound.title),
        element("figcaption", sound.words),
        **({} if sound.as_recorded else {"class_": "made"}),
    )


def _support(screening: Screening, number: int) -> float:
    """How far a recording speaks for the best suspect. [nat]"""
    lines = screening.suspects[0].lines if screening.suspects else ()
    return sum(max(0.0, line.support) for line in lines if line.recording == number)


def _one_loudness(samples: Samples) -> Samples:
    rms, peak = float(np.sqrt(np.mean(samples**2))), float(np.max(np.abs(samples)))
    if rms == 0.0:
        return samples
    return samples * min(_LOUDNESS / rms, _PEAK / peak)


def _at_usual_rate(samples: Samples, rate_hz: float) -> tuple[Samples, int]:
    """Samples as they are where the page can hold their rate, else at the next one below."""
    if rate_hz in _RATES_HZ:
        return samples, int(rate_hz)
    from scipy.signal import resample_poly

    there = round(rate_hz)
    usual = max((one for one in _RATES_HZ if one < there), default=_RATES_HZ[0])
    common = gcd(usual, there)
    return resample_poly(samples, usual // common, there // common), usual
