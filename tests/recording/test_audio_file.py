"""Reading clips: formats, damage, channels, long files, refusals."""

from __future__ import annotations

import hashlib
import struct
import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from acoustic.errors import RecordingError, SettingsError
from acoustic.recording.audio_file import ReadSettings, read_recording

FORMATS = Path(__file__).parent / "formats"
SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "formats"

Samples = NDArray[np.float64]
WriteClip = Callable[..., Path]

# What the makers of the clips put in: rate, codec, container; 3 s of sound each.
KNOWN = {
    "m4a_aac_48k_mono.m4a": (48000, "aac", "mp4"),
    "m4a_aac_44k_stereo.m4a": (44100, "aac", "mp4"),
    "mp3_cbr64_48k_mono.mp3": (48000, "mp3", "mp3"),
    "ogg_opus_voip_16k.opus": (48000, "opus speech mode, wideband", "ogg"),
    "amr_nb_8k.amr": (8000, "amr-nb", "amr"),
    "3gp_amr_nb_8k.3gp": (8000, "amr-nb", "3gp"),
    "webm_opus_live.webm": (48000, "opus speech mode, fullband", "webm"),
    "mp4_fragmented_h264_aac.mp4": (48000, "aac", "mp4"),
    "wav_u8_8k.wav": (8000, "pcm", "wav"),
    "aac_adts_44k.aac": (44100, "aac", "aac"),
}

SHARED_ONLY = {
    "3gp_h263_aac.3gp": (16000, "aac", "3gp"),
    "aiff_pcm16_44k.aiff": (44100, "pcm", "aiff"),
    "caf_alac_44k_stereo.caf": (44100, "alac", "caf"),
    "caf_pcm16_44k.caf": (44100, "pcm", "caf"),
    "flac_pcm24_48k.flac": (48000, "flac", "flac"),
    "m4a_alac_48k.m4a": (48000, "alac", "mp4"),
    "mov_h264_aac_44k_stereo.mov": (44100, "aac", "mov"),
    "mov_h264_pcm16_16k.mov": (16000, "pcm", "mov"),
    "mp3_vbr_44k_stereo.mp3": (44100, "mp3", "mp3"),
    "mp4_h264_aac_48k.mp4": (48000, "aac", "mp4"),
    "mp4_opus_fragmented.mp4": (48000, "opus speech mode, fullband", "mp4"),
    "ogg_opus_48k.ogg": (48000, "opus speech mode, fullband", "ogg"),
    "ogg_vorbis_44k_stereo.ogg": (44100, "vorbis", "ogg"),
    "wav_alaw_8k.wav": (8000, "a-law", "wav"),
    "wav_extensible_pcm24_44k.wav": (44100, "pcm", "wav"),
    "wav_float32_22k_stereo.wav": (22050, "pcm", "wav"),
    "wav_imaadpcm_44k.wav": (44100, "adpcm", "wav"),
    "wav_pcm16_48k.wav": (48000, "pcm", "wav"),
    "wav_pcm24_44k.wav": (44100, "pcm", "wav"),
    "wav_rf64_pcm16_44k.wav": (44100, "pcm", "rf64"),
    "webm_vp8_opus.webm": (48000, "opus speech mode, fullband", "webm"),
    "wma_44k.wma": (44100, "wma", "asf"),
}

# Damaged files that can be read: seconds left, remarks.
READABLE = {
    "aac_adts_44k__cut50.aac": (1.49, ["cut_short"]),
    "amr_nb_8k__cut50.amr": (1.5, ["cut_short"]),
    "flac__cut20.flac": (0.6, ["cut_short"]),
    "m4a_aac_44k_stereo__cut50.m4a": (1.46, ["cut_short", "channel_chosen"]),
    "mp3_cbr64_48k_mono__cut50.mp3": (1.49, ["cut_short"]),
    "mp4_fragmented_h264_aac__cut50.mp4": (1.11, ["cut_short"]),
    "ogg_opus_voip_16k__cut50.opus": (0.99, ["cut_short"]),
    "ogg_vorbis_44k_stereo__cut50.ogg": (1.0, ["cut_short", "channel_chosen"]),
    "wav_alaw_8k__cut50.wav": (1.5, ["cut_short"]),
    "wav_imaadpcm_44k__cut50.wav": (1.55, ["cut_short"]),
    "wav_pcm24__cut10_midsample.wav": (0.3, ["cut_short"]),
    "webm_opus_live__cut50.webm": (1.57, ["cut_short"]),
    "wav_datasize_0_unfinalised.wav": (0.1, ["header_wrong"]),
    "wav_datasize_7ffffff0.wav": (0.1, ["header_wrong"]),
    "wav_datasize_ffffffff.wav": (0.1, ["header_wrong"]),
    "m4a_bitflips_body.m4a": (2.48, ["packets_lost", "channel_chosen"]),
    "mp3_bitflips.mp3": (2.95, ["packets_lost"]),
    "m4a_moov_size_4g.m4a": (3.02, ["channel_chosen"]),
    "really_m4a.wav": (3.01, []),
    "really_mp3.m4a": (3.0, []),
    "really_wav.mp3": (3.0, []),
}

