"""A sound as a file that plays everywhere: WAV of 16 bits, what it is told inside it too."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acoustic.output.whole_file import write_bytes_whole

ENDING = ".wav"
_STEPS = 32768.0


def wav_bytes(samples: NDArray[np.float32], rate_hz: float, title: str) -> bytes:
    """Content of a WAV file.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,) or (frames, 2)
        Full scale is 1; what lies beyond is a mistake of the caller's.
    rate_hz : float
        [Hz]
    title : str
        Kept in the file, so that a renamed one still says what it is.

    Raises
    ------
    ValueError
        If a sample lies beyond full scale: nothing is clipped in silence.
    """
    import soundfile

    if float(np.abs(samples).max(initial=0.0)) > 1.0:
        raise ValueError(f"samples of {title!r} lie beyond full scale")
    whole = np.clip(np.rint(samples * _STEPS), -_STEPS, _STEPS - 1.0).astype(np.int16)
    target = io.BytesIO()
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    with soundfile.SoundFile(
        target, "w", round(rate_hz), channels, subtype="PCM_16", format="WAV"
    ) as file:
        file.title = title
        file.write(whole)
    return target.getvalue()


def write_sound(path: Path, samples: NDArray[np.float32], rate_hz: float, title: str) -> None:
    """Write a WAV file whole or not at all.

    Raises
    ------
    OutputError
        If the place cannot be written.
    """
    write_bytes_whole(path, wav_bytes(samples, rate_hz, title))
