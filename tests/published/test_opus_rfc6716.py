"""Opus packets against RFC 6716, Definition of the Opus Audio Codec, tables 1 and 2."""

from __future__ import annotations

import pytest

from acoustic.recording.codec_band import codec_cutoff_hz
from acoustic.recording.decoders import opus_mode
from acoustic.recording.recording import Recording

# Table 2, configuration numbers 0 to 31 in the table's order: coder and bandwidth.
TABLE_2 = [
    *[("speech", "narrowband")] * 4,
    *[("speech", "mediumband")] * 4,
    *[("speech", "wideband")] * 4,
    *[("speech", "super-wideband")] * 2,  # hybrid: the speech coder below 8 kHz
    *[("speech", "fullband")] * 2,
    *[("music", "")] * 16,
]

# Table 1: audio bandwidth in Hz.
TABLE_1 = {"narrowband": 4000, "mediumband": 6000, "wideband": 8000, "super-wideband": 12000}


@pytest.mark.parametrize("configuration", range(32))
def test_configurations(configuration: int) -> None:
    """The first five bits of a packet tell coder and bandwidth as in table 2."""
    coder, bandwidth = TABLE_2[configuration]
    expected = f"opus speech mode, {bandwidth}" if coder == "speech" else "opus"
    assert opus_mode(configuration) == expected


@pytest.mark.parametrize(("bandwidth", "upper_hz"), TABLE_1.items())
def test_bandwidths(bandwidth: str, upper_hz: int) -> None:
    """A speech-mode clip holds nothing above the bandwidth of table 1."""
    clip = Recording([0.0] * 1000, 48000, codec=f"opus speech mode, {bandwidth}")  # type: ignore[arg-type]
    assert codec_cutoff_hz(clip) == upper_hz
