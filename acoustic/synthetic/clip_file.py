"""Write a made recording as a file a phone could have written. Disk is touched here only."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np

from acoustic.errors import OutputError
from acoustic.recording.recording import Recording
from acoustic.synthetic.codec import encode
from acoustic.synthetic.scene_settings import Codec, CodecName

LOSSY: dict[str, CodecName] = {".opus": "opus", ".ogg": "opus", ".m4a": "aac", ".mp3": "mp3"}
LOSSLESS = {".flac": "FLAC", ".wav": "WAV"}


def write_clip(path: str | Path, recording: Recording, kbit_s: int = 64) -> None:
    """Write a recording; the ending of `path` chooses the format.

    Parameters
    ----------
    path : path
        Ending .flac or .wav (16 bit), .opus or .ogg (Opus), .m4a (AAC) or .mp3.
    kbit_s : int
        Bit rate of the lossy formats. [kbit/s]

    Raises
    ------
    OutputError
        The ending is not known or the place cannot be written; nothing is left half.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in LOSSY and suffix not in LOSSLESS:
        known = ", ".join([*LOSSLESS, *LOSSY])
        raise OutputError(f"{path.name}: no format is known for this ending. Use one of {known}.")
    _write_whole(path, _content(recording, suffix, kbit_s))


def _content(recording: Recording, suffix: str, kbit_s: int) -> bytes:
    rate_hz = round(recording.sample_rate_hz)
    samples = np.clip(np.rint(recording.samples * 32768.0), -32768, 32767).astype(np.int16)
    if suffix in LOSSY:
        return encode(samples, rate_hz, Codec(LOSSY[suffix], kbit_s))
    import soundfile

    target = io.BytesIO()
    soundfile.write(target, samples, rate_hz, subtype="PCM_16", format=LOSSLESS[suffix])
    return target.getvalue()


def _write_whole(path: Path, content: bytes) -> None:
    """Write beside the target first, then put it in place in one step."""
    try:
        beside = path.with_name(f".{path.name}.{os.getpid()}")
        try:
            beside.write_bytes(content)
            beside.replace(path)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputError(
            f"{path.name}: cannot be written in {path.parent} ({error.strerror}). "
            "Choose a folder you may write to."
        ) from error