# Damaged files that cannot: what the sentence must say.
REFUSED = {
    "m4a_aac_48k_mono__cut50.m4a": "index.*missing.*Send the original",
    "mp4_h264_aac_48k__cut50.mp4": "index.*missing.*Send the original",
    "3gp_amr_nb_8k__cut50.3gp": "index.*missing.*Send the original",
    "zero_length.m4a": "empty",
    "zero_length.wav": "empty",
    "one_byte.mp3": "no sound",
    "header_half.wav": "header is damaged",
    "header_only.wav": "no samples",
    "zeros_10k.wav": "no sound",
    "random_8k.mp3": "no sound",
    "random_8k.ogg": "no sound",
    "text_named.m4a": "text file",
    "sdp_named.m4a": "text file",
    "playlist_named.m4a": "text file",
    "concat_named.wav": "text file",
    "wav_rate_0.wav": "header is damaged",
    "wav_rate_4e9.wav": "header is damaged",
    "wav_channels_0.wav": "header is damaged",
    "wav_channels_65535.wav": "header is damaged",
    "wav_bits_0.wav": "header is damaged",
    "wav_float_nan_inf.wav": "no numbers",
    "m4a_bitflips_header.m4a": "no sound stream",
    "opus_bitflips.ogg": "14 ms",
    "bomb_2h_silence.flac": "silent",
}


def shared(*parts: str) -> Path:
    place = SHARED.joinpath(*parts)
    if not place.exists():
        pytest.skip("the full set of format clips is not beside this checkout")
    return place


def check_known(place: Path, expected: tuple[int, str, str]) -> None:
    rate_hz, codec, container = expected
    recording = read_recording(place)
    assert (recording.sample_rate_hz, recording.codec, recording.container) == (
        rate_hz,
        codec,
        container,
    )
    assert recording.duration_s == pytest.approx(3.0, abs=0.07)  # codec frames and priming
    assert 0.05 < float(np.std(recording.samples)) < 0.5
    assert {remark.code for remark in recording.remarks} <= {"channel_chosen"}


@pytest.mark.parametrize("name", KNOWN)
def test_reads_common_formats(name: str) -> None:
    """Each clip comes at the rate it was made with, whole and without complaint."""
    check_known(FORMATS / name, KNOWN[name])


@pytest.mark.parametrize("name", SHARED_ONLY)
def test_reads_every_format(name: str) -> None:
    """The same for the formats that are too large to keep here."""
    check_known(shared(name), SHARED_ONLY[name])


@pytest.mark.parametrize("name", READABLE)
def test_reads_what_is_left_of_damaged_files(name: str) -> None:
    """Cut and damaged files give what is there, with the remark that says so."""
    seconds, codes = READABLE[name]
    recording = read_recording(shared("damaged", name))
    assert recording.duration_s == pytest.approx(seconds, abs=0.03)
    assert [remark.code for remark in recording.remarks] == codes


@pytest.mark.parametrize("name", REFUSED)
def test_refuses_what_is_no_recording(name: str) -> None:
    """One sentence that names the file, says what is wrong and what to do."""
    with pytest.raises(RecordingError, match=f"(?s){name}.*{REFUSED[name]}") as refused:
        read_recording(shared("damaged", name))
    assert "\n" not in str(refused.value)


def test_every_damaged_file_is_accounted_for() -> None:
    """No file of the damaged set is left untried."""
    names = {place.name for place in shared("damaged").iterdir()}
    assert names == READABLE.keys() | REFUSED.keys()


def test_codecs_keep_time() -> None:
    """M4a and mp3 align to the sample with the wav they were made from."""
    from scipy.fft import irfft, rfft

    source = read_recording(shared("wav_pcm16_48k.wav")).samples[24000:89536]
    for name in ("m4a_aac_48k_mono.m4a", "mp3_cbr64_48k_mono.mp3"):
        decoded = read_recording(FORMATS / name).samples[24000:89536]
        likeness = irfft(rfft(decoded) * np.conj(rfft(source)))
        assert int(np.argmax(likeness)) == 0
        assert float(np.corrcoef(decoded, source)[0, 1]) > 0.99


def test_refuses_a_video_without_sound() -> None:
    """A silent video names its trouble."""
    with pytest.raises(RecordingError, match="no sound stream"):
        read_recording(FORMATS / "mp4_video_only.mp4")


