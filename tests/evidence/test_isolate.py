"""A part out of a recording: hand-made sound, a planted line, everything else beside it."""

import numpy as np
import pytest

from acoustic.evidence.isolate import (
    crank_turns,
    faded,
    gain_to_peak_db,
    half_speed,
    isolate_band,
    isolate_lines,
    octaves_up,
)
from acoustic.recording.speed_trace import SpeedTrace

RATE_HZ = 16000.0
SECONDS = 12.0
COUNT = int(SECONDS * RATE_HZ)
ORDER = 10.27
LSB = 2.0**-15


def power_db(sound):
    """Mean power. [dB]"""
    return 10 * np.log10(np.mean(np.square(sound, dtype=np.float64)) + 1e-30)


def outside_db(sound, rate_hz, bands_hz):
    """Power outside of these bands over all of it. [dB]"""
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    hz = np.fft.rfftfreq(sound.size, 1 / rate_hz)
    inside = np.any([(hz >= low) & (hz <= high) for low, high in bands_hz], axis=0)
    return 10 * np.log10(power[~inside].sum() / power.sum() + 1e-30)


def swept(start_rpm=800.0, end_rpm=2400.0):
    """Angle of a crankshaft that runs up evenly."""
    speed = SpeedTrace(np.array([0.0, SECONDS]), np.array([start_rpm, end_rpm]) / 60, "given", 0)
    return crank_turns(speed, 0.0, COUNT, RATE_HZ)


def engine(turns):
    """Half orders up to order 30 and noise; fixed seed."""
    sound = 0.02 * np.random.default_rng(11).standard_normal(turns.size)
    for half in range(1, 61):
        sound += 0.1 / np.sqrt(half) * np.cos(2 * np.pi * 0.5 * half * turns + half)
    return sound.astype(np.float32)


def line(turns, amplitude=0.05, order=ORDER):
    """One steady line that follows the crankshaft."""
    return (amplitude * np.cos(2 * np.pi * order * turns + 0.4)).astype(np.float32)


def test_the_angle_of_a_run_up_is_its_mean_speed_times_its_length():
    """800 to 2400 rpm in 12 s: 320 turns; the second second alone from 933 to 1067 rpm."""
    assert swept()[-1] == pytest.approx(1600 / 60 * SECONDS, rel=1e-4)
    speed = SpeedTrace(np.array([0.0, SECONDS]), np.array([800.0, 2400.0]) / 60, "given", 0)
    assert crank_turns(speed, 1.0, 16001, RATE_HZ)[-1] == pytest.approx(1000 / 60, rel=1e-6)


def test_a_planted_line_is_kept_while_the_speed_triples():
    """Within 1 dB in each second, at its ends too; what is left holds 20 dB less of it."""
    turns = swept()
    planted = line(turns)
    found = isolate_lines(planted, RATE_HZ, turns, [ORDER])
    for first in range(0, COUNT, int(RATE_HZ)):
        part = slice(first, first + int(RATE_HZ))
        assert power_db(found.alone[part]) == pytest.approx(power_db(planted[part]), abs=1.0)
    assert power_db(found.without) < power_db(planted) - 20


def test_everything_else_is_lowered_by_20_db():
    """The engine's half orders and noise, and a line 0.4 orders off, in the same run-up."""
    turns = swept()
    other = engine(turns)
    found = isolate_lines(other, RATE_HZ, turns, [ORDER])
    assert power_db(found.alone) < power_db(other) - 20
    beside = line(turns, order=ORDER + 0.4)
    assert power_db(isolate_lines(beside, RATE_HZ, turns, [ORDER]).alone) < power_db(beside) - 20


def test_a_line_of_the_engine_nearby_is_kept_out():
    """Order 10.06 in a run-up: 0.06 from the engine's tenth, the window gives way to it."""
    turns = swept()
    other = line(turns, order=10.0)
    wide, narrow = (
        isolate_lines(other, RATE_HZ, turns, [10.06], comb_step=step).alone for step in (None, 0.5)
    )
    assert power_db(narrow) < power_db(wide) - 10
    planted = line(turns, order=10.06)
    kept = isolate_lines(planted, RATE_HZ, turns, [10.06], comb_step=0.5).alone
    assert power_db(kept) == pytest.approx(power_db(planted), abs=1.0)


def test_a_wrong_speed_would_be_seen():
    """Followed at a held speed, the same line of the run-up is lost: the test above can fail."""
    planted = line(swept())
    found = isolate_lines(planted, RATE_HZ, swept(1600.0, 1600.0), [ORDER])
    assert power_db(found.alone) < power_db(planted) - 10


