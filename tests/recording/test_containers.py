"""File kinds by their first bytes, and structures that break off."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from acoustic.recording.containers import (
    breaks_off_early,
    index_is_missing,
    sniff_container,
    states_no_length,
)

FORMATS = Path(__file__).parent / "formats"


@pytest.mark.parametrize(
    ("head", "container"),
    [
        (b"RIFF\x24\0\0\0WAVEfmt ", "wav"),
        (b"RF64\xff\xff\xff\xffWAVEds64", "rf64"),
        (b"fLaC\0\0\0\x22", "flac"),
        (b"FORM\0\0\0\0AIFF", "aiff"),
        (b"OggS\0\2", "ogg"),
        (b"#!AMR\n", "amr"),
        (b"ID3\4\0", "mp3"),
        (b"\xff\xfb\x90\x64", "mp3"),
        (b"\xff\xf1\x50\x80", "aac"),
        (b"\x1a\x45\xdf\xa3", "webm"),
        (b"\0\0\0\x18ftypM4A ", "mp4"),
        (b"\0\0\0\x14ftypqt  ", "mov"),
        (b"\0\0\0\x14ftyp3gp4", "3gp"),
        (b"#EXTM3U\n#EXT-X-VERSION:3\n", "text"),
        ("größer als\n".encode(), "text"),
        (bytes(64), ""),
        (b"", ""),
    ],
)
def test_sniff_container(head: bytes, container: str) -> None:
    """Byte patterns of the format documents are told apart."""
    assert sniff_container(head) == container


@pytest.mark.parametrize(
    ("name", "container"),
    [
        ("wav_u8_8k.wav", "wav"),
        ("ogg_opus_voip_16k.opus", "ogg"),
        ("webm_opus_live.webm", "webm"),
        ("webm_chromium_noise_suppression_on.webm", "webm"),
    ],
)
def test_only_cut_files_break_off(name: str, container: str) -> None:
    """A whole file does not break off; cut at a dozen places it always does."""
    content = (FORMATS / name).read_bytes()
    assert not breaks_off_early(io.BytesIO(content), container)
    for twelfth in range(1, 12):
        cut = content[: len(content) * twelfth // 12 + 1]
        assert breaks_off_early(io.BytesIO(cut), container), twelfth


def test_index_is_missing() -> None:
    """An index at the end is gone with the end; one at the front stays."""
    at_end = (FORMATS / "m4a_aac_48k_mono.m4a").read_bytes()
    assert not index_is_missing(io.BytesIO(at_end), "mp4")
    assert index_is_missing(io.BytesIO(at_end[: len(at_end) // 2]), "mp4")
    at_front = (FORMATS / "m4a_aac_44k_stereo.m4a").read_bytes()
    assert not index_is_missing(io.BytesIO(at_front[: len(at_front) // 2]), "mp4")
    assert not index_is_missing(io.BytesIO(at_end), "wav")


def test_states_no_length() -> None:
    """Zero and the largest sizes are what recorders write before they know better."""
    assert states_no_length(io.BytesIO(b"RIFF\0\0\0\0WAVE"), "wav")
    assert states_no_length(io.BytesIO(b"RIFF\xff\xff\xff\xffWAVE"), "wav")
    assert not states_no_length(io.BytesIO(b"RIFF\x24\0\1\0WAVE"), "wav")
