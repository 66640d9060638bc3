"""Whether two files hold the same sound: a clip beside its excerpt, or sent twice.

A second take of an engine is new evidence; the same take over again, cut shorter or passed
through another codec, is not. Files differ then, and so do their digests. Two takes of one
engine share its tones but not its noise, so what is asked for is the whole band: the
coherence of the aligned sounds (Bendat and Piersol, Random Data, 4th ed. 2010, section 6.1),
its median over frequency, which single tones do not move.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import soxr
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft

from acoustic.recording.recording import Recording

Sketch = NDArray[np.float32]
"""A recording at 4 kHz, shape (n,)."""

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


def seconds_in_common(one: Recording, other: Recording) -> float:
    """How much of the same sound two recordings hold. [s]

    Returns
    -------
    float
        Length of the piece they share, 0 where they hold different sounds. [s]
    """
    first, second = _sketch(one), _sketch(other)
    size = _size([first, second])
    return _shared_s(first, second, _phases(first, size), _phases(second, size))


def repeats(recordings: Sequence[Recording]) -> list[int | None]:
    """For each recording the number of one that already holds its sound, None if it is new.

    Of two that share a sound for most of the shorter one, the shorter is the repeat; of two
    alike in length the later.
    """
    found: list[int | None] = [None] * len(recordings)
    if len(recordings) < 2:
        return found
    sketches = [_sketch(recording) for recording in recordings]
    size = _size(sketches)
    phases = [_phases(sketch, size) for sketch in sketches]
    longest_first = sorted(
        range(len(recordings)), key=lambda n: (-round(recordings[n].duration_s, 1), n)
    )
    kept: list[int] = []
    for n in longest_first:
        enough_s = _MOST * recordings[n].duration_s
        for k in kept:
            if _shared_s(sketches[k], sketches[n], phases[k], phases[n]) > enough_s:
                found[n] = k
                break
        else:
            kept.append(n)
    return found


def _sketch(recording: Recording) -> Sketch:
    return np.asarray(
        soxr.resample(recording.samples, recording.sample_rate_hz, _RATE_HZ), dtype=np.float32
    )


def _size(sketches: Sequence[Sketch]) -> int:
    """Length of transforms in which no two of them wrap around."""
    return 2 * int(fft.next_fast_len(max(len(sketch) for sketch in sketches), real=True))


def _phases(sketch: Sketch, size: int) -> NDArray[np.complex64]:
    """Its transform in the band, every line brought to one level."""
    lines = fft.rfft(sketch, size)
    frequencies = fft.rfftfreq(size, 1.0 / _RATE_HZ)
    lines[(frequencies < _LOW_HZ) | (frequencies > _HIGH_HZ)] = 0.0
    return np.asarray(lines / np.maximum(np.abs(lines), 1e-20), dtype=np.complex64)


def _shared_s(
    one: Sketch, other: Sketch, phases: NDArray[np.complex64], others: NDArray[np.complex64]
) -> float:
    """`seconds_in_common` of two sketches whose phases are known."""
    size = 2 * (len(phases) - 1)
    likeness = fft.irfft(phases * np.conj(others), size)
    best = int(np.argmax(likeness))
    # Silence stands out from nothing, and a sound that holds NaN compares with nothing.
    if not likeness[best] > _STANDS_OUT * float(np.sqrt(np.mean(likeness**2))):
        return 0.0
    lag = best if best < len(one) else best - size
    ahead, behind = max(lag, 0), max(-lag, 0)
    count = min(len(one) - ahead, len(other) - behind)
    if count < _SHORTEST_S * _RATE_HZ:
        return 0.0
    piece, twin = one[ahead : ahead + count], other[behind : behind + count]
    return count / _RATE_HZ if float(np.median(_coherence(piece, twin))) > _SAME else 0.0


def _coherence(one: Sketch, other: Sketch) -> NDArray[np.float32]:
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
