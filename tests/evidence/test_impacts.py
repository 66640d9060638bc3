"""Knocks are found where they are, whatever the engine and the phone do meanwhile."""

import numpy as np
import pytest

from acoustic.evidence.chirps import ChirpTrain
from acoustic.evidence.impact_findings import AT_RANDOM, impact_findings
from acoustic.evidence.impacts import (
    ImpactSettings,
    band_trains,
    find_impacts,
    share_in_cries,
)
from acoustic.recording.recording import Recording

RATE_HZ = 24000.0
SECONDS = 12.0


def ticking(rng, seconds=SECONDS, speed_hz=13.0, scatter_db=1.5):
    """White noise that is four times as strong for 3 ms after each of two firings a turn."""
    count = int(seconds * RATE_HZ)
    since_s = np.arange(count) / RATE_HZ % (1 / (2 * speed_hz))
    firing = (np.arange(count) / RATE_HZ * 2 * speed_hz).astype(int)
    strength = 10.0 ** (scatter_db * rng.standard_normal(firing[-1] + 1) / 20.0)
    tick = 3.0 * strength[firing] * (since_s < 0.003)
    return 0.01 * (1.0 + tick) * rng.standard_normal(count)


def add_knocks(sound, times_s, amplitude, hz=3400.0, decay_s=0.0015):
    """Add damped sines of this first amplitude at these times."""
    ring_s = np.arange(int(0.012 * RATE_HZ)) / RATE_HZ
    ring = amplitude * np.exp(-ring_s / decay_s) * np.sin(2 * np.pi * hz * ring_s)
    for time_s in times_s:
        first = int(time_s * RATE_HZ)
        sound[first : first + ring.size] += ring[: sound.size - first]
    return sound


def recorded(sound) -> Recording:
    return Recording(sound.astype(np.float32), RATE_HZ)


@pytest.fixture
def whole(stretches):
    """The whole recording is used."""
    return stretches((0.0, SECONDS))


def test_a_ticking_engine_does_not_knock(four, steady, whole) -> None:
    """Ticks in every firing, 12 dB strong and alike to 1.5 dB, are usual: 1 in 50 at most."""
    sound = recorded(ticking(np.random.default_rng(1)))
    trains = band_trains(sound, whole, steady(13.0), four, 11000.0)
    assert [(t.low_hz, t.high_hz) for t in trains] == list(ImpactSettings().bands_hz)
    for train in trains:
        assert train.times_s.size <= 0.02 * 2 * train.revolutions


def test_knocks_are_found_where_they_are(four, steady, whole) -> None:
    """Forty knocks 0.29 s apart: all found, within 3 ms, in the band they ring in."""
    times_s = 0.2 + 0.29 * np.arange(40)
    sound = add_knocks(ticking(np.random.default_rng(2)), times_s, 0.25)
    train = find_impacts(recorded(sound), whole, steady(13.0), four, 11000.0)
    assert (train.low_hz, train.high_hz) == (2400.0, 4800.0)
    nearest = np.min(np.abs(train.times_s[:, None] - times_s), axis=0)
    assert np.all(nearest < 0.003)
    assert train.times_s.size <= 40 + 0.02 * 2 * train.revolutions
    assert train.turns == pytest.approx(13.0 * train.times_s, abs=0.05)


def test_strength_over_what_is_usual_there(four, steady, whole) -> None:
    """A knock ten times as strong in amplitude is reported 20 dB stronger."""
    times_s = 0.2 + 0.29 * np.arange(40)
    strengths = []
    for amplitude in (0.3, 3.0):
        sound = add_knocks(ticking(np.random.default_rng(3)), times_s, amplitude)
        train = find_impacts(recorded(sound), whole, steady(13.0), four, 11000.0)
        strengths.append(np.median(train.strength_db))
    assert strengths[1] - strengths[0] == pytest.approx(20.0, abs=1.5)


def test_automatic_gain_makes_no_knocks_and_hides_none(four, steady, whole) -> None:
    """The same knocks while the gain swings by 12 dB once in 4 s."""
    times_s = 0.2 + 0.29 * np.arange(40)
    sound = add_knocks(ticking(np.random.default_rng(4)), times_s, 0.25)
    swing_db = 6.0 * np.sin(2 * np.pi * np.arange(sound.size) / RATE_HZ / 4.0)
    plain = find_impacts(recorded(sound), whole, steady(13.0), four, 11000.0)
    swung = find_impacts(recorded(sound * 10 ** (swing_db / 20)), whole, steady(13.0), four, 11e3)
    assert swung.times_s.size == pytest.approx(plain.times_s.size, abs=3)
    assert swung.excess == pytest.approx(plain.excess, rel=0.2)


def test_only_what_is_used_is_looked_at(four, steady, stretches) -> None:
    """Knocks in the part left out are not there, and angles run on over the gap."""
    times_s = np.concatenate([0.3 + 0.5 * np.arange(9), 5.2 + 0.05 * np.arange(18)])
    sound = add_knocks(ticking(np.random.default_rng(5)), times_s, 0.3)
    used = stretches((0.0, 5.0), (6.5, SECONDS))
    train = find_impacts(recorded(sound), used, steady(13.0), four, 11000.0)
    assert not np.any((train.times_s > 5.0) & (train.times_s < 6.5))
    assert train.seconds == pytest.approx(10.5, abs=0.4)
    assert train.revolutions == pytest.approx(13.0 * 10.5, abs=4)
    assert train.turns.max() < train.revolutions
    assert train.needed_db.shape == (2, ImpactSettings().points)
    assert set(train.piece) <= {0, 1}


