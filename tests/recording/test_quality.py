"""Remarks on recordings, from made sound with known faults and from real clips."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.audio_file import read_recording
from acoustic.recording.quality import check_recording
from acoustic.recording.recording import QualityRemark, Recording
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.recording.stretches import find_stretches

Samples = NDArray[np.float64]
Hear = Callable[[Samples], Recording]

FORMATS = Path(__file__).parent / "formats"
ENGINES = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "engine_phone"
STEADY = SpeedTrace(np.array([0.0]), np.array([14.0]), "given", 0.01)


def _check(recording: Recording, speed: SpeedTrace | None = STEADY) -> dict[str, QualityRemark]:
    remarks = check_recording(recording, find_stretches(recording), speed)
    assert all(remark.message and remark.advice for remark in remarks)
    assert not any("{" in remark.message + remark.advice for remark in remarks)
    ranks = [("unfit", "weak", "note").index(remark.severity) for remark in remarks]
    assert ranks == sorted(ranks)
    return {remark.code: remark for remark in remarks}


def test_a_good_clip_gets_no_remark(heard: Hear, noise: Samples) -> None:
    """Thirty seconds of steady sound at a sound level need no word."""
    assert _check(heard(5 * noise)) == {}


@pytest.mark.parametrize(
    ("stop_sd", "code", "severity"),
    [(2.0, "clipped_hard", "weak"), (2.7, "clipped", "weak"), (3.5, "clipped", "note")],
)
def test_clipping(heard: Hear, noise: Samples, stop_sd: float, code: str, severity: str) -> None:
    """Gaussian noise clipped at 2 standard deviations has 455 of 10 000 samples beyond."""
    remark = _check(heard(np.clip(noise, -0.02 * stop_sd, 0.02 * stop_sd)))
    assert remark[code].severity == severity
    if stop_sd == 2.0:
        assert remark[code].amount == pytest.approx(490, abs=60)  # 455 and those close by


def test_a_loud_tone_is_not_clipped(heard: Hear, noise: Samples, time_s: Samples) -> None:
    """A sine spends 11 % of its time within 1.5 % of its peak and yet is no clipping."""
    assert _check(heard(0.7 * np.sin(2 * np.pi * 27 * time_s) + noise)) == {}


def test_clipped_and_then_encoded(heard: Hear, noise: Samples) -> None:
    """A codec rounds off flat tops, but the crest stays low: told as squeezed."""
    clipped = np.clip(noise / 0.02, -1.5, 1.5) / 1.6
    smeared = clipped + 0.02 * np.random.default_rng(4).standard_normal(clipped.size)
    assert _check(heard(np.clip(smeared, -1, 1)))["limited"].severity == "weak"


def test_faint_clips(heard: Hear, noise: Samples) -> None:
    """A faint steady sound is weak; next to nothing is unfit; so is faint and no engine."""
    assert _check(heard(0.05 * noise))["too_quiet"].severity == "weak"
    assert _check(heard(0.005 * noise))["near_silence"].severity == "unfit"
    assert _check(heard(0.1 * noise), None)["no_engine"].severity == "unfit"
    assert "no_engine" not in _check(heard(0.1 * noise), STEADY)
    assert "no_engine" not in _check(heard(noise), None)


def test_length(heard: Hear, noise: Samples) -> None:
    """Under 2 s is unfit, under 10 s weak."""
    assert _check(heard(5 * noise[:16000]))["too_short"].severity == "unfit"
    assert _check(heard(5 * noise[:80000]))["short"].severity == "weak"


def test_noise_suppression_of_a_browser() -> None:
    """A real browser with its noise suppression on took the engine out: unfit."""
    remarks = _check(read_recording(FORMATS / "webm_chromium_noise_suppression_on.webm"))
    assert remarks["noise_suppressed"].severity == "unfit"
    assert remarks["noise_suppressed"].amount == pytest.approx(23, abs=4)


@pytest.mark.parametrize("settle_db", [6.0, 10.0, 12.0])
@pytest.mark.parametrize("seconds", [0.1, 0.5, 1.5])
def test_automatic_level_is_not_unfit(
    heard: Hear, noise: Samples, time_s: Samples, settle_db: float, seconds: float
) -> None:
    """An automatic level that settles by up to 12 dB, then pumps, does not spoil a clip."""
    gain_db = settle_db * np.exp(-time_s / seconds) + 2 * np.sin(2 * np.pi * 0.4 * time_s)
    remarks = _check(heard(noise * 10 ** (gain_db / 20)))
    assert not any(remark.severity == "unfit" for remark in remarks.values())
    assert "noise_suppressed" not in remarks


def test_moving_away_is_not_noise_suppression(heard: Hear, noise: Samples) -> None:
    """Starting beside the engine and stepping back costs treble more than bass."""
    spectrum = np.fft.rfft(noise)
    frequency_hz = np.fft.rfftfreq(noise.size, 1 / 16000)
    far = np.fft.irfft(spectrum / (1 + frequency_hz / 150), noise.size)
    way = np.clip((np.arange(noise.size) / 16000 - 1.0) / 1.5, 0, 1)
    assert "noise_suppressed" not in _check(heard((1 - way) * 5 * noise + way * 5 * far))


def test_a_gate(heard: Hear, noise: Samples, time_s: Samples) -> None:
    """Sound switched off for a fifth of each second is gated."""
    gated = noise * np.where(np.mod(time_s, 1.0) < 0.3, 1e-3, 1.0)
    assert _check(heard(gated))["gated"].amount == pytest.approx(0.2, abs=0.1)


def test_automatic_level_makes_a_note(heard: Hear, noise: Samples) -> None:
    """Bass and treble that rise and fall together get a note, no more."""
    rng = np.random.default_rng(6)
    gain_db = np.interp(np.arange(noise.size) / 16000, np.arange(31), rng.normal(0, 2, 31))
    assert _check(heard(noise * 10 ** (gain_db / 20)))["levels_ride"].severity == "note"


def test_codec_remarks() -> None:
    """Speech codecs, the telephone band and a low cut are named with the codec."""
    amr = _check(read_recording(FORMATS / "amr_nb_8k.amr"))
    assert {"voice_codec", "telephone_band"} <= amr.keys()
    assert "amr-nb" in amr["voice_codec"].message
    note = _check(read_recording(FORMATS / "ogg_opus_voip_16k.opus"))
    assert {"voice_codec", "band_cut"} <= note.keys()
    assert note["band_cut"].amount == 8000.0
    m4a = _check(read_recording(FORMATS / "m4a_aac_48k_mono.m4a"))
    assert m4a.keys() == {"short"}


def test_what_was_left_out_is_told(heard: Hear, noise: Samples, time_s: Samples) -> None:
    """A clip of which less than half can be used says why."""
    gain = np.where(time_s < 18, 1e-4, 1.0)
    remarks = _check(heard(5 * noise * gain))
    assert remarks["much_left_out"].severity == "weak"
    assert "silence" in remarks["much_left_out"].message
    moved = _check(heard(noise * np.where(time_s < 12, 1.0, 4.0)))
    assert moved["moved"].amount == 1.0


def _speed(speed_hz: Samples, confidence: float = 20.0) -> SpeedTrace:
    times_s = np.linspace(0, 30, speed_hz.size)
    return SpeedTrace(times_s, speed_hz, "heard", 0.001, confidence)


def test_speed_remarks(heard: Hear, noise: Samples) -> None:
    """Wander, sweeps and an uncertain heard speed are told apart."""
    clip = heard(5 * noise)
    wave = np.sin(np.linspace(0, 20, 300))
    assert _check(clip, _speed(14 * (1 + 0.005 * wave))) == {}
    assert _check(clip, _speed(14 * (1 + 0.03 * wave)))["speed_wanders"].severity == "note"
    assert _check(clip, _speed(14 * (1 + 0.06 * wave)))["speed_wanders"].severity == "weak"
    sweep = _check(clip, _speed(np.linspace(14, 40, 300)))
    assert sweep.keys() == {"speed_sweeps"}
    unsure = _check(clip, _speed(np.full(300, 14.0), confidence=0.2))
    assert unsure["speed_uncertain"].severity == "weak"


def test_ordinary_phone_recordings_are_fit() -> None:
    """No ordinary engine clip is unfit, speed heard or not; the one of near silence is."""
    if not ENGINES.exists():
        pytest.skip("the phone recordings of engines are not beside this checkout")
    unfit = {}
    for place in sorted(ENGINES.glob("rec*_t*.flac")):
        remarks = _check(read_recording(place), None)
        codes = [code for code, remark in remarks.items() if remark.severity == "unfit"]
        if codes:
            unfit[place.name] = codes
    assert unfit == {"rec092_t000.flac": ["near_silence"]}
