"""Sounds to listen to: what is in each, what each is called and told to be."""

import dataclasses
import io

import numpy as np
import pytest
import soundfile

from acoustic.errors import OutputError, UnfitRecordingError
from acoustic.evidence.loudness import loudness_lkfs
from acoustic.output.part_sounds import LONGEST_S, PEAK, file_slug, longest_piece, part_sounds
from acoustic.output.side_by_side import before_after_sound
from acoustic.output.sound_file import wav_bytes, write_sound
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.belief import Belief

LSB = 2.0**-15
IDLER_ORDER, RPM = 6.53, 800.0  # of the hand-made answer
SPEED_HZ = RPM / 60.0


def other_rate(recording, rate_hz):
    """Make ten seconds of the same at another rate: the idler's line and noise; fixed seed."""
    time = np.arange(int(20 * rate_hz)) / rate_hz
    sound = 0.05 * np.random.default_rng(8).standard_normal(time.size)
    sound += 0.06 * np.sin(2 * np.pi * IDLER_ORDER * SPEED_HZ * time)
    return dataclasses.replace(
        recording, samples=sound.astype(np.float32), sample_rate_hz=rate_hz, name=f"{rate_hz:g}.wav"
    )


@pytest.fixture(scope="module")
def clip(screening):
    """Give the recording of the hand-made answer."""
    return screening.heard[0].recording


def with_belief(screening, **changes):
    """The hand-made answer with a belief in the idler's outer race, held at one speed."""
    belief = Belief(("idler",), (((0,), 0.9), ((), 0.1)), ({"outer race": 0.8, "inner race": 0.2},))
    held = SpeedTrace(np.array([0.0, 20.0]), np.array([SPEED_HZ, SPEED_HZ]), "given", 0.001)
    heard = dataclasses.replace(screening.heard[0], speed=held, **changes)
    return dataclasses.replace(screening, heard=(heard,), belief=belief)


@pytest.fixture(scope="module")
def sounds(screening, drive):
    """Give the four sounds of the idler."""
    return part_sounds(with_belief(screening), drive, "idler")


def amplitude(sound, hz):
    """Amplitude of a tone in a sound."""
    time = np.arange(sound.samples.shape[0]) / sound.rate_hz
    window = np.hanning(time.size)
    return 2 * abs(np.sum(sound.samples * window * np.exp(-2j * np.pi * hz * time))) / window.sum()


def test_the_part_alone_and_the_rest_sum_to_the_recording(sounds, clip):
    """Within rounding, but for the fades; the idler's lines in one, all others in the other."""
    alone, without = sounds[:2]
    whole = clip.samples[: alone.samples.size]
    middle = slice(1000, -1000)
    assert alone.samples.size == LONGEST_S * alone.rate_hz
    assert (alone.samples + without.samples)[middle] == pytest.approx(whole[middle], abs=LSB / 2)
    hz = IDLER_ORDER * SPEED_HZ
    assert amplitude(alone, hz) == pytest.approx(0.06, rel=0.05)
    assert amplitude(alone, 2 * hz) == pytest.approx(0.03, rel=0.1)
    assert amplitude(without, hz) < 0.006
    assert amplitude(without, 2 * SPEED_HZ) == pytest.approx(0.2, rel=0.02)
    assert amplitude(alone, 2 * SPEED_HZ) < 0.002


def test_the_changed_one_can_be_played_by_a_small_speaker(sounds):
    """87 and 174 Hz go two octaves up to 348 and 697 Hz; next to nothing lies elsewhere."""
    changed = sounds[2]
    assert changed.name == "idler-3-changed-2-octaves-up"
    assert changed.words.startswith("Changed")
    power = np.abs(np.fft.rfft(changed.samples * np.hanning(changed.samples.size))) ** 2
    hz = np.fft.rfftfreq(changed.samples.size, 1 / changed.rate_hz)
    lines = np.array([4, 8]) * IDLER_ORDER * SPEED_HZ
    near = np.abs(hz[:, None] - lines).min(axis=1) <= 3.0
    assert power[~near].sum() < 1e-6 * power.sum()


def test_the_made_one_says_so_first(sounds, clip):
    """In its name and in its first words; the clip's sample rate; the speed of the clip."""
    made = sounds[3]
    assert made.name.startswith("made-not-recorded-")
    assert made.words.startswith("Made, not recorded")
    assert f"{RPM:.0f} rpm" in made.words
    assert "outer race" in made.words
    assert made.rate_hz == clip.sample_rate_hz


def test_none_clips_and_all_fade(sounds):
    """Below full scale, near nothing at both ends."""
    for sound in sounds:
        assert np.abs(sound.samples).max() <= 1 - LSB
        assert np.abs(sound.samples[[0, -1]]).max() < 0.001
    for sound in sounds[2:]:
        assert np.abs(sound.samples).max() == pytest.approx(PEAK, abs=0.01)


