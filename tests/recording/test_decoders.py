"""The two readers behind `read_recording`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.errors import RecordingError
from acoustic.recording.audio_file import read_recording
from acoustic.recording.decoders import PacketStream, SampleStream, UndecodableError

FORMATS = Path(__file__).parent / "formats"


def test_white_list_keeps_scripts_out(tmp_path: Path, write_clip: Callable[..., Path]) -> None:
    """Even given to FFmpeg directly, a script opens no other file."""
    write_clip(np.random.default_rng(1).standard_normal(16000) / 10, "other.wav")
    script = tmp_path / "script.wav"
    script.write_text("ffconcat version 1.0\nfile other.wav\n")
    with script.open("rb") as file, pytest.raises(UndecodableError, match="not a sound format"):
        PacketStream(file)


def test_both_readers_agree(write_clip: Callable[..., Path], noise: NDArray[np.float64]) -> None:
    """Libsndfile and FFmpeg decode the same samples from 8, 16, 24 bit, float and FLAC."""
    for name, how in (
        ("a.wav", "PCM_U8"),
        ("b.wav", "PCM_16"),
        ("c.wav", "PCM_24"),
        ("d.wav", "FLOAT"),
        ("e.flac", "PCM_24"),
    ):
        place = write_clip(np.stack([noise, noise[::-1]], axis=1), name, subtype=how)
        with place.open("rb") as file:
            one = np.concatenate(list(SampleStream(file).blocks()))
            other = np.concatenate(list(PacketStream(file).blocks()))
        np.testing.assert_allclose(one, other, atol=1e-7)


def test_lost_packets_are_counted(tmp_path: Path) -> None:
    """Damaged packets in the middle are counted and the rest is decoded."""
    content = bytearray((FORMATS / "m4a_aac_44k_stereo.m4a").read_bytes())
    for position in np.random.default_rng(3).integers(len(content) // 3, len(content), 60):
        content[position] ^= 0xFF
    place = tmp_path / "damaged.m4a"
    place.write_bytes(content)
    with place.open("rb") as file:
        stream = PacketStream(file)
        frames = sum(block.shape[0] for block in stream.blocks())
    assert stream.lost_packets > 3
    assert frames == 1024 * (stream.packets - stream.lost_packets + 1) or frames > 60_000


def test_a_stream_without_sound_is_refused() -> None:
    """A video without sound has no sound stream."""
    with (
        (FORMATS / "mp4_video_only.mp4").open("rb") as file,
        pytest.raises(UndecodableError, match="no sound stream"),
    ):
        PacketStream(file)


def test_damage_never_shows_a_trace(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Two hundred damaged files are read or refused, and the libraries print nothing."""
    rng = np.random.default_rng(8)
    names = sorted(place.name for place in FORMATS.iterdir() if place.suffix != ".md")
    place = tmp_path / "damaged"
    for _ in range(200):
        content = bytearray((FORMATS / rng.choice(names)).read_bytes())
        for position in rng.integers(0, rng.choice([64, 512, len(content)]), 10):
            content[position] = rng.integers(256)
        place.write_bytes(content[: rng.integers(1, len(content) + 1)])
        try:
            assert read_recording(place).duration_s > 0
        except RecordingError as refused:
            assert str(refused).startswith("damaged: ")
    assert capfd.readouterr().err == ""