def test_alone_and_without_sum_to_the_recording():
    """Within half a step of a 16-bit file, for lines that lie near each other and for a band."""
    turns = swept()
    sound = engine(turns) + line(turns)
    for found in (
        isolate_lines(sound, RATE_HZ, turns, [ORDER, ORDER + 0.02, 20.5]),
        isolate_band(sound, RATE_HZ, (600.0, 1000.0)),
    ):
        assert found.alone + found.without == pytest.approx(sound, abs=LSB / 2)


def test_a_line_asked_for_twice_is_taken_once():
    """Two places within one window: the line is as strong as planted, not twice."""
    turns = swept()
    planted = line(turns)
    found = isolate_lines(planted, RATE_HZ, turns, [ORDER, ORDER + 0.001])
    assert power_db(found.alone) == pytest.approx(power_db(planted), abs=1.0)


def test_lines_beyond_half_the_sample_rate_are_left():
    """Order 300 at 2400 rpm is 12 kHz of 8: it is not there to be taken."""
    found = isolate_lines(engine(swept()), RATE_HZ, swept(), [ORDER, 300.0])
    assert [one.order for one in found.lines] == [ORDER]


def test_a_band_passes_and_the_rest_does_not():
    """A tone in the band within 0.1 dB, at its ends too; one a fifth outside 60 dB lower."""
    time = np.arange(COUNT) / RATE_HZ
    tones = [np.sin(2 * np.pi * hz * time).astype(np.float32) for hz in (620.0, 800.0, 1200.0)]
    for inside in tones[:2]:
        kept = isolate_band(inside, RATE_HZ, (600.0, 1000.0)).alone
        assert power_db(kept) == pytest.approx(power_db(inside), abs=0.1)
        assert power_db(kept[:1600]) == pytest.approx(power_db(inside[:1600]), abs=0.5)
    outside = isolate_band(tones[2], RATE_HZ, (600.0, 1000.0)).alone
    assert power_db(outside[1600:-1600]) < power_db(tones[2]) - 60


def test_octaves_up_moves_the_line_and_nothing_else():
    """Order 7.5 at 800 rpm is 100 Hz; two octaves up it is 400 Hz, as strong, and all there is."""
    turns = swept(800.0, 800.0)
    sound = engine(turns) + line(turns, order=7.27)
    found = isolate_lines(sound, RATE_HZ, turns, [7.27])
    up = octaves_up(found, 2, RATE_HZ)
    hz = 4 * 7.27 * 800 / 60
    assert power_db(up) == pytest.approx(power_db(found.alone), abs=0.1)
    assert outside_db(up, RATE_HZ, [(hz - 3, hz + 3)]) < -60
    assert outside_db(found.alone, RATE_HZ, [(hz - 3, hz + 3)]) > -1


def test_an_octave_too_high_is_left_out():
    """Order 30 at up to 2400 rpm is 1200 Hz: three octaves up it lies beyond half of 16000."""
    turns = swept()
    found = isolate_lines(line(turns, order=30.0), RATE_HZ, turns, [30.0])
    assert power_db(octaves_up(found, 2, RATE_HZ)) > -40
    assert not octaves_up(found, 3, RATE_HZ).any()


def test_half_speed_is_twice_as_long_and_an_octave_lower():
    """A tone of 800 Hz becomes one of 400 Hz of the same strength, and nothing beside it."""
    time = np.arange(COUNT) / RATE_HZ
    tone = faded(np.sin(2 * np.pi * 800 * time).astype(np.float32), RATE_HZ, 0.03)
    slow = half_speed(tone)
    assert slow.size == 2 * tone.size
    assert power_db(slow) == pytest.approx(power_db(tone), abs=0.01)
    assert outside_db(slow, RATE_HZ, [(399, 401)]) < -60


def test_fades_start_and_end_at_nothing():
    """The first and last sample are near 0, the middle is untouched, stereo alike."""
    for ones in (np.ones(1000, np.float32), np.ones((1000, 2), np.float32)):
        sound = faded(ones, 1000.0, 0.1)
        assert np.abs(sound[[0, -1]]).max() < 0.001
        assert (sound[100:-100] == 1).all()


def test_gain_goes_to_the_peak_but_not_beyond_the_limit():
    """From 0.01 to 0.1 is 20 dB; at most 15 if that is the limit; silence stays silence."""
    quiet = np.array([0.0, -0.01, 0.005], np.float32)
    assert gain_to_peak_db(quiet, 0.1, 60.0) == pytest.approx(20.0, abs=0.001)
    assert gain_to_peak_db(quiet, 0.1, 15.0) == 15.0
    assert gain_to_peak_db(np.zeros(3, np.float32), 0.1, 60.0) == 0.0
