"""The same sound in two files: an excerpt, a voice message of it; not a second take.

The open recordings of ordinary engines are those of tests/trial/phone_clips.py (source and
licence in the README beside them); the tests on them skip where they are absent.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from acoustic.recording import same_sound
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Recording
from acoustic.recording.same_sound import Sketch, holder_of, repeats, seconds_in_common, sketch_of
from acoustic.synthetic.codec import round_trip
from acoustic.synthetic.scene_settings import Codec

ROOT = Path(__file__).resolve().parents[2]
CASE = ROOT / "samples" / "library_bus_case"
PHONE = ROOT.parent / "shared" / "data" / "engine_phone"
needs_recordings = pytest.mark.skipif(not PHONE.is_dir(), reason="open recordings are not here")


def part(recording: Recording, start_s: float, end_s: float, rate_hz: int = 48000) -> Sketch:
    """A piece of it, sent through a codec at a low bit rate."""
    rate = recording.sample_rate_hz
    samples = recording.samples[int(start_s * rate) : int(end_s * rate)]
    coded = round_trip((samples * 32767).astype(np.int16), rate_hz, Codec("aac", 32))
    return sketch_of(Recording(coded, rate, name="part"))


@pytest.fixture(scope="module")
def clips():
    """Two takes of one drive at one point and speed, samples of the library bus."""
    return [read_recording(CASE / f"guide-idler_800rpm_contact_take{n}.opus") for n in (2, 3)]


@pytest.fixture(scope="module")
def takes(clips):
    """The same, small."""
    return [sketch_of(clip) for clip in clips]


def test_a_coded_excerpt_is_the_same_sound(clips, takes):
    """Whichever is asked first; its length is told."""
    excerpt = part(clips[0], 4.0, 14.0)
    assert seconds_in_common(takes[0], excerpt) == pytest.approx(10.0, abs=0.1)
    assert seconds_in_common(excerpt, takes[0]) == pytest.approx(10.0, abs=0.1)
    assert repeats([excerpt, takes[1], takes[0]]) == [2, None, None]
    assert holder_of(excerpt, takes) is takes[0]
    assert holder_of(takes[0], [excerpt, takes[1]]) is None, "the longer one is new"


def test_a_second_take_is_new(takes):
    """Same engine, point and speed: the tones are shared, the noise is not."""
    assert seconds_in_common(*takes) == 0.0
    assert repeats(takes) == [None, None]
    assert holder_of(takes[1], takes[:1]) is None
    assert holder_of(takes[1], []) is None


def test_one_loud_tone_in_both_is_not_the_same_sound():
    """A whine 30 dB above the noise of each."""
    rng = np.random.default_rng(5)
    clock = np.arange(12 * 8000) / 8000.0
    whine = np.sin(2 * np.pi * 700.0 * clock)
    one, other = (
        sketch_of(Recording(whine + 0.02 * rng.standard_normal(len(clock)), 8000.0))
        for _ in range(2)
    )
    assert seconds_in_common(one, other) == 0.0
    assert seconds_in_common(one, one) == pytest.approx(12.0)


def test_silence_is_like_nothing(takes):
    """Not even like silence: there is no sound to share."""
    silence = sketch_of(Recording(np.zeros(8 * 48000, np.float32), 48000.0))
    assert repeats([silence, silence, takes[0]]) == [None, None, None]


def test_pieces_that_share_little_are_both_kept(clips):
    """Four seconds of twelve in common: most of each is new."""
    pieces = [part(clips[0], 0.0, 12.0), part(clips[0], 8.0, 20.0)]
    assert seconds_in_common(*pieces) == pytest.approx(4.0, abs=0.1)
    assert repeats(pieces) == [None, None]


def test_the_coherence_is_that_of_scipy():
    """Checked against scipy.signal.coherence, without its detrending (the band is far off 0 Hz)."""
    rng = np.random.default_rng(6)
    one = rng.standard_normal(16000).astype(np.float32)
    other = (one + rng.standard_normal(16000)).astype(np.float32)
    frequencies, expected = signal.coherence(one, other, 4000.0, nperseg=512, detrend=False)
    band = (frequencies >= 300.0) & (frequencies <= 1600.0)
    assert same_sound._coherence(one, other) == pytest.approx(expected[band], rel=1e-3)
    assert np.median(expected[band]) == pytest.approx(0.5, abs=0.1)


@needs_recordings
@pytest.mark.parametrize(("whole", "window"), [("001", "042"), ("113", "034"), ("121", "034")])
def test_the_window_of_an_open_recording_is_found_in_its_original(whole, window):
    """The manifest says of each excerpt where in its original it begins."""
    original = sketch_of(read_recording(PHONE / f"rec{whole}_original.m4a"))
    excerpt = sketch_of(read_recording(PHONE / f"rec{whole}_t{window}.flac"))
    assert repeats([excerpt, original]) == [1, None]


@needs_recordings
def test_open_recordings_of_different_engines_are_all_new():
    """Twelve ordinary engines."""
    clips = [sketch_of(read_recording(path)) for path in sorted(PHONE.glob("*.flac"))[:12]]
    assert repeats(clips) == [None] * 12
