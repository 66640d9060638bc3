"""Clips on disk."""

import os
import stat
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from acoustic.errors import OutputError
from acoustic.recording.recording import Recording
from acoustic.synthetic.clip_file import write_clip


@pytest.fixture
def tone() -> Recording:
    """Two seconds of 440 Hz in 16-bit steps."""
    time = np.arange(96000) / 48000
    sound = np.rint(8000 * np.sin(2 * np.pi * 440 * time)) / 32768
    return Recording(sound.astype(np.float32), 48000.0)


@pytest.mark.parametrize("suffix", [".flac", ".wav"])
def test_lossless_clips_hold_the_samples(tmp_path: Path, tone: Recording, suffix: str) -> None:
    """Written and read back with soundfile, bit for bit."""
    write_clip(tmp_path / f"a{suffix}", tone)
    samples, rate = soundfile.read(tmp_path / f"a{suffix}", dtype="float32")
    assert rate == 48000
    assert np.array_equal(samples, tone.samples)


@pytest.mark.parametrize("suffix", [".m4a", ".opus", ".mp3"])
def test_lossy_clips_can_be_decoded(tmp_path: Path, tone: Recording, suffix: str) -> None:
    """FFmpeg's decoders find two seconds of 440 Hz in them."""
    path = tmp_path / f"a{suffix}"
    write_clip(path, tone, kbit_s=64)
    with path.open("rb") as file, av.open(file) as container:
        resampler = av.AudioResampler("flt", "mono", 48000)
        frames = [f for frame in container.decode(audio=0) for f in resampler.resample(frame)]
    samples = np.concatenate([frame.to_ndarray()[0] for frame in frames])
    assert samples.size / 48000 == pytest.approx(2.0, abs=0.05)
    power = np.abs(np.fft.rfft(samples[:96000] * np.hanning(min(samples.size, 96000)))) ** 2
    assert np.argmax(power) / 2 == pytest.approx(440.0, abs=1.0)


def test_unknown_ending_and_missing_folder_are_refused(tmp_path: Path, tone: Recording) -> None:
    """One sentence each; nothing is left behind."""
    with pytest.raises(OutputError, match=r"a\.xyz.*\.flac"):
        write_clip(tmp_path / "a.xyz", tone)
    with pytest.raises(OutputError, match=r"cannot be written.*Choose a folder"):
        write_clip(tmp_path / "missing" / "a.flac", tone)
    assert list(tmp_path.iterdir()) == []


def test_others_may_read_a_clip(tmp_path: Path, tone: Recording) -> None:
    """The usual permissions, 0o666 less the user's mask, not those of a private file."""
    old = os.umask(0o022)
    try:
        write_clip(tmp_path / "a.wav", tone)
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.wav").stat().st_mode) == 0o644
