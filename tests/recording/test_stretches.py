"""Which seconds are used, and why the rest is not."""

from __future__ import annotations

import csv
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.stretches import find_stretches

Samples = NDArray[np.float64]
Hear = Callable[[Samples], Recording]

ENGINES = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "engine_phone"


def _codes(stretches: Stretches) -> list[str]:
    return [part.code for part in stretches.left_out]


def _check_tiling(stretches: Stretches, duration_s: float) -> None:
    parts = sorted([*stretches.used, *stretches.left_out], key=lambda part: part.start_s)
    assert parts[0].start_s == 0.0
    assert parts[-1].end_s == pytest.approx(duration_s)
    for before, after in pairwise(parts):
        assert before.end_s == pytest.approx(after.start_s)


def test_steady_sound_is_used_whole(heard: Hear, noise: Samples) -> None:
    """Nothing is left out of a steady clip."""
    stretches = find_stretches(heard(noise))
    assert stretches.left_out == ()
    assert stretches.used_s == pytest.approx(30.0)


@pytest.mark.parametrize("seconds", [0.001, 0.05, 0.3, 1.0, 2.5, 6.0])
def test_short_clips_are_used_whole(heard: Hear, noise: Samples, seconds: float) -> None:
    """However short the clip, its stretch is found without trouble."""
    stretches = find_stretches(heard(noise[: round(16000 * seconds)]))
    assert stretches.left_out == ()
    assert stretches.used_s == pytest.approx(seconds)


def _gains(time_s: Samples) -> dict[str, Samples]:
    return {
        "automatic level pumping by ±4 dB at 0.5 Hz": 4 * np.sin(np.pi * time_s),
        "automatic level pumping by ±6 dB at 0.1 Hz": 6 * np.sin(0.2 * np.pi * time_s),
        "drift by 12 dB": 12 * time_s / 30,
        "slow sweep, 18 dB in 15 s": 18 * np.clip((time_s - 5) / 15, 0, 1),
        "belt chirping 3 times a second by 10 dB": 10.0 * (np.mod(3 * time_s, 1) < 0.3),
        "place that differs by 3 dB": 3.0 * (time_s > 12),
    }


@pytest.mark.parametrize("name", _gains(np.zeros(1)))
def test_changes_that_belong_to_the_engine_stay(
    heard: Hear, noise: Samples, time_s: Samples, name: str
) -> None:
    """Slow, small or never-ending changes of level do not shred a clip."""
    gain_db = _gains(time_s)[name]
    assert find_stretches(heard(noise * 10 ** (gain_db / 20))).left_out == ()


def test_a_bump_goes(heard: Hear, noise: Samples) -> None:
    """A bump of 0.1 s and 20 dB is left out, and hardly more than the bump."""
    noise[160000:161600] *= 10
    stretches = find_stretches(heard(noise))
    assert _codes(stretches) == ["bump"]
    (part,) = stretches.left_out
    assert part.start_s <= 10.0 and part.end_s >= 10.1
    assert part.end_s - part.start_s < 0.5
    _check_tiling(stretches, 30.0)


@pytest.mark.parametrize(("jump_db", "way_s"), [(12.0, 0.0), (-15.0, 0.0), (12.0, 1.2)])
def test_moving_the_phone_parts_the_clip(
    heard: Hear, noise: Samples, time_s: Samples, jump_db: float, way_s: float
) -> None:
    """Two places at different levels become two stretches with the way between left out."""
    way = np.clip((time_s - 12.0) / max(way_s, 1e-3), 0, 1)
    stretches = find_stretches(heard(noise * 10 ** (jump_db * way / 20)))
    assert _codes(stretches) == ["level_jump"]
    (part,) = stretches.left_out
    assert part.start_s <= 12.15 and part.end_s >= 12.0 + way_s - 0.15
    assert part.end_s - part.start_s < way_s + 1.5
    assert len(stretches.used) == 2
    _check_tiling(stretches, 30.0)


def test_a_drop_out_goes(heard: Hear, noise: Samples) -> None:
    """Two seconds of nothing are left out as silence."""
    noise[160000:192000] *= 1e-4
    stretches = find_stretches(heard(noise))
    assert _codes(stretches) == ["silence"]
    assert stretches.used_s == pytest.approx(27.6, abs=0.5)


def test_a_clipped_burst_goes(heard: Hear, noise: Samples) -> None:
    """Three seconds driven into the stop are left out as clipped."""
    noise[160000:208000] = np.clip(60 * noise[160000:208000], -1, 1)
    stretches = find_stretches(heard(noise))
    assert set(_codes(stretches)) == {"clipped"}
    assert stretches.used_s == pytest.approx(26.5, abs=1.0)


def test_a_clip_clipped_throughout_stays(heard: Hear, noise: Samples) -> None:
    """Where everything is clipped, leaving it out would leave nothing: quality says it."""
    assert find_stretches(heard(np.clip(60 * noise, -1, 1))).left_out == ()