def test_the_words_name_the_lines_and_what_comes_with_them(sounds):
    """Both lines heard, in Hz and order, and how wide the window about them is."""
    words = sounds[0].words
    assert "87.1 Hz (outer race, order 6.530)" in words
    assert "174.1 Hz (outer race, 2nd harmonic, order 13.06)" in words
    assert "as loud as recorded" in words
    assert "0.4 Hz to either side" in words


def test_a_rate_the_generator_does_not_know_is_said(screening, drive, clip):
    """A clip of 22050 samples/s: the made sound has 48000, in words; the others keep theirs."""
    recording = other_rate(clip, 22050.0)
    sounds = part_sounds(with_belief(screening, recording=recording), drive, "idler")
    assert [sound.rate_hz for sound in sounds] == [22050.0, 22050.0, 22050.0, 48000.0]
    assert "48000 samples/s and the clip 22050" in sounds[3].words


def test_a_clip_near_full_scale_is_lowered_and_it_is_said(screening, drive, clip):
    """Both of the first two by the same, so that they still sum to the recording."""
    loud = dataclasses.replace(clip, samples=5.0 * clip.samples)
    sounds = part_sounds(with_belief(screening, recording=loud), drive, "idler")
    assert max(np.abs(one.samples).max() for one in sounds) <= 1.0 - LSB
    assert all("so that nothing clips" in one.words for one in sounds[:2])
    total = sounds[0].samples + sounds[1].samples
    whole = loud.samples[: total.size][1000:-1000]
    ratio = float(np.median(total[1000:-1000] / whole))
    assert ratio < 0.9
    assert total[1000:-1000] == pytest.approx(ratio * whole, abs=LSB)


def test_a_clip_without_a_usable_piece_is_refused(clip):
    """One second is too short to listen to."""
    with pytest.raises(UnfitRecordingError, match="free of speech"):
        longest_piece(clip, Stretches((Stretch(3.0, 4.0),), ()))
    with pytest.raises(UnfitRecordingError, match="free of speech"):
        longest_piece(clip, Stretches((), ()))


def test_before_is_left_and_after_right_equally_loud(clip):
    """A clip and one 12 dB softer with another tone: matched within 0.5 dB, gains stated."""
    before = dataclasses.replace(clip, name="before.m4a")
    time = np.arange(before.samples.size) / before.sample_rate_hz
    other = 0.25 * before.samples + 0.1 * np.sin(2 * np.pi * 1234.0 * time)
    sound = before_after_sound(before, dataclasses.replace(before, samples=other, name="after.m4a"))
    left, right = sound.samples.T
    loudness = [loudness_lkfs(np.ascontiguousarray(one), sound.rate_hz) for one in (left, right)]
    assert loudness[0] == pytest.approx(loudness[1], abs=0.5)
    assert sound.rate_hz == before.sample_rate_hz
    assert amplitude(dataclasses.replace(sound, samples=right), 1234.0) > 0.01
    assert amplitude(dataclasses.replace(sound, samples=left), 1234.0) < 0.001
    assert sound.words.startswith("Left ear before (before.m4a")
    assert "BS.1770" in sound.words
    assert "resampl" not in sound.words
    assert sound.words.count(" dB") == 2


def test_two_sample_rates_are_brought_together_and_it_is_said(clip):
    """The higher one is kept."""
    sound = before_after_sound(clip, other_rate(clip, 44100.0))
    assert sound.rate_hz == 44100.0
    assert f"{clip.name} was brought from 16000 to 44100 samples/s" in sound.words


def test_silence_has_no_loudness_to_match(clip):
    """A silent clip holds no usable stretch."""
    silent = Recording(np.zeros(160000, np.float32), 16000.0, "silent.wav")
    with pytest.raises(UnfitRecordingError):
        before_after_sound(clip, silent)


def test_a_file_holds_the_sound_and_says_what_it_is(tmp_path):
    """16 bits, stereo, rate and title as given; what lies beyond full scale is refused."""
    samples = np.linspace(-1.0, 1.0, 200, dtype=np.float32).reshape(100, 2)
    place = tmp_path / "made.wav"
    write_sound(place, samples, 44100.0, "Made, not recorded: a test")
    with soundfile.SoundFile(io.BytesIO(place.read_bytes())) as file:
        assert (file.samplerate, file.channels, file.subtype) == (44100, 2, "PCM_16")
        assert file.title == "Made, not recorded: a test"
        assert file.read(dtype="float32") == pytest.approx(samples, abs=LSB)
    with pytest.raises(ValueError, match="beyond full scale"):
        wav_bytes(1.01 * samples, 44100.0, "loud")
    with pytest.raises(OutputError, match="cannot be written"):
        write_sound(tmp_path / "nowhere" / "x.wav", samples, 44100.0, "lost")


@pytest.mark.parametrize(
    ("name", "slug"),
    [("water pump", "water-pump"), ("../../etc", "etc"), ("///", "part"), ("Lüfter 2", "lüfter-2")],
)
def test_a_part_s_name_cannot_leave_the_folder(name, slug):
    """Letters, digits and dashes only."""
    assert file_slug(name) == slug
