"""Reading a clip from disk: any phone format, by content and not by name.

Never resampled, never mixed down, no sample rate assumed. Short files are decoded once
and kept; long ones are surveyed in flat memory and their best part is decoded again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

import numpy as np

from acoustic.errors import RecordingError, SettingsError, UnfitRecordingError
from acoustic.recording.containers import (
    HEAD_BYTES,
    SAMPLE_CONTAINERS,
    breaks_off_early,
    index_is_missing,
    sniff_container,
    states_no_length,
)
from acoustic.recording.decoders import (
    Block,
    PacketStream,
    SampleStream,
    SoundStream,
    UndecodableError,
)
from acoustic.recording.recording import QualityRemark, Recording, Samples
from acoustic.recording.remarks import make_remark
from acoustic.recording.survey import LevelSurvey, choose_channel, choose_window

# Floating-point files may exceed full scale a little, never a millionfold.
_LARGEST_SAMPLE = 1e6

# All channels together; 256 MB. Files beyond are decoded twice, as long ones are.
_MOST_SAMPLES_KEPT = 1 << 26

# Two steps of 16 bit: dither without sound.
_SILENT_SWING = 2.5 / 32768


Opener = Callable[[BufferedReader], SoundStream]


class UnrealSamplesError(Exception):
    """Decoded samples are not finite or absurdly large."""


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """How a clip is read.

    Attributes
    ----------
    channel : int or None
        Which channel of a file with several, from 0; None chooses the better one.
    analysed_max_s : float
        Longest part that is kept. Longer files are surveyed for it. [s]
    length_cap_s : float
        Nothing after this is decoded: 100 kB of FLAC can hold hours of silence. [s]
    shortest_s : float
        Less sound than this is no recording. [s]
    """

    channel: int | None = None
    analysed_max_s: float = 180.0
    length_cap_s: float = 5400.0
    shortest_s: float = 0.05

    def __post_init__(self) -> None:
        if not 1.0 <= self.analysed_max_s <= self.length_cap_s:
            raise SettingsError(
                f"analysed_max_s is {self.analysed_max_s:g} s; it must lie between 1 s and "
                f"length_cap_s ({self.length_cap_s:g} s)."
            )


class _Intake:
    """One pass over a file: its blocks while they are few, else its levels."""

    def __init__(self, opener: Opener, file: BufferedReader, settings: ReadSettings) -> None:
        self.opener = opener
        self.stream = opener(file)
        self.blocks: list[Block] | None = []
        self.survey: LevelSurvey | None = None
        self.frames = 0
        self.capped = False
        self._settings = settings

    def run(self) -> _Intake:
        """Take in everything up to the length cap."""
        for block in self.stream.blocks():
            room = int(self._settings.length_cap_s * self.stream.sample_rate_hz) - self.frames
            self.capped = block.shape[0] > room
            self._take(block[:room])
            if self.capped:
                break
        return self

    def _take(self, block: Block) -> None:
        _refuse_unreal(block)
        self.frames += block.shape[0]
        long = self.frames > self._settings.analysed_max_s * self.stream.sample_rate_hz
        long = long or self.frames * self.stream.channels > _MOST_SAMPLES_KEPT
        if self.survey is None and (long or self.stream.channels > 1):
            self.survey = LevelSurvey(self.stream.sample_rate_hz, self.stream.channels)
            for earlier in self.blocks or []:
                self.survey.take(earlier)
        if self.survey is not None:
            self.survey.take(block)
        if long:
            self.blocks = None
        elif self.blocks is not None:
            self.blocks.append(block)


def read_recording(
    path: str | Path,
    settings: ReadSettings = ReadSettings(),
) -> Recording:
    """Read one channel of a sound file.

    Parameters
    ----------
    path : str or Path
        Any file a phone, messenger or browser hands over, videos included.
    settings : ReadSettings

    Returns
    -------
    Recording
        At the file's own sample rate, with remarks on what was lost or left away.

    Raises
    ------
    RecordingError
        Missing, unreadable, not sound or damaged beyond use.
    UnfitRecordingError
        Readable, but silent or too short to hold anything.
    """
    place = _existing_file(path)
    try:
        with place.open("rb") as file:
            return _read_open_file(file, place.name, settings)
    except PermissionError as refused:
        raise RecordingError(
            f"{place}: this file may not be read. Check its permissions."
        ) from refused
    except OSError as trouble:
        raise RecordingError(
            f"{place}: reading failed ({trouble.strerror or trouble}). Copy the file to this "
            "machine and try again."
        ) from trouble


def _existing_file(path: str | Path) -> Path:
    if not str(path).strip():
        raise RecordingError("The name of the clip is empty. Give the path of a sound file.")
    place = Path(path)
    try:
        if place.is_dir():
            raise RecordingError(f"{place}: this is a folder. Give a sound file in it.")
        if not place.exists():
            raise RecordingError(f"{place}: there is no such file. Check the name and the folder.")
        if not place.is_file():
            raise RecordingError(f"{place}: this is no ordinary file. Give a sound file.")
    except (OSError, ValueError) as trouble:
        raise RecordingError(
            f"{str(path)[:80]!r}: this name cannot be used ({trouble}). Give the path of a "
            "sound file."
        ) from trouble
    return place


def _read_open_file(file: BufferedReader, name: str, settings: ReadSettings) -> Recording:
    head = file.read(HEAD_BYTES)
    container = sniff_container(head)
    _refuse_by_head(head, container, name)
    file.seek(0)
    sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    intake = _take_in(file, container, name, settings)
    stream = intake.stream
    channel, why = _settle_channel(intake, name, settings)
    samples, start_s = _kept_samples(file, intake, channel, settings)
    _refuse_useless(samples, stream.sample_rate_hz, name, settings)
    return Recording(
        samples=samples,
        sample_rate_hz=stream.sample_rate_hz,
        name=name,
        sha256=sha256,
        codec=stream.codec,
        container=container,
        channel=_channel_name(stream.channels, channel),
        start_s=start_s,
        file_duration_s=_file_duration_s(intake),
        remarks=(
            *_damage_remarks(file, container, intake),
            *_choice_remarks(intake, channel, why, samples, start_s),
        ),
    )


def _refuse_by_head(head: bytes, container: str, name: str) -> None:
    if not head:
        raise RecordingError(f"{name}: the file is empty (0 bytes). Send the original again.")
    if container == "text":
        raise RecordingError(f"{name}: this is a text file, not sound. Give the clip itself.")


def _openers(container: str) -> tuple[Opener, ...]:
    return (SampleStream, PacketStream) if container in SAMPLE_CONTAINERS else (PacketStream,)


def _take_in(file: BufferedReader, container: str, name: str, settings: ReadSettings) -> _Intake:
    """Decode with the first reader that finds sound in the file."""
    reason = ""
    for opener in _openers(container):
        try:
            intake = _Intake(opener, file, settings).run()
        except UnrealSamplesError:
            raise RecordingError(
                f"{name}: some samples are no numbers or far beyond full scale, so the file is "
                "damaged. Export the clip again as 16-bit WAV."
            ) from None
        except UndecodableError as trouble:
            reason = reason or str(trouble).rstrip(".")
            continue
        if intake.frames:
            return intake
        reason = reason or "it holds no samples"
    if index_is_missing(file, container):
        raise RecordingError(
            f"{name}: the file is cut: its index, which belongs at the end, is missing. Send the "
            "original again, whole."
        )
    raise RecordingError(
        f"{name}: no sound can be read from this file ({reason}). Send the original again, or "
        "export it as WAV."
    )


def _refuse_unreal(block: Block) -> None:
    peak = max(float(block.max(initial=0.0)), -float(block.min(initial=0.0)))
    if not peak < _LARGEST_SAMPLE:  # catches what is not a number, too
        raise UnrealSamplesError


def _settle_channel(intake: _Intake, name: str, settings: ReadSettings) -> tuple[int, str]:
    channels = intake.stream.channels
    if settings.channel is not None:
        if not 0 <= settings.channel < channels:
            raise SettingsError(
                f"{name}: channel {settings.channel} was asked for, but the file has "
                f"{channels}, counted from 0. Choose one of them or leave it out."
            )
        return settings.channel, "it was asked for"
    if channels == 1 or intake.survey is None:
        return 0, ""
    return choose_channel(intake.survey.levels())


def _kept_samples(
    file: BufferedReader, intake: _Intake, channel: int, settings: ReadSettings
) -> tuple[Samples, float]:
    """Take the channel: all of a short file, the best window of a long one."""
    if intake.blocks is not None:
        return np.concatenate([block[:, channel] for block in intake.blocks]), 0.0
    if intake.survey is None:
        raise AssertionError("a long file is always surveyed")
    rate_hz = intake.stream.sample_rate_hz
    start_s = choose_window(intake.survey.levels(), channel, settings.analysed_max_s)
    start, length = round(start_s * rate_hz), round(settings.analysed_max_s * rate_hz)
    again = intake.opener(file)
    return _window(again.blocks(), start, length, channel), start_s


def _window(blocks: Iterator[Block], start: int, length: int, channel: int) -> Samples:
    kept: list[Samples] = []
    position = 0
    for block in blocks:
        kept.append(block[max(0, start - position) : start + length - position, channel].copy())
        position += block.shape[0]
        if position >= start + length:
            break
    return np.concatenate(kept)


def _refuse_useless(
    samples: Samples, sample_rate_hz: float, name: str, settings: ReadSettings
) -> None:
    duration_s = samples.shape[0] / sample_rate_hz
    if duration_s < settings.shortest_s:
        raise UnfitRecordingError(
            f"{name}: there are only {1000 * duration_s:.0f} ms of sound in this file, too "
            "little to hear an engine. Record 20 to 30 s at a held speed."
        )
    if float(np.ptp(samples)) <= _SILENT_SWING:
        raise UnfitRecordingError(
            f"{name}: the clip is silent from end to end. Check that the microphone is free "
            "and switched on, and record again."
        )


def _file_duration_s(intake: _Intake) -> float:
    decoded_s = intake.frames / intake.stream.sample_rate_hz
    return max(decoded_s, intake.stream.stated_s or 0.0) if intake.capped else decoded_s


def _damage_remarks(file: BufferedReader, container: str, intake: _Intake) -> list[QualityRemark]:
    """Remarks on what is broken or missing in the file."""
    stream = intake.stream
    read_s = intake.frames / stream.sample_rate_hz
    remarks = []
    if states_no_length(file, container):
        remarks.append(make_remark("header_wrong", "note", read_s, read_s=read_s))
    elif not intake.capped and _is_cut(file, container, stream, read_s):
        stated = stream.stated_s if stream.stated_s and stream.stated_s > 1.02 * read_s else None
        of_stated = f" of the {stated:.1f} s its header states" if stated else ""
        remarks.append(make_remark("cut_short", "weak", read_s, read_s=read_s, of_stated=of_stated))
    lost = stream.lost_packets - int(stream.broke_off and stream.lost_packets > 0)
    if lost:
        share = lost / max(1, stream.packets)
        remarks.append(make_remark("packets_lost", "weak", share, count=lost, share=share))
    return remarks


def _is_cut(file: BufferedReader, container: str, stream: SoundStream, read_s: float) -> bool:
    lost_s = read_s * stream.lost_packets / max(1, stream.packets - stream.lost_packets)
    missing_s = (stream.stated_s or 0.0) - read_s - lost_s
    # Containers state up to a third of a second too much: priming, or another track.
    return stream.broke_off or missing_s > 0.5 + 0.01 * read_s or breaks_off_early(file, container)


def _choice_remarks(
    intake: _Intake, channel: int, why: str, samples: Samples, start_s: float
) -> list[QualityRemark]:
    """Remarks on what was chosen from the file."""
    channels, rate_hz = intake.stream.channels, intake.stream.sample_rate_hz
    remarks = []
    if channels > 1:
        name = _channel_name(channels, channel)
        remarks.append(
            make_remark(
                "channel_chosen", "note", float(channel), channels=channels, channel=name, why=why
            )
        )
    if intake.capped:
        cap_s = intake.frames / rate_hz
        remarks.append(make_remark("only_start_read", "note", cap_s, cap_s=cap_s))
    if samples.shape[0] < intake.frames:
        file_s, used_s = intake.frames / rate_hz, samples.shape[0] / rate_hz
        remarks.append(
            make_remark("part_used", "note", start_s, start_s=start_s, file_s=file_s, used_s=used_s)
        )
    return remarks


def _channel_name(channels: int, channel: int) -> str:
    if channels == 1:
        return "mono"
    if channels == 2:
        return ("left", "right")[channel]
    return f"channel {channel + 1} of {channels}"
