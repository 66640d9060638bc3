"""The order spectrum: levels that automatic gain cannot spoil, limits, stretches."""

from itertools import pairwise

import numpy as np
import pytest

from acoustic.errors import SpeedError
from acoustic.evidence.order_spectrum import TrackingSettings, track_orders
from acoustic.recording.recording import Recording

TONE = 23.3
SPEED_HZ = 20.0


@pytest.fixture(scope="module")
def recording(sound_of, steady) -> Recording:
    """24 s at 1200 rpm: a tone of order 23.3 in noise."""
    return sound_of(steady(SPEED_HZ), 24.0, {TONE: 0.01})


def _with_gain(recording: Recording, gain: np.ndarray) -> Recording:
    return Recording((recording.samples * gain).astype(np.float32), recording.sample_rate_hz)


def test_a_level_step_between_two_stretches_changes_nothing(recording, steady, tracked) -> None:
    """20 dB less from half-time on: the same spectrum to 0.01 dB."""
    parts = ((0.0, 12.0), (12.0, 24.0))
    gain = np.where(np.arange(recording.samples.size) < recording.samples.size // 2, 1.0, 0.1)
    plain = tracked(recording, steady(SPEED_HZ), parts)
    stepped = tracked(_with_gain(recording, gain), steady(SPEED_HZ), parts)
    for one, other in zip(plain.bands, stepped.bands, strict=True):
        assert one.segments == other.segments
        # Below order 3 (60 Hz) the phone hears nothing and segments are few.
        seen = one.visible
        assert one.level_db[seen] == pytest.approx(other.level_db[seen], abs=0.01)
        assert one.excess[seen] == pytest.approx(other.excess[seen], abs=0.01)


def test_riding_gain_hardly_moves_a_tone(recording, steady, tracked, band_at) -> None:
    """Gain that swings by ± 8 dB every 6 s: the tone's excess within 0.5 dB."""
    time = np.arange(recording.samples.size) / recording.sample_rate_hz
    gain = 10 ** (8 * np.sin(2 * np.pi * time / 6.0) / 20)
    plain = band_at(tracked(recording, steady(SPEED_HZ)), TONE)
    ridden = band_at(tracked(_with_gain(recording, gain), steady(SPEED_HZ)), TONE)
    top = int(np.argmin(np.abs(plain.orders - TONE)))
    assert plain.excess[top] > 2.0
    assert ridden.excess[top] == pytest.approx(plain.excess[top], abs=0.5 * np.log(10) / 10)


def test_stretches_are_never_crossed(recording, steady, tracked) -> None:
    """What lies between two stretches, here loud clicks, has no way into the spectrum."""
    parts = ((0.0, 10.0), (13.0, 23.0))
    spoiled = recording.samples.copy()
    spoiled[80100:103900:1000] = 1.0
    clean = tracked(recording, steady(SPEED_HZ), parts)
    other = tracked(Recording(spoiled, recording.sample_rate_hz), steady(SPEED_HZ), parts)
    for one, two in zip(clean.bands, other.bands, strict=True):
        assert two.level_db == pytest.approx(one.level_db, abs=1e-9)


def test_segments_are_counted_stretch_by_stretch(recording, steady, tracked, band_at) -> None:
    """10 s at 20 turns a second: 200 turns, 11 half-overlapping segments of 32; twice that."""
    spectrum = tracked(recording, steady(SPEED_HZ), ((0.0, 10.0), (13.0, 23.0)))
    band = band_at(spectrum, TONE)
    assert band.revolutions == 32
    assert band.segments == 2 * (200 // 16 - 1)
    assert spectrum.revolutions_used == pytest.approx(400.0, abs=0.5)


def test_a_stretch_too_short_for_a_segment_is_left_out(recording, steady, tracked) -> None:
    """A fifth of a second (4 turns) beside 10 s adds nothing."""
    alone = tracked(recording, steady(SPEED_HZ), ((0.0, 10.0),))
    beside = tracked(recording, steady(SPEED_HZ), ((0.0, 10.0), (12.0, 12.2)))
    assert beside.revolutions_used == alone.revolutions_used


def test_no_stretch_long_enough_is_said_with_a_way_out(recording, steady, tracked) -> None:
    """The message names the recording and asks for ten seconds."""
    with pytest.raises(SpeedError, match=r"recording: no steady stretch holds 6 turns.*10 seconds"):
        tracked(recording, steady(SPEED_HZ), ((0.0, 0.2),))


def test_nothing_is_visible_below_60_hz_or_on_the_engines_lines(
    recording, steady, tracked, band_at
) -> None:
    """At 20 turns a second order 3 is 60 Hz; order 20 is a firing multiple."""
    spectrum = tracked(recording, steady(SPEED_HZ))
    low = spectrum.bands[0]
    assert not low.visible[low.orders < 3.0].any()
    assert low.visible[low.orders > 3.0].mean() > 0.7
    band = band_at(spectrum, 20.0)
    on_firing = np.abs(band.orders - 20.0) < 2 / 32
    assert band.engine[on_firing].all() and not band.visible[on_firing].any()


def test_nothing_is_looked_for_above_the_codecs_cut_off(recording, steady, tracked) -> None:
    """A clip cut at 2 kHz ends at order 100 here, whatever its sample rate."""
    spectrum = tracked(recording, steady(SPEED_HZ), highest_hz=2000.0)
    assert spectrum.highest_hz == pytest.approx(2000.0)
    assert spectrum.bands[-1].orders[-1] <= 100.0
    assert spectrum.bands[-1].orders[-1] > 99.0


def test_two_strokes_leave_half_orders_free(
    recording, steady, tracked, band_at, two_stroke
) -> None:
    """Order 22.5 is the engine's with four strokes and free with two."""
    for engine_given, own in (({}, True), ({"engine": two_stroke}, False)):
        band = band_at(tracked(recording, steady(SPEED_HZ), **engine_given), 22.5)
        assert bool(band.engine[np.argmin(np.abs(band.orders - 22.5))]) is own


def test_bands_meet_and_each_has_its_resolution(recording, steady, tracked) -> None:
    """Bins are 1/turns apart, segments shorten with rising order, bands leave no gap."""
    bands = tracked(recording, steady(SPEED_HZ)).bands
    assert [band.revolutions for band in bands] == sorted(
        (band.revolutions for band in bands), reverse=True
    )
    for band in bands:
        assert np.diff(band.orders) == pytest.approx(1 / band.revolutions)
    for lower, upper in pairwise(bands):
        assert 0 <= upper.orders[0] - lower.orders[-1] <= 1 / upper.revolutions


def test_short_recordings_get_shorter_segments(sound_of, steady, tracked) -> None:
    """6 s at idle hold too few segments of 64 turns: the bands are looked at coarser."""
    speed = steady(13.3)
    spectrum = tracked(sound_of(speed, 6.0), speed)
    settings = TrackingSettings()
    assert spectrum.bands[0].revolutions < settings.revolutions[0]
    assert all(band.segments >= 3 for band in spectrum.bands)


def test_persistence_tells_a_tone_from_a_passing_one(
    recording, steady, sound_of, tracked, band_at
) -> None:
    """The tone is there in every segment; sounding a third of the time it is in about a third."""
    speed = steady(SPEED_HZ)
    loud = sound_of(speed, 24.0, {TONE: 0.03})
    silent = sound_of(speed, 24.0)
    samples = silent.samples.copy()
    samples[: samples.size // 3] = loud.samples[: samples.size // 3]
    passing = Recording(samples, loud.sample_rate_hz)
    shares = []
    for one in (loud, passing):
        band = band_at(tracked(one, speed), TONE)
        shares.append(band.persistence[np.argmin(np.abs(band.orders - TONE))])
    assert shares[0] == 1.0
    assert 0.25 < shares[1] < 0.5


def test_speed_is_the_median_over_what_is_used(recording, wandering, stretches, four) -> None:
    """The figure all orders are turned into Hz with."""
    speed = wandering(SPEED_HZ, 0.03, 24.0)
    spectrum = track_orders(recording, stretches((0.0, 21.0)), speed, four, 3600.0)
    assert spectrum.mean_speed_hz == pytest.approx(SPEED_HZ, rel=2e-3)