def test_bands_above_the_cutoff_are_left_out(four, steady, whole) -> None:
    """A voice codec's 3.4 kHz leaves the two lowest bands; 900 Hz leaves none."""
    sound = recorded(ticking(np.random.default_rng(6)))
    trains = band_trains(sound, whole, steady(13.0), four, 3400.0)
    assert [(t.low_hz, t.high_hz) for t in trains] == [(800.0, 1600.0), (1400.0, 2800.0)]
    assert find_impacts(sound, whole, steady(13.0), four, 900.0) is None


def test_too_short_to_know_what_is_usual(four, steady, stretches) -> None:
    """Eleven working cycles say too little."""
    sound = recorded(ticking(np.random.default_rng(7), seconds=2.0))
    assert find_impacts(sound, stretches((0.0, 1.7)), steady(13.0), four, 11000.0) is None


def add_cries(sound, middles_s, amplitude, hz=3400.0, length_s=0.04):
    """Add tones that swell and die away as a sine, their middle at these times."""
    time_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    cry = amplitude * np.sin(np.pi * time_s / length_s) ** 2 * np.sin(2 * np.pi * hz * time_s)
    for middle_s in middles_s:
        first = int((middle_s - length_s / 2) * RATE_HZ)
        sound[first : first + cry.size] += cry
    return sound


def cries_at(middles_s, hz=3400.0) -> ChirpTrain:
    """What finding these cries gives."""
    middles_s = np.asarray(middles_s)
    return ChirpTrain(
        times_s=middles_s,
        turns=13.0 * middles_s,
        ratio=np.full(middles_s.size, 30.0),
        piece=np.zeros(middles_s.size, dtype=np.intp),
        pitch_hz=hz,
        share_of_all=1.0,
        others_per_s=0.0,
        seconds=SECONDS,
        revolutions=13.0 * SECONDS,
    )


@pytest.fixture
def middles_s():
    """Forty moments at random, at least 0.13 s apart, in step with nothing."""
    return 0.3 + np.cumsum(0.13 + np.random.default_rng(8).exponential(0.14, 40))


def test_cries_are_marked_and_knocks_between_them_are_not(four, steady, whole, middles_s) -> None:
    """What lies within 0.03 s of a cry's middle is the cry; the power is that of the knocks."""
    sound = add_cries(ticking(np.random.default_rng(8)), middles_s, 0.25)
    sound = recorded(add_knocks(sound, middles_s[:-1] + 0.065, 0.25))
    plain = find_impacts(sound, whole, steady(13.0), four, 11000.0)
    train = find_impacts(sound, whole, steady(13.0), four, 11000.0, None, cries_at(middles_s))
    near = np.min(np.abs(train.times_s[:, None] - middles_s), axis=1) <= 0.03
    assert np.array_equal(train.cry, near)
    assert np.count_nonzero(train.cry) >= 36
    knocked = np.min(np.abs(train.times_s[~train.cry][:, None] - middles_s[:-1] - 0.065), axis=0)
    assert np.count_nonzero(knocked < 0.003) >= 36
    assert train.excess < plain.excess
    assert not plain.cry.any()


def test_cries_of_another_band_are_not_its_knocks(four, steady, whole, middles_s) -> None:
    """A cry at 900 Hz does not explain what is heard above 2.4 kHz."""
    sound = recorded(add_knocks(ticking(np.random.default_rng(9)), middles_s, 0.25))
    train = find_impacts(sound, whole, steady(13.0), four, 11000.0, None, cries_at(middles_s, 900))
    assert not train.cry.any()


def test_cries_at_random_are_no_rattle(four, steady, whole, middles_s) -> None:
    """They would be taken for one; knocks at the same moments still are."""
    found = {}
    for kind, add in (("cries", add_cries), ("knocks", add_knocks)):
        sound = recorded(add(ticking(np.random.default_rng(10)), middles_s, 0.5))
        for known in (None, cries_at(middles_s)) if kind == "cries" else (None,):
            train = find_impacts(sound, whole, steady(13.0), four, 11000.0, None, known)
            ratio = {one.noise: one.ln_ratio for one in impact_findings(train, four)}
            found[kind, known is not None] = ratio[AT_RANDOM]
    assert found["cries", False] > 1.0
    assert found["cries", True] < 0.0
    assert found["knocks", False] > 1.0


def test_share_in_cries(four, steady, whole, middles_s) -> None:
    """Cries alone: nearly all is theirs. One cry known among forty knocks: nearly nothing."""
    known, one = cries_at(middles_s), cries_at(middles_s[:1])
    crying = recorded(add_cries(ticking(np.random.default_rng(11)), middles_s, 0.5))
    knocking = recorded(add_knocks(ticking(np.random.default_rng(11)), middles_s, 0.5))
    shares = [
        share_in_cries(band_trains(sound, whole, steady(13.0), four, 11000.0, None, given), given)
        for sound, given in ((crying, known), (knocking, one))
    ]
    assert shares[0] > 0.9
    assert shares[1] < 0.2
    assert share_in_cries((), None) == 1.0
    assert share_in_cries((), known) == 1.0
