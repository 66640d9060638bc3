"""Whether two files hold the same sound: a clip beside its excerpt, or sent twice.

A second take of an engine is new evidence; the same take over again, cut shorter or passed
through another codec, is not. Files differ then, and so do their digests. Two takes of one
engine share its tones but not its noise, so what is asked for is the whole band: the
coherence of the aligned sounds (Bendat and Piersol, Random Data, 4th ed. 2010, section 6.1),
its median over frequency, which single tones do not move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft

from acoustic.recording.recording import Recording, Samples

_RATE_HZ = 4000.0
"""Enough for the band below, which every codec keeps. [Hz]"""
_LOW_HZ, _HIGH_HZ = 300.0, 1600.0
"""Above a phone's high-pass, below a voice codec's limit. [Hz]"""
_SEGMENT = 512
"""Segment of the coherence: long against what a codec's delay leaves unaligned. [samples]"""
_SHORTEST_S = 3.0
"""Less than this in common is not looked for: 45 half-overlapping segments. [s]"""
_SAME = 0.4
"""Median coherence from which the sound is the same. Measured on open phone recordings of
15 s: 0.03 at most between different ones, 0.71 or more between one and itself after a voice
codec of 12 or 16 kbit/s. [-]"""
_STANDS_OUT = 8.0
"""How far the best alignment must stand above the rms of all: by chance, of 500 000, 5. [-]"""
_MOST = 0.5
"""Share of a recording that must be known already for it to be a repeat (judgement). [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Sketch:
    """A recording made small, to be laid against others.

    Attributes
    ----------
    name : str
        Of the recording.
    samples : ndarray of float32, shape (n,)
        At 4 kHz.
    """

    name: str
    samples: Samples

    @property
    def duration_s(self) -> float:
        """Its length. [s]"""
        return len(self.samples) / _RATE_HZ


def sketch_of(recording: Recording) -> Sketch:
    """Reduce a recording to what is compared."""
    samples = soxr.resample(recording.samples, recording.sample_rate_hz, _RATE_HZ)
    return Sketch(recording.name, np.asarray(samples, dtype=np.float32))


def seconds_in_common(one: Sketch, other: Sketch) -> float:
    """How much of the same sound two recordings hold. [s]

    Returns
    -------
    float
        Length of the piece they share, 0 where they hold different sounds. [s]
    """
    first, second = _prepared([one, other])
    return _shared_s(first, second)


def holder_of(sketch: Sketch, others: Sequence[Sketch]) -> Sketch | None:
    """Find another recording, no shorter, that holds most of this one's sound already."""
    longer = [other for other in others if _length(other) >= _length(sketch)]
    own, *rest = _prepared([sketch, *longer])
    return next((other.sketch for other in rest if _is_in(own, other)), None)


def repeats(sketches: Sequence[Sketch]) -> list[int | None]:
    """For each recording the number of one that already holds its sound, None if it is new.

    Of two that share a sound for most of the shorter one, the shorter is the repeat; of two
    alike in length the later.
    """
    found: list[int | None] = [None] * len(sketches)
    prepared = _prepared(sketches)
    kept: list[int] = []
    for n in sorted(range(len(sketches)), key=lambda n: (-_length(sketches[n]), n)):
        found[n] = next((k for k in kept if _is_in(prepared[n], prepared[k])), None)
        if found[n] is None:
            kept.append(n)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Prepared:
    """A sketch with its transform in the band, every line brought to one level."""

    sketch: Sketch
    phases: NDArray[np.complex64]


def _length(sketch: Sketch) -> float:
    return round(sketch.duration_s, 1)


def _is_in(one: _Prepared, other: _Prepared) -> bool:
    return _shared_s(other, one) > _MOST * one.sketch.duration_s


def _prepared(sketches: Sequence[Sketch]) -> list[_Prepared]:
    """All of them over one length of transform, in which no two wrap around."""
    if len(sketches) < 2:
        return [_Prepared(sketch, np.zeros(0, np.complex64)) for sketch in sketches]
    size = 2 * int(fft.next_fast_len(max(len(one.samples) for one in sketches), real=True))
    return [_Prepared(sketch, _phases(sketch.samples, size)) for sketch in sketches]


def _phases(samples: Samples, size: int) -> NDArray[np.complex64]:
    lines = fft.rfft(samples, size)
    frequencies = fft.rfftfreq(size, 1.0 / _RATE_HZ)
    lines[(frequencies < _LOW_HZ) | (frequencies > _HIGH_HZ)] = 0.0
    return np.asarray(lines / np.maximum(np.abs(lines), 1e-20), dtype=np.complex64)


def _shared_s(one: _Prepared, other: _Prepared) -> float:
    """`seconds_in_common` of two that are prepared together."""
    size = 2 * (len(one.phases) - 1)
    likeness = fft.irfft(one.phases * np.conj(other.phases), size)
    best = int(np.argmax(likeness))
    # Silence stands out from nothing, and a sound that holds NaN compares with nothing.
    if not likeness[best] > _STANDS_OUT * float(np.sqrt(np.mean(likeness**2))):
        return 0.0
    first, second = one.sketch.samples, other.sketch.samples
    lag = best if best < len(first) else best - size
    ahead, behind = max(lag, 0), max(-lag, 0)
    count = min(len(first) - ahead, len(second) - behind)
    if count < _SHORTEST_S * _RATE_HZ:
        return 0.0
    piece, twin = first[ahead : ahead + count], second[behind : behind + count]
    return count / _RATE_HZ if float(np.median(_coherence(piece, twin))) > _SAME else 0.0


def _coherence(one: Samples, other: Samples) -> NDArray[np.float32]:
    """Magnitude-squared coherence of two aligned pieces at the lines of the band.

    That of scipy.signal, which would take a second to load where this is asked for.
    """
    frequencies = fft.rfftfreq(_SEGMENT, 1.0 / _RATE_HZ)
    band = (frequencies >= _LOW_HZ) & (frequencies <= _HIGH_HZ)
    window = np.hanning(_SEGMENT + 1)[:-1].astype(np.float32)
    first, second = (
        fft.rfft(sliding_window_view(piece, _SEGMENT)[:: _SEGMENT // 2] * window)[:, band]
        for piece in (one, other)
    )
    cross = np.abs(np.mean(first * np.conj(second), axis=0)) ** 2
    powers = np.mean(np.abs(first) ** 2, axis=0) * np.mean(np.abs(second) ** 2, axis=0)
    return np.asarray(cross / np.maximum(powers, np.finfo(np.float32).tiny), dtype=np.float32)