@pytest.mark.parametrize("how", ["PCM_16", "PCM_24", "FLOAT"])
def test_samples_are_those_of_the_file(write_clip: WriteClip, noise: Samples, how: str) -> None:
    """Samples equal those python-soundfile (libsndfile) reads: nothing resampled or scaled."""
    place = write_clip(noise, rate_hz=22051, subtype=how)
    recording = read_recording(place)
    expected, rate_hz = soundfile.read(place, dtype="float32")
    assert recording.sample_rate_hz == rate_hz == 22051
    np.testing.assert_array_equal(recording.samples, expected)


def test_digest_is_of_the_whole_file(write_clip: WriteClip, noise: Samples) -> None:
    """The digest is SHA-256 of the bytes, as any tool gives it."""
    place = write_clip(noise)
    assert read_recording(place).sha256 == hashlib.sha256(place.read_bytes()).hexdigest()


def test_does_not_follow_a_script_to_another_file(tmp_path: Path, write_clip: WriteClip) -> None:
    """A script of FFmpeg's that names another file is refused, whatever its suffix."""
    write_clip(np.random.default_rng(1).standard_normal(16000) / 10, "other.wav")
    script = tmp_path / "clip.wav"
    script.write_text("ffconcat version 1.0\nfile other.wav\n")
    with pytest.raises(RecordingError, match="text file"):
        read_recording(script)


def _refusal(path: str | Path) -> str:
    with pytest.raises(RecordingError) as refused:
        read_recording(path)
    return str(refused.value)


def test_refuses_places_that_are_no_file(tmp_path: Path) -> None:
    """Missing files, folders and impossible names each get their sentence."""
    assert "no such file" in _refusal(tmp_path / "missing.wav")
    assert "folder" in _refusal(tmp_path)
    assert "empty" in _refusal("")
    assert "cannot be used" in _refusal("a\0b.wav") or "no such" in _refusal("a\0b.wav")
    assert "cannot be used" in _refusal("x" * 5000) or "no such" in _refusal("x" * 5000)


def test_refuses_a_file_that_may_not_be_read(
    monkeypatch: pytest.MonkeyPatch, write_clip: WriteClip, noise: Samples
) -> None:
    """Missing permission is said as such (simulated: tests may run as root)."""
    place = write_clip(noise)

    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", closed)
    assert "permissions" in _refusal(place)


def test_refuses_next_to_no_sound(write_clip: WriteClip, noise: Samples) -> None:
    """20 ms of sound, none at all, and silence are no recordings."""
    assert "20 ms" in _refusal(write_clip(noise[:320]))
    assert "no samples" in _refusal(write_clip(noise[:0]))
    assert "silent" in _refusal(write_clip(0.5 + 0 * noise))


@pytest.mark.parametrize("value", [np.nan, np.inf, -1e30])
def test_refuses_samples_that_are_no_sound(
    write_clip: WriteClip, noise: Samples, value: float
) -> None:
    """Floating-point files can hold what no microphone gives."""
    noise[1000] = value
    assert "no numbers" in _refusal(write_clip(noise, subtype="FLOAT"))


def _wav(tmp_path: Path, data: bytes, riff: int, stated: int, rate_hz: int = 48000) -> Path:
    numbers = (16, 1, 1, rate_hz, 2 * rate_hz % 2**32, 2, 16)
    head = struct.pack("<4sI4s4sIHHIIHH", b"RIFF", riff, b"WAVE", b"fmt ", *numbers)
    place = tmp_path / "made.wav"
    place.write_bytes(head + struct.pack("<4sI", b"data", stated) + data)
    return place


@pytest.mark.parametrize(
    ("riff", "stated", "code"),
    [
        (0, 0, "header_wrong"),
        (0xFFFFFFFF, 0xFFFFFFFF, "header_wrong"),
        (2_000_036, 2_000_000, "cut_short"),
    ],
)
def test_headers_that_lie(tmp_path: Path, riff: int, stated: int, code: str) -> None:
    """Whatever length the header states, the samples that are there come out."""
    data = (8000 * np.sin(np.arange(4800) * 0.1)).astype("<i2")
    recording = read_recording(_wav(tmp_path, data.tobytes(), riff, stated))
    np.testing.assert_allclose(recording.samples, data / 32768, atol=1e-7)
    assert [remark.code for remark in recording.remarks] == [code]


def test_an_absurd_rate_is_refused(tmp_path: Path) -> None:
    """A rate no converter has is a damaged header."""
    assert "damaged" in _refusal(_wav(tmp_path, bytes(9600), 9636, 9600, 3_000_000_000))
    assert "sample rate of 3 Hz" in _refusal(_wav(tmp_path, bytes(9600), 9636, 9600, 3))


