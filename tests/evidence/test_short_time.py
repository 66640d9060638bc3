"""Frames of the used stretches, with axes that fit them."""

import numpy as np
import pytest

from acoustic.evidence.short_time import over_both_sides, short_time_spectrum
from acoustic.recording.recording import Recording

RATE_HZ = 16000.0


def _recording(sound: np.ndarray) -> Recording:
    return Recording(sound.astype(np.float32), RATE_HZ)


def test_axes(stretches) -> None:
    """0.016 s at 16 kHz are 256 points: bins of 62.5 Hz, a frame every 8 ms."""
    tone = np.sin(2 * np.pi * 1000.0 * np.arange(16000) / RATE_HZ)
    spectrum = short_time_spectrum(_recording(tone), stretches((0.0, 1.0)), 0.016, 7000.0)
    (piece,) = spectrum.pieces
    assert spectrum.spacing_hz == 62.5
    assert spectrum.hop_s == 0.008
    assert piece.time_s[0] == 0.008
    assert set(np.argmax(piece.power, axis=1)) == {16}
    assert spectrum.bins(950.0, 1100.0) == slice(16, 18)


def test_bins_end_at_the_cut_off(stretches) -> None:
    """Nothing above the cut-off is given, and nothing is kept of it."""
    noise = np.random.default_rng(1).standard_normal(16000)
    spectrum = short_time_spectrum(_recording(noise), stretches((0.0, 1.0)), 0.016, 3000.0)
    assert spectrum.bins(2000.0, 9000.0).stop * 62.5 <= 3062.5
    assert spectrum.pieces[0].power.shape[1] == 49


def test_no_frame_crosses_a_gap(stretches) -> None:
    """A knock in the part left out is in no frame; times run on in the recording."""
    sound = 1e-3 * np.random.default_rng(1).standard_normal(48000)
    sound[24000] = 100.0
    used = stretches((0.0, 1.0), (2.0, 3.0))
    spectrum = short_time_spectrum(_recording(sound), used, 0.016, 7000.0)
    assert max(piece.power.max() for piece in spectrum.pieces) < 1.0
    assert spectrum.pieces[1].time_s[0] == pytest.approx(2.008)


def test_short_stretches_are_left_out(stretches) -> None:
    """Two frames are no spectrum of anything."""
    spectrum = short_time_spectrum(_recording(np.ones(400)), stretches((0.0, 0.025)), 0.016, 7000.0)
    assert spectrum.pieces == ()
    assert spectrum.seconds == 0.0
    assert spectrum.silent


def test_silence_is_known(stretches) -> None:
    """Digital silence is silent; the faintest noise is not."""
    still, faint = np.zeros(16000), 1e-4 * np.random.default_rng(1).standard_normal(16000)
    for sound, expected in ((still, True), (faint, False)):
        spectrum = short_time_spectrum(_recording(sound), stretches((0.0, 1.0)), 0.016, 7000.0)
        assert spectrum.silent is expected


def test_flat_noise_stands_at_its_sides(stretches) -> None:
    """White noise is as loud as what lies beside it; a tone is far louder."""
    time = np.arange(32000) / RATE_HZ
    noise = np.random.default_rng(1).standard_normal(time.size)
    sound = noise + 2.0 * np.sin(2 * np.pi * 3000.0 * time)
    spectrum = short_time_spectrum(_recording(sound), stretches((0.0, 2.0)), 0.016, 7000.0)
    inside = spectrum.bins(2000.0, 5000.0)
    ratio = over_both_sides(spectrum.pieces[0].power, inside, spectrum, 500.0, 130.0)
    mean = ratio.mean(axis=0)
    assert int(np.argmax(mean)) + inside.start == 48
    assert mean.max() > 30
    assert np.median(mean[30:]) == pytest.approx(1.0, abs=0.25)