def _speech(seconds: float, rng: np.random.Generator) -> Samples:
    """Pulses at 100 to 140 Hz through three formants, in syllables with pauses."""
    count = round(16000 * seconds)
    time_s = np.arange(count) / 16000
    turns = np.cumsum(120 + 20 * np.sin(2 * np.pi * 0.7 * time_s)) / 16000
    spectrum = np.fft.rfft(np.diff(np.floor(turns), prepend=0.0))
    frequency_hz = np.fft.rfftfreq(count, 1 / 16000)
    for_mants = ((600, 80), (1400, 120), (2600, 200))
    spectrum *= sum(1 / (1 + ((frequency_hz - f) / width) ** 2) for f, width in for_mants)
    voice = np.fft.irfft(spectrum, count)
    loudness = np.zeros(count)
    start = 0
    while start < count:
        length = round(16000 * rng.uniform(0.1, 0.3))
        syllable = rng.uniform(0.5, 1.5) * np.hanning(length)
        loudness[start : start + length] = syllable[: count - start]
        start += length + round(16000 * rng.choice([0.02, 0.1, 0.4], p=[0.6, 0.25, 0.15]))
    return voice / voice.std() * loudness


def _wind(seconds: float, rng: np.random.Generator) -> Samples:
    """Noise falling by 15 dB an octave above 60 Hz, in gusts."""
    count = round(16000 * seconds)
    frequency_hz = np.fft.rfftfreq(count, 1 / 16000)
    spectrum = np.fft.rfft(rng.standard_normal(count)) / (1 + (frequency_hz / 60) ** 2.5)
    rumble = np.fft.irfft(spectrum, count)
    gusts = 10 ** rng.uniform(-1.2, 0.3, round(2.5 * seconds) + 2)
    times_s = np.arange(count) / 16000
    return rumble / rumble.std() * np.interp(times_s, 0.4 * np.arange(gusts.size), gusts)


@pytest.mark.parametrize(
    ("make", "loud", "code"), [(_speech, 0.04, "speech"), (_wind, 0.4, "wind")]
)
def test_speech_and_wind_go(
    heard: Hear,
    noise: Samples,
    make: Callable[[float, np.random.Generator], Samples],
    loud: float,
    code: str,
) -> None:
    """Six seconds of speech or wind over the engine are left out for what they are."""
    for seed in range(5):
        clip = noise.copy()
        clip[192000:288000] += loud * make(6.0, np.random.default_rng(seed))
        stretches = find_stretches(heard(clip))
        assert set(_codes(stretches)) == {code}
        lost_s = 30.0 - stretches.used_s
        assert 4.0 < lost_s < 8.5
        assert all(p.start_s > 12.0 - 1.5 and p.end_s < 18.0 + 1.5 for p in stretches.left_out)


def test_reasons_are_sentences(heard: Hear, noise: Samples) -> None:
    """Each part left out says why in words."""
    noise[160000:161600] *= 10
    (part,) = find_stretches(heard(noise)).left_out
    assert "bump" in part.reason


def _clip(name: str) -> Recording:
    place = ENGINES / name
    if not place.exists():
        pytest.skip("the phone recordings of engines are not beside this checkout")
    return read_recording(place)


# By eye from the level over time (common practice, no source): seconds that are wind,
# handling or the phone on its way, and stretches that are one place held for long.
REAL = {
    "rec001_original.m4a": ([(0.0, 4.5), (32.7, 33.3)], [(7, 20), (28, 32), (34, 61)]),
    "rec113_original.m4a": ([(13.0, 15.3), (19.8, 21.0), (52.5, 53.5)], [(22, 51), (54, 69)]),
    "rec121_original.m4a": ([(0.5, 18.0), (54.0, 56.5), (75.2, 75.7)], [(23, 53), (58, 71)]),
}


@pytest.mark.parametrize("name", REAL)
def test_real_clips(name: str) -> None:
    """Of whole phone recordings the held places are used, the rest is not."""
    bad, good = REAL[name]
    recording = _clip(name)
    stretches = find_stretches(recording)
    _check_tiling(stretches, recording.duration_s)
    time_s = np.arange(0, recording.duration_s, 0.05)
    used = np.zeros(time_s.size, bool)
    for part in stretches.used:
        used |= (time_s >= part.start_s) & (time_s < part.end_s)
    for start_s, end_s in bad:
        assert not np.any(used[(time_s > start_s) & (time_s < end_s)]), (start_s, end_s)
    for start_s, end_s in good:
        assert np.mean(used[(time_s > start_s) & (time_s < end_s)]) > 0.95, (start_s, end_s)


def test_steady_windows_of_real_clips_stay_nearly_whole() -> None:
    """Of windows chosen for steadiness nine tenths are used, and no one is shredded."""
    if not ENGINES.exists():
        pytest.skip("the phone recordings of engines are not beside this checkout")
    with (ENGINES / "MANIFEST.csv").open(encoding="utf-8") as table:
        rows = [row for row in csv.DictReader(table) if row["file"].endswith(".flac")]
    names = [row["file"] for row in rows if "silence" not in row["label"]]
    shares = []
    for name in names:
        recording = read_recording(ENGINES / name)
        stretches = find_stretches(recording)
        shares.append(stretches.used_s / recording.duration_s)
        assert max(part.end_s - part.start_s for part in stretches.used) >= 8.0, name
    assert len(shares) >= 35
    assert np.mean(shares) > 0.9
    assert min(shares) > 0.5