def test_name_does_not_matter(tmp_path: Path) -> None:
    """An m4a under a wav's name is read for what it is."""
    place = tmp_path / "clip.wav"
    place.write_bytes((FORMATS / "m4a_aac_48k_mono.m4a").read_bytes())
    assert read_recording(place).codec == "aac"


def _stereo(write_clip: WriteClip, left: Samples, right: Samples) -> Path:
    return write_clip(np.stack([left, right], axis=1))


def _channel_remark(path: Path) -> tuple[str, str]:
    recording = read_recording(path)
    (remark,) = [r for r in recording.remarks if r.code == "channel_chosen"]
    return recording.channel, remark.message


def test_takes_the_better_channel(write_clip: WriteClip, noise: Samples, time_s: Samples) -> None:
    """Silence, wind and clipping each make a channel the worse one."""
    channel, why = _channel_remark(_stereo(write_clip, 0 * noise, noise))
    assert channel == "right" and "silent" in why
    rumble = 0.4 * np.sin(2 * np.pi * 12 * time_s)
    channel, why = _channel_remark(_stereo(write_clip, 0.5 * noise + rumble, noise))
    assert channel == "right" and "louder" in why
    channel, why = _channel_remark(_stereo(write_clip, 30 * noise, 10 * noise))
    assert channel == "right" and "clipped" in why


def test_never_mixes_channels(write_clip: WriteClip, noise: Samples) -> None:
    """Inverted channels would cancel in a mix; the left one comes out untouched."""
    place = _stereo(write_clip, noise, -noise)
    channel, why = _channel_remark(place)
    assert channel == "left" and "mirror" in why
    np.testing.assert_allclose(read_recording(place).samples, noise, atol=1e-4)
    _, why = _channel_remark(_stereo(write_clip, noise, noise))
    assert "same sound" in why


def test_channel_can_be_chosen(write_clip: WriteClip, noise: Samples) -> None:
    """A stated channel is taken; one that is not there is refused."""
    place = _stereo(write_clip, noise, 0.1 * noise)
    assert read_recording(place, ReadSettings(channel=1)).channel == "right"
    with pytest.raises(SettingsError, match="channel 2 was asked for"):
        read_recording(place, ReadSettings(channel=2))


def test_long_files_give_their_best_part(write_clip: WriteClip, noise: Samples) -> None:
    """Of 10 s nothing, 10 s engine and 10 s of bumps, the engine is kept."""
    noise[: 10 * 16000] *= 0.01
    noise[20 * 16000 :: 8000] = 0.9
    settings = ReadSettings(analysed_max_s=8.0)
    recording = read_recording(write_clip(noise), settings)
    assert recording.duration_s == pytest.approx(8.0)
    assert 10.0 <= recording.start_s <= 12.0
    assert recording.file_duration_s == pytest.approx(30.0)
    assert [remark.code for remark in recording.remarks] == ["part_used"]
    start = round(recording.start_s * 16000)
    np.testing.assert_allclose(recording.samples, noise[start : start + 128000], atol=1e-4)


def test_long_files_take_flat_memory(write_clip: WriteClip, noise: Samples) -> None:
    """Ten minutes of which 5 s are kept never stand in memory whole (38 MB here)."""
    place = write_clip(np.tile(noise, 20))
    settings = ReadSettings(analysed_max_s=5.0)
    read_recording(place, settings)  # imports are not counted
    tracemalloc.start()
    try:
        read_recording(place, settings)
        assert tracemalloc.get_traced_memory()[1] < 8e6
    finally:
        tracemalloc.stop()


def test_decoding_stops_at_the_cap(write_clip: WriteClip, noise: Samples) -> None:
    """Nothing after the cap is decoded, and the remark says so."""
    settings = ReadSettings(analysed_max_s=5.0, length_cap_s=12.0)
    recording = read_recording(write_clip(noise, "clip.flac"), settings)
    assert {remark.code for remark in recording.remarks} == {"part_used", "only_start_read"}
    assert recording.start_s <= 7.0
    assert recording.file_duration_s == pytest.approx(30.0)


def test_settings_out_of_range_are_refused() -> None:
    """The kept part cannot be longer than what is decoded."""
    with pytest.raises(SettingsError, match="analysed_max_s"):
        ReadSettings(analysed_max_s=100.0, length_cap_s=50.0)


def test_reading_imports_nothing_heavy() -> None:
    """The decoders come only with the first file, librosa and its like never."""
    script = (
        "import sys; from acoustic.recording.audio_file import read_recording;"
        "assert not {'av', 'soundfile'} & sys.modules.keys();"
        f"read_recording({str(FORMATS / 'mp3_cbr64_48k_mono.mp3')!r});"
        "assert not {'librosa', 'numba', 'matplotlib', 'scipy.signal'} & sys.modules.keys()"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
