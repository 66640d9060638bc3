"""Snippets of the recordings, packed to be heard in the page."""

from __future__ import annotations

import io
from dataclasses import dataclass
from math import gcd

import numpy as np

from acoustic.output.page_pieces import Element, data_address, element
from acoustic.output.points_text import taken_text
from acoustic.recording.recording import Recording, Stretches
from acoustic.verdict.suspects import Heard, Screening

SNIPPET_S = 6.0
_MOST_SNIPPETS = 3
_RATES_HZ = (16000, 22050, 24000, 32000, 44100, 48000)  # of MPEG-1 and -2 audio, layer 3
_LOUDNESS, _PEAK = 0.1, 0.9
"""Rms every snippet is brought to, and the peak that none passes; of full scale."""


@dataclass(frozen=True, slots=True)
class Snippet:
    """A piece of a recording as it goes into the page: number from 1, start, MP3. [s]"""

    recording: int
    start_s: float
    length_s: float
    content: bytes


def sounds_section(screening: Screening) -> Element | None:
    """Snippets of the recordings that say most; None if none can be heard."""
    order = sorted(range(len(screening.heard)), key=lambda n: -_support(screening, n))
    chosen = [n for n in order if screening.heard[n].stretches.used][:_MOST_SNIPPETS]
    if not chosen:
        return None
    return element(
        "section",
        element("h3", "To hear"),
        element(
            "p",
            "Pieces of the recordings as they are, brought to one loudness and packed for this "
            "page. A small speaker does not play the low ones: use headphones.",
        ),
        *(_player(n, screening.heard[n]) for n in sorted(chosen)),
    )


def cut_snippet(recording: Recording, stretches: Stretches, number: int) -> Snippet:
    """Cut the first seconds of the longest used stretch of a recording and pack them."""
    import soundfile

    longest = max(stretches.used, key=lambda one: one.end_s - one.start_s)
    length_s = min(SNIPPET_S, longest.end_s - longest.start_s)
    first = round(longest.start_s * recording.sample_rate_hz)
    last = first + round(length_s * recording.sample_rate_hz)
    samples, rate_hz = _at_usual_rate(recording.samples[first:last], recording.sample_rate_hz)
    content = io.BytesIO()
    soundfile.write(content, _one_loudness(samples), rate_hz, format="MP3")
    return Snippet(number, longest.start_s, length_s, content.getvalue())


def _player(place: int, heard: Heard) -> Element:
    snippet = cut_snippet(heard.recording, heard.stretches, place + 1)
    rpm = None if heard.speed is None else heard.speed.mean_rpm
    end_s = snippet.start_s + snippet.length_s
    name = (
        f"Recording {snippet.recording}, {taken_text(heard.taken, rpm)}: "
        f"{snippet.start_s:.1f} to {end_s:.1f} s of {heard.recording.name}"
    )
    address = data_address("audio/mpeg", snippet.content)
    return element(
        "figure",
        element("audio", src=address, controls="controls", preload="none", aria_label=name),
        element("figcaption", name),
    )


def _support(screening: Screening, number: int) -> float:
    """How far a recording speaks for the best suspect. [nat]"""
    lines = screening.suspects[0].lines if screening.suspects else ()
    return sum(max(0.0, line.support) for line in lines if line.recording == number)


def _one_loudness(samples: np.ndarray) -> np.ndarray:
    rms, peak = float(np.sqrt(np.mean(samples**2))), float(np.max(np.abs(samples)))
    if rms == 0.0:
        return samples
    return samples * min(_LOUDNESS / rms, _PEAK / peak)


def _at_usual_rate(samples: np.ndarray, rate_hz: float) -> tuple[np.ndarray, int]:
    """Samples as they are where the page can hold their rate, else at the next one below."""
    if rate_hz in _RATES_HZ:
        return samples, int(rate_hz)
    from scipy.signal import resample_poly

    there = round(rate_hz)
    usual = max((one for one in _RATES_HZ if one < there), default=_RATES_HZ[0])
    common = gcd(usual, there)
    return resample_poly(samples, usual // common, there // common), usual
