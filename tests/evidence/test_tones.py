"""Tones: found where they are, as loud as they are, and no others."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.evidence.audibility import critical_bandwidth_hz, tone_to_noise_limit_db
from acoustic.evidence.comb import comb_levels
from acoustic.evidence.tones import ToneSettings, claimed, find_tones, order_sd
from acoustic.recording.recording import Recording

SPEED_HZ = 20.0
NOISE_RMS = 0.02
RATE_HZ = 8000.0
SECONDS = 20.0


def _rms_of(tone_to_noise_db: float, order: float) -> float:
    """Rms of a tone with this ratio to the white noise in its critical band."""
    width = float(critical_bandwidth_hz(order * SPEED_HZ))
    return NOISE_RMS * np.sqrt(width / (RATE_HZ / 2) * 10 ** (tone_to_noise_db / 10))


@pytest.fixture(scope="module")
def tones_of(sound_of, steady, tracked, four):
    """Tones found in {order: tone-to-noise ratio} at a held 1200 rpm."""

    def find(planted: dict[float, float], seed: int = 1, settings: ToneSettings | None = None):
        speed = steady(SPEED_HZ)
        orders = {order: _rms_of(db, order) for order, db in planted.items()}
        recording = sound_of(speed, SECONDS, orders, noise=NOISE_RMS, seed=seed)
        spectrum = tracked(recording, speed)
        return find_tones(spectrum, comb_levels(spectrum, four), None, speed, settings)

    return find


PLANTED = {8.23: 3.0, 22.77: -4.0, 31.28: 9.0, 57.7: -2.0, 101.3: 5.0}


@pytest.fixture(scope="module")
def found(tones_of):
    """Five planted tones of very different level and order, found."""
    return tones_of(PLANTED)


def _nearest(tones, order):
    return min(tones, key=lambda tone: abs(tone.order - order))


def test_every_planted_tone_is_found_and_nothing_else(found) -> None:
    """Five tones of -4 to 9 dB: five claims, each within three sd of its place."""
    sure = claimed(found)
    assert len(sure) == len(PLANTED)
    for order in PLANTED:
        tone = _nearest(sure, order)
        assert abs(tone.order - order) < 3 * tone.order_sd
        assert tone.frequency_hz == pytest.approx(tone.order * SPEED_HZ)


def test_position_error(found) -> None:
    """A line well above the floor is placed within 0.1 of its bin."""
    for order, turns in ((8.23, 64), (31.28, 32), (101.3, 16)):
        assert abs(_nearest(found, order).order - order) < 0.1 / turns


@pytest.mark.parametrize("order", sorted(PLANTED))
def test_tone_to_noise_ratio(tones_of, order) -> None:
    """Mean of six recordings within 1 dB of the planted ratio."""
    measured = [
        _nearest(tones_of(PLANTED, seed=seed), order).tone_to_noise_db for seed in range(2, 8)
    ]
    assert np.mean(measured) == pytest.approx(PLANTED[order], abs=1.0)


def test_prominent_is_what_the_standard_calls_so(tones_of) -> None:
    """At 626 Hz the limit is 9.7 dB: 12.5 dB is prominent, 7 dB is not."""
    assert tone_to_noise_limit_db(31.28 * SPEED_HZ) == pytest.approx(9.7, abs=0.05)
    assert _nearest(tones_of({31.28: 12.5}), 31.28).prominent
    assert not _nearest(tones_of({31.28: 7.0}), 31.28).prominent


def test_a_tone_far_below_hearing_is_found(tones_of) -> None:
    """-10 dB is nothing to the ear (limit +9.7) and still certain to the screen."""
    tone = _nearest(claimed(tones_of({31.28: -10.0})), 31.28)
    assert tone.order == pytest.approx(31.28, abs=0.02)
    assert not tone.prominent


def test_two_tones_three_bins_apart_are_two(tones_of) -> None:
    """2.25 Hz apart with segments of 1.6 s (32 turns): both are listed."""
    apart = 3.2 / 32
    near = [t for t in tones_of({31.2: 6.0, 31.2 + apart: 6.0}) if abs(t.order - 31.25) < 0.5]
    assert sorted(t.order for t in near) == pytest.approx([31.2, 31.2 + apart], abs=0.02)


def test_a_loud_wavering_tone_is_one_tone(sound_of, steady, tracked, four) -> None:
    """24 dB, its level swinging by a fifth four times a segment: its skirts are no tones."""
    speed = steady(SPEED_HZ)
    loud = sound_of(speed, SECONDS, {57.3: _rms_of(24.0, 57.3)}, noise=0.0)
    noise = sound_of(speed, SECONDS, noise=NOISE_RMS)
    time = np.arange(noise.samples.size) / RATE_HZ
    swing = 1.0 + 0.2 * np.sin(2 * np.pi * 4 * SPEED_HZ / 16 * time)
    wavering = Recording((noise.samples + loud.samples * swing).astype(np.float32), RATE_HZ)
    spectrum = tracked(wavering, speed)
    tones = claimed(find_tones(spectrum, comb_levels(spectrum, four), None, speed))
    assert [round(tone.order, 1) for tone in tones] == [57.3]


def test_strongest_first(found) -> None:
    """The list runs from the one most above its floor."""
    excess = [tone.excess_db for tone in found]
    assert excess == sorted(excess, reverse=True)


def test_a_tone_on_a_half_order_is_not_claimed(tones_of) -> None:
    """Order 23.5 belongs to the engine: a line there is never called a part's."""
    assert not [t for t in claimed(tones_of({23.5: 6.0})) if abs(t.order - 23.5) < 0.2]


def test_p_value_falls_with_level(tones_of) -> None:
    """The louder the less likely by chance; a claim is sure to 1 % per recording."""
    weak, strong = (
        _nearest(tones_of({31.28: db}, settings=ToneSettings(0.2, 0.2)), 31.28)
        for db in (-15.0, -8.0)
    )
    assert strong.p_value < weak.p_value
    settings = ToneSettings(false_alarms_per_recording=0.01)
    tones = (replace(weak, p_value=0.02), replace(weak, p_value=0.005))
    assert claimed(tones, settings) == (tones[1],)


def test_a_steady_tone_is_there_all_the_time(found) -> None:
    """Persistence 1 for a tone well over its floor."""
    assert _nearest(found, 31.28).persistence == 1.0


def test_order_sd_by_hand() -> None:
    """0.15 of a bin with slip wander and speed error: at order 10 of 64 turns 0.0076."""
    by_hand = np.hypot(0.15 / 64, 10 * np.hypot(4e-4, 6e-4))
    assert order_sd(10.0, 64) == pytest.approx(by_hand)
    assert by_hand == pytest.approx(0.0076, abs=5e-5)
