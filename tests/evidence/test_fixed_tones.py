"""A fan or mains hum stays in Hz; a part's tone moves with the engine."""

import numpy as np
import pytest

from acoustic.evidence.comb import comb_levels
from acoustic.evidence.findings import Tone
from acoustic.evidence.fixed_tones import fixed_lines, spectrum_over_hz, tone_kind
from acoustic.evidence.tones import find_tones

SECONDS = 24.0
SPEED_HZ = 20.0
FOLLOWING = 33.3
FIXED_HZ = 953.0


@pytest.fixture(scope="module")
def tones_at(sound_of, tracked, stretches, four):
    """Tones of a sound with one of each, at the speed given."""

    def find(speed) -> tuple[Tone, ...]:
        recording = sound_of(speed, SECONDS, {FOLLOWING: 0.008}, {FIXED_HZ: 0.004})
        spectrum = tracked(recording, speed)
        over_hz = spectrum_over_hz(recording, stretches((0.0, SECONDS)), 2.0, 3600.0)
        return find_tones(spectrum, comb_levels(spectrum, four), over_hz, speed)

    return find


def _near(tones: tuple[Tone, ...], hz: float) -> list[Tone]:
    return [tone for tone in tones if abs(tone.frequency_hz / hz - 1) < 0.01]


def test_told_apart_when_the_speed_wanders(tones_at, wandering) -> None:
    """With ± 3 % of wander the one follows the engine and the other does not."""
    tones = tones_at(wandering(SPEED_HZ, 0.03, SECONDS))
    (following,) = _near(tones, FOLLOWING * SPEED_HZ)
    assert following.kind == "follows speed"
    (fixed,) = _near(tones, FIXED_HZ)
    assert fixed.kind == "fixed frequency"
    assert fixed.frequency_hz == pytest.approx(FIXED_HZ, abs=0.5)


@pytest.mark.parametrize("share", [0.01, 0.02])
def test_a_hum_makes_no_tones_that_follow_the_speed(tones_at, wandering, share) -> None:
    """One fan and one part sound: the part's tone is all that follows the engine."""
    tones = tones_at(wandering(SPEED_HZ, share, SECONDS))
    following = [tone for tone in tones if tone.kind == "follows speed"]
    assert [round(tone.order, 1) for tone in following] == [FOLLOWING]


def test_cannot_tell_at_a_perfectly_held_speed(tones_at, steady) -> None:
    """Both are found, and neither is said to be the one or the other."""
    tones = tones_at(steady(SPEED_HZ))
    for hz in (FOLLOWING * SPEED_HZ, FIXED_HZ):
        (tone,) = [tone for tone in _near(tones, hz) if not tone.on_comb]
        assert tone.kind == "cannot tell"


def test_cannot_tell_without_a_spectrum_over_hz(wandering, sound_of, tracked, band_at) -> None:
    """No stretch long enough for it: no claim."""
    speed = wandering(SPEED_HZ, 0.02, SECONDS)
    band = band_at(tracked(sound_of(speed, SECONDS, {FOLLOWING: 0.01}), speed), FOLLOWING)
    assert tone_kind(FOLLOWING, 3.0, band, None, speed, SPEED_HZ) == "cannot tell"


def test_no_spectrum_from_stretches_too_short(sound_of, steady, stretches) -> None:
    """1.5 s do not hold a segment of 2 s."""
    recording = sound_of(steady(SPEED_HZ), 4.0)
    assert spectrum_over_hz(recording, stretches((0.0, 1.5), (2.0, 3.5)), 2.0, 3600.0) is None


def test_frequency_axis(sound_of, steady, stretches) -> None:
    """A tone of 953 Hz stands at 953 Hz, bins of half a hertz from 2 s."""
    recording = sound_of(steady(SPEED_HZ), SECONDS, fixed_hz={FIXED_HZ: 0.01})
    over_hz = spectrum_over_hz(recording, stretches((0.0, SECONDS)), 2.0, 3600.0)
    assert over_hz is not None
    assert over_hz.frequency_hz[np.argmax(over_hz.excess)] == FIXED_HZ
    assert np.diff(over_hz.frequency_hz) == pytest.approx(0.5)
    assert over_hz.frequency_hz[-1] == 3600.0
    assert over_hz.persistence[np.argmax(over_hz.excess)] == 1.0


def test_fixed_lines_needs_a_speed_that_moved(sound_of, steady, wandering, stretches) -> None:
    """At a held speed every line is fixed in Hz: none is claimed to be."""
    for speed, wanted in ((steady(SPEED_HZ), []), (wandering(SPEED_HZ, 0.02, SECONDS), [FIXED_HZ])):
        recording = sound_of(speed, SECONDS, {FOLLOWING: 0.008}, {FIXED_HZ: 0.008})
        over_hz = spectrum_over_hz(recording, stretches((0.0, SECONDS)), 2.0, 3600.0)
        found = [hz for hz, _, _ in fixed_lines(over_hz, speed, (60.0, 3600.0), 0.01)]
        assert found == wanted


def test_noise_has_no_fixed_lines(sound_of, wandering, stretches) -> None:
    """At a level of 5 % at most 5 of 40 recordings of noise (expected 2) show one."""
    speed = wandering(SPEED_HZ, 0.02, 12.0)
    count = 0
    for seed in range(40):
        over_hz = spectrum_over_hz(
            sound_of(speed, 12.0, seed=seed), stretches((0.0, 12.0)), 2.0, 3600.0
        )
        count += bool(fixed_lines(over_hz, speed, (60.0, 3600.0), 0.05))
    assert count <= 5
