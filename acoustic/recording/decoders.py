"""Sound of any open file as a stream of blocks of float32, and how the stream ended.

Two readers: libsndfile for files that store sample by sample, FFmpeg's libraries (PyAV)
for everything else. Both get the open file, never its name: given a name, FFmpeg would
open addresses and play-lists, and libsndfile would guess from the suffix.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from typing import Any, BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

Block = NDArray[np.float32]

BLOCK_FRAMES = 1 << 17

# Formats FFmpeg may take the bytes for. Keeps out play-lists and concatenation scripts,
# which would open other files of this machine.
FORMAT_WHITELIST = "wav,w64,flac,ogg,mp3,aac,mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,amr,caf,aiff,asf"

_NO_HEADER = "its header is damaged or its coding is not known here"

_LOWEST_RATE_HZ = 4000  # no recorder goes below the telephone's 8000
_HIGHEST_RATE_HZ = 768_000
_MOST_CHANNELS = 64


class UndecodableError(Exception):
    """The reader cannot make sound of this file; the text says why, for people."""


class SoundStream(Protocol):
    """Sound coming in block by block; the counts are final when the blocks are used up."""

    sample_rate_hz: float
    channels: int
    codec: str
    stated_s: float | None
    packets: int
    lost_packets: int
    broke_off: bool

    def blocks(self) -> Iterator[Block]:
        """Yield blocks, shape (frames, channels), full scale 1."""
        ...


class SampleStream:
    """A file read by libsndfile."""

    def __init__(self, file: BinaryIO) -> None:
        import soundfile

        try:
            self._sound: Any = soundfile.SoundFile(_Nameless(file))
        except soundfile.LibsndfileError as trouble:
            raise UndecodableError(_NO_HEADER) from trouble
        self.sample_rate_hz = float(self._sound.samplerate)
        self.channels = int(self._sound.channels)
        self.codec = _plain_codec(str(self._sound.subtype), str(self._sound.format))
        self.stated_s = self._sound.frames / self.sample_rate_hz
        self.packets = self.lost_packets = 0
        self.broke_off = False
        _refuse_absurd(self.sample_rate_hz, self.channels)

    def blocks(self) -> Iterator[Block]:
        """Yield blocks, shape (frames, channels)."""
        import soundfile

        while True:
            try:
                block = self._sound.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
            except soundfile.LibsndfileError as trouble:
                raise UndecodableError(_NO_HEADER) from trouble
            if not block.shape[0]:
                return
            yield block


class PacketStream:
    """The first sound stream of a file, read packet by packet through PyAV."""

    def __init__(self, file: BinaryIO) -> None:
        self._container = _open_whitelisted(file)
        streams = self._container.streams.audio
        if not streams:
            raise UndecodableError("it holds no sound stream")
        self._stream = streams[0]
        context = self._stream.codec_context
        if context is None:
            raise UndecodableError("its sound is coded in a way that is not known here")
        self.codec = _plain_codec(str(context.name), "")
        self._is_opus = self.codec == "opus"
        self.sample_rate_hz = float(context.sample_rate or 0)
        self.channels = int(context.channels or 0)
        self.stated_s = self._stated_duration()
        self.packets = self.lost_packets = 0
        self.broke_off = False
        self._opus_modes: Counter[str] = Counter()
        _refuse_absurd(self.sample_rate_hz, self.channels)

    def _stated_duration(self) -> float | None:
        if self._container.format.name in {"aac", "amr"}:
            return None  # no length is stated there: FFmpeg guesses one from the bit rate
        if self._stream.duration and self._stream.time_base:
            return float(self._stream.duration * self._stream.time_base)
        return self._container.duration / 1e6 if self._container.duration else None

    def blocks(self) -> Iterator[Block]:
        """Yield blocks, shape (frames, channels)."""
        gathered: list[Block] = []
        frames = 0
        for block in self._frames():
            gathered.append(block)
            frames += block.shape[0]
            if frames >= BLOCK_FRAMES:
                yield np.concatenate(gathered)
                gathered, frames = [], 0
        if gathered:
            yield np.concatenate(gathered)
        if self._opus_modes:
            self.codec = self._opus_modes.most_common(1)[0][0]

    def _frames(self) -> Iterator[Block]:
        import av

        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                return
            except (av.error.FFmpegError, OSError):
                self.broke_off = True
                return
            if packet.size:
                self.packets += 1
                self.broke_off = bool(packet.is_corrupt)  # only that of the last one stays
                self._note_opus_mode(packet)
            try:
                decoded = packet.decode()
            except (av.error.FFmpegError, OSError, ValueError):
                self.lost_packets += 1
                self.broke_off = True
                continue
            for frame in decoded:
                yield self._samples(frame)

    def _note_opus_mode(self, packet: Any) -> None:
        if self._is_opus:
            self._opus_modes[opus_mode(bytes(packet)[0] >> 3)] += 1

    def _samples(self, frame: Any) -> Block:
        channels = len(frame.layout.channels)
        if frame.sample_rate != self.sample_rate_hz or channels != self.channels:
            if self.packets > 1:
                raise UndecodableError("its sample rate or channels change part-way")
            # Some headers state half the rate; the first frame decoded is right.
            self.sample_rate_hz, self.channels = float(frame.sample_rate), channels
            _refuse_absurd(self.sample_rate_hz, self.channels)
        samples = frame.to_ndarray()
        block = samples.T if frame.format.is_planar else samples.reshape(-1, channels)
        return _full_scale(block)


def opus_mode(configuration: int) -> str:
    """Coder and bandwidth of an Opus packet (RFC 6716, table 2)."""
    if configuration >= 16:
        return "opus"
    if configuration >= 12:
        return "opus speech mode, " + ("super-wideband", "fullband")[(configuration - 12) // 2]
    return "opus speech mode, " + ("narrowband", "mediumband", "wideband")[configuration // 4]


def _open_whitelisted(file: BinaryIO) -> Any:
    import av

    options = {"format_whitelist": FORMAT_WHITELIST}
    try:
        try:
            return av.open(_Nameless(file), options=options, metadata_errors="ignore")
        except TypeError:  # from av 19 on, text that is no text is skipped by itself
            return av.open(_Nameless(file), options=options)
    except (av.error.FFmpegError, OSError, ValueError) as trouble:
        raise UndecodableError("its content is not a sound format known here") from trouble


class _Nameless:
    """An open file without its name, so that no reader can guess or follow it.

    Damaged files make the readers seek before the start or far past the end; their
    position is kept inside the file instead of raising within the library.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._size = file.seek(0, os.SEEK_END)
        file.seek(0)
        self.read = file.read
        self.tell = file.tell

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Move to a position, at most to either end."""
        origin = {os.SEEK_CUR: self._file.tell(), os.SEEK_END: self._size}.get(whence, 0)
        return self._file.seek(min(max(origin + offset, 0), self._size))


def _full_scale(block: NDArray[Any]) -> Block:
    """Scale integer samples to full scale 1."""
    if block.dtype.kind == "f":
        return block.astype(np.float32, copy=False)
    if block.dtype == np.uint8:
        return (block.astype(np.float32) - 128.0) / np.float32(128.0)
    return block.astype(np.float32) / np.float32(-float(np.iinfo(block.dtype).min))


def _refuse_absurd(sample_rate_hz: float, channels: int) -> None:
    if not _LOWEST_RATE_HZ <= sample_rate_hz <= _HIGHEST_RATE_HZ:
        raise UndecodableError(f"its header states a sample rate of {sample_rate_hz:.0f} Hz")
    if not 0 < channels <= _MOST_CHANNELS:
        raise UndecodableError(f"its header states {channels} channels")


def _plain_codec(name: str, file_format: str) -> str:
    """Name a codec as people do, from libsndfile's or FFmpeg's name."""
    if file_format == "FLAC":
        return "flac"
    name = name.lower()
    known = {"amrnb": "amr-nb", "amrwb": "amr-wb", "pcm_alaw": "a-law", "pcm_mulaw": "mu-law"}
    known |= {"alaw": "a-law", "ulaw": "mu-law", "float": "pcm", "double": "pcm"}
    known |= {"mp3float": "mp3", "libopus": "opus"}
    if name in known:
        return known[name]
    for part, plain in (("adpcm", "adpcm"), ("pcm", "pcm"), ("wma", "wma"), ("amr", "amr")):
        if part in name:
            return plain
    return name
