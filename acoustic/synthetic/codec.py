"""Lossy codecs as phones use them: encode to a file's bytes, and the round trip.

The bytes never touch the disk here. PyAV is given an in-memory file and a fixed format
name, never a path.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import SettingsError
from acoustic.synthetic.scene_settings import Codec

if TYPE_CHECKING:
    from av.audio import AudioStream
    from av.container import InputContainer

Samples16 = NDArray[np.int16]
# codec name -> (encoder, container, sample format, encoder options)
ENCODERS = {
    "opus": ("libopus", "ogg", "s16", {"compression_level": "4"}),
    "aac": ("aac", "mp4", "fltp", {"aac_coder": "fast"}),
    "mp3": ("libmp3lame", "mp3", "s16p", {"compression_level": "7"}),
}
CONTAINER = {name: row[1] for name, row in ENCODERS.items()}
OPUS_RATE_HZ = 48000  # whatever goes in, Opus comes out at this rate


def encode(samples: Samples16, rate_hz: int, codec: Codec) -> bytes:
    """Encode one channel of 16-bit samples into the bytes of a whole file.

    Raises
    ------
    SettingsError
        The codec does not take this sample rate.
    """
    import av

    encoder, container_format, sample_format, options = ENCODERS[codec.name]
    if codec.name == "opus" and rate_hz != OPUS_RATE_HZ:
        raise SettingsError(
            f"Opus does not keep {rate_hz} samples/s. Make the scene at 48000, or use aac."
        )
    target = io.BytesIO()
    with av.open(target, "w", format=container_format) as container:
        stream = cast(
            "AudioStream", container.add_stream(encoder, rate=rate_hz, options=dict(options))
        )
        stream.bit_rate = 1000 * codec.kbit_s
        stream.layout = "mono"
        stream.format = sample_format
        resampler = av.AudioResampler(
            sample_format, "mono", rate_hz, frame_size=stream.codec_context.frame_size or 1024
        )
        whole = av.AudioFrame.from_ndarray(samples[np.newaxis, :], format="s16", layout="mono")
        whole.sample_rate = rate_hz
        whole.pts = 0  # lets the container note the encoder's delay, so that it is cut again
        for frame in [*resampler.resample(whole), *resampler.resample(None)]:
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return target.getvalue()


def decode(content: bytes, codec: Codec) -> NDArray[np.float32]:
    """Decode the bytes `encode` made; one channel, full scale 1."""
    import av

    with av.open(io.BytesIO(content), format=CONTAINER[codec.name]) as opened:
        container = cast("InputContainer", opened)
        resampler = av.AudioResampler("flt", "mono")
        parts = [
            made.to_ndarray()[0]
            for frame in container.decode(audio=0)
            for made in resampler.resample(frame)
        ]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def round_trip(samples: Samples16, rate_hz: int, codec: Codec) -> NDArray[np.float32]:
    """Send samples through a codec and back; the length stays as it was."""
    heard = decode(encode(samples, rate_hz, codec), codec)
    if heard.size < samples.size:
        heard = np.pad(heard, (0, samples.size - heard.size))
    return heard[: samples.size]
