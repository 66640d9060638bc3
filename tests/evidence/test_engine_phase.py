"""The crank angle keeps step with the firings although the speed is a little wrong."""

import numpy as np
import pytest

from acoustic.evidence.engine_phase import PhaseSettings, crank_angle
from acoustic.evidence.stretch_spectrum import StretchSpectrum
from acoustic.recording.recording import Recording, Stretch
from acoustic.recording.speed_trace import SpeedTrace

SECONDS = 20.0


def followed(recording, speed, engine, **settings):
    sound = StretchSpectrum(recording, Stretch(0.0, recording.duration_s))
    return crank_angle(sound, speed, engine, PhaseSettings(**settings))


def test_drift_of_a_wrong_speed_is_taken_out(four, steady, sound_of) -> None:
    """At 13.00 Hz told as 13.02, 0.4 turns are lost in 20 s; firing at order 2 and 4."""
    recording = sound_of(steady(13.0), SECONDS, {2.0: 0.1, 4.0: 0.08})
    angle = followed(recording, steady(13.02), four)
    assert angle.followed_order in (2.0, 4.0)
    time_s = np.arange(1.0, 19.0)
    told, kept = 13.02 * time_s, angle.at(time_s)
    assert np.ptp(told - 13.0 * time_s) == pytest.approx(0.34, abs=0.01)
    assert np.ptp(kept - 13.0 * time_s) < 0.01


def test_noise_is_not_followed(four, steady, sound_of) -> None:
    """Without a line that stands out the given speed stays as it is."""
    angle = followed(sound_of(steady(13.0), SECONDS, noise=0.1), steady(13.02), four)
    assert angle.followed_order is None
    assert angle.at(np.array([10.0])) == pytest.approx(130.2, abs=1e-6)


def test_an_engine_of_uneven_fire_is_followed_at_any_line_of_its_comb(
    odd_fire, four, steady, sound_of
) -> None:
    """Order 2.5 is the engine's where it fires unevenly, nobody's in a four that does not."""
    recording = sound_of(steady(13.0), SECONDS, {2.5: 0.1})
    assert followed(recording, steady(13.01), odd_fire).followed_order == 2.5
    assert followed(recording, steady(13.01), four).followed_order is None


def test_a_speed_that_wanders_is_left_in_step(four, wandering, sound_of) -> None:
    """A true trace is not made worse by following the line."""
    speed = wandering(13.0, 0.02, SECONDS)
    angle = followed(sound_of(speed, SECONDS, {2.0: 0.1}), speed, four)
    time_s = np.arange(0.5, 19.5, 0.1)
    fine_s = np.arange(0.0, SECONDS, 0.001)
    turns = np.concatenate([[0.0], np.cumsum(speed.at(fine_s)[:-1] * 0.001)])
    assert np.ptp(angle.at(time_s) - np.interp(time_s, fine_s, turns)) < 0.02


def test_a_band_is_cut_out_at_its_level() -> None:
    """A sine of amplitude 0.2 in the band has envelope 0.2 / 2 (one side of the spectrum)."""
    time_s = np.arange(48000) / 48000.0
    sound = Recording((0.2 * np.sin(2 * np.pi * 3000.0 * time_s)).astype(np.float32), 48000.0)
    band, rate_hz = StretchSpectrum(sound, Stretch(0.0, 1.0)).band(2000.0, 4000.0)
    assert rate_hz == pytest.approx(2000.0, rel=0.02)
    assert np.abs(band[200:-200]) == pytest.approx(0.1, rel=0.02)
    other, _ = StretchSpectrum(sound, Stretch(0.0, 1.0)).band(5000.0, 7000.0)
    assert np.abs(other).max() < 1e-3


def test_a_trace_of_one_point_is_enough(four, sound_of) -> None:
    """A constant speed, and a stretch that starts late in the recording."""
    speed = SpeedTrace(np.array([0.0]), np.array([12.0]), "given", 0.0)
    recording = sound_of(speed, SECONDS, {2.0: 0.1})
    sound = StretchSpectrum(recording, Stretch(8.0, 18.0))
    angle = crank_angle(sound, speed, four, PhaseSettings())
    assert angle.at(np.array([8.0, 18.0])) == pytest.approx([0.0, 120.0], abs=0.02)
