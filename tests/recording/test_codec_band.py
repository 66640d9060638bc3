"""Where codecs cut the treble."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.audio_file import read_recording
from acoustic.recording.codec_band import codec_cutoff_hz, is_speech_codec
from acoustic.recording.recording import Recording

FORMATS = Path(__file__).parent / "formats"


def _low_passed(cut_hz: float, slope_hz: float, rate_hz: int = 44100) -> Recording:
    spectrum = np.fft.rfft(np.random.default_rng(2).standard_normal(10 * rate_hz))
    frequency_hz = np.fft.rfftfreq(10 * rate_hz, 1 / rate_hz)
    spectrum *= np.clip((cut_hz + slope_hz - frequency_hz) / slope_hz, 1e-4, 1)
    return Recording(0.05 * np.fft.irfft(spectrum, 10 * rate_hz), rate_hz)


@pytest.mark.parametrize("cut_hz", [4000.0, 7900.0, 11000.0, 16000.0, 20000.0])
def test_finds_a_sharp_cut(cut_hz: float) -> None:
    """Noise low-passed within 200 Hz ends where it was cut."""
    assert codec_cutoff_hz(_low_passed(cut_hz, 200.0)) == pytest.approx(cut_hz, abs=250)


def test_no_cut_without_codec(noise: NDArray[np.float64]) -> None:
    """White noise, noise that falls slowly and a bare tone have no cut."""
    assert codec_cutoff_hz(Recording(noise, 48000)) is None
    assert codec_cutoff_hz(_low_passed(2000.0, 20500.0)) is None
    assert codec_cutoff_hz(Recording(noise[:100], 48000)) is None
    tone = np.sin(np.arange(480000) * 0.7)
    assert codec_cutoff_hz(Recording(0.3 * tone + 0.1 * noise, 48000)) is None


def test_a_hole_is_no_cut() -> None:
    """A notch with treble above it is not the end of the band."""
    rate_hz = 44100
    spectrum = np.fft.rfft(np.random.default_rng(3).standard_normal(10 * rate_hz))
    frequency_hz = np.fft.rfftfreq(10 * rate_hz, 1 / rate_hz)
    spectrum[(frequency_hz > 6000) & (frequency_hz < 8000)] *= 1e-3
    assert codec_cutoff_hz(Recording(np.fft.irfft(spectrum), rate_hz)) is None


@pytest.mark.parametrize(
    ("name", "low_hz", "high_hz"),
    [
        # Opus fullband ends at 20 kHz, wideband at 8 kHz (RFC 6716, table 1).
        ("webm_opus_live.webm", 19800, 20200),
        ("ogg_opus_voip_16k.opus", 8000, 8000),
        # 16 to 17 kHz for common MP3 encoder settings (common practice, no source).
        ("mp3_cbr64_48k_mono.mp3", 15900, 17100),
    ],
)
def test_cut_of_real_codecs(name: str, low_hz: float, high_hz: float) -> None:
    """Clips that went through a codec end where that codec ends."""
    cutoff_hz = codec_cutoff_hz(read_recording(FORMATS / name))
    assert cutoff_hz is not None
    assert low_hz <= cutoff_hz <= high_hz


def test_speech_codecs() -> None:
    """AMR and the speech mode of Opus model a voice; the rest does not."""
    assert is_speech_codec("amr-nb") and is_speech_codec("opus speech mode, wideband")
    assert not any(is_speech_codec(codec) for codec in ("opus", "aac", "mp3", "pcm", ""))
