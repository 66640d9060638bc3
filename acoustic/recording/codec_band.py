"""Where a codec cut the treble off, and what is known of the codecs themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.recording import Recording

# A cut is a drop by this much within this width. Clean recordings drop 10 dB at most;
# MP3, AAC and Opus low-passes 17 to 70 dB (own measurements on made sound).
_DROP_DB = 15.0
_DROP_WIDTH_HZ = 700.0
_LOWEST_CUT_HZ = 3000.0
_SMOOTH_HZ = 250.0
_MOST_SEGMENTS = 240
_USUAL_STEPS = 101  # of 12 to 23 Hz

# Levels hold up to here after a speech codec (own measurements: steady tones through
# AMR 12.2 and Opus in speech mode); frequencies hold up to the cut.
SPEECH_CODEC_RELIABLE_HZ = 3000.0

# Audio bandwidths of Opus (RFC 6716, table 1). Above that its decoder leaves mirror images.
_OPUS_BAND_HZ = {
    "opus speech mode, narrowband": 4000.0,
    "opus speech mode, mediumband": 6000.0,
    "opus speech mode, wideband": 8000.0,
    "opus speech mode, super-wideband": 12000.0,
}


def is_speech_codec(codec: str) -> bool:
    """Whether a codec models a voice: AMR, or Opus in its speech mode (RFC 6716, 3.1)."""
    return codec.startswith(("amr", "opus speech mode"))


def codec_cutoff_hz(recording: Recording) -> float | None:
    """Frequency above which a codec left nothing.

    The smoothed spectrum is searched above 3 kHz for the largest drop within 700 Hz that
    the spectrum does not recover from.

    Returns
    -------
    float or None
        Upper end of what is left; None if the band reaches the Nyquist frequency. [Hz]
    """
    from scipy.ndimage import median_filter

    known_hz = _OPUS_BAND_HZ.get(recording.codec, np.inf)
    if known_hz < 0.5 * recording.sample_rate_hz:
        return known_hz
    density_db, step_hz = _mean_spectrum_db(recording)
    width = round(_DROP_WIDTH_HZ / step_hz)
    first = round(_LOWEST_CUT_HZ / step_hz) - width // 2
    if density_db.size <= first + width:
        return None
    # The skirt of a loud tone falls as steeply; at a cut the two kilohertz below are high.
    usual_db = median_filter(density_db, size=_USUAL_STEPS, origin=_USUAL_STEPS // 2)
    below, above = np.minimum(density_db, usual_db)[:-width], density_db[width:]
    best_above = np.maximum.accumulate(above[::-1])[::-1]  # the treble must not come back
    drop_db = (below - best_above)[first:]
    steepest = first + int(np.argmax(drop_db))
    if drop_db[steepest - first] < _DROP_DB:
        return None
    slope = density_db[steepest : steepest + width + 1]
    edge_db = slope[0] - min(6.0, 0.5 * (slope[0] - slope[-1]))
    return float(steepest + np.flatnonzero(slope >= edge_db)[-1]) * step_hz


def _mean_spectrum_db(recording: Recording) -> tuple[NDArray[np.float64], float]:
    """Mean power spectrum, median-smoothed, and its step in Hz."""
    from scipy.fft import rfft
    from scipy.ndimage import median_filter

    length = 1 << int(np.log2(recording.sample_rate_hz / 12))  # a step of 12 to 23 Hz
    step_hz = recording.sample_rate_hz / length
    samples = recording.samples
    if samples.shape[0] < length:
        samples = np.pad(samples, (0, length - samples.shape[0]))
    segments = samples[: samples.shape[0] // length * length].reshape(-1, length)
    segments = segments[:: max(1, -(-segments.shape[0] // _MOST_SEGMENTS))]
    spectrum = rfft(segments * np.hanning(length).astype(np.float32), axis=1)
    power = np.mean(spectrum.real**2 + spectrum.imag**2, axis=0, dtype=float)
    density_db = 10 * np.log10(power + 1e-20 * max(float(power.max()), 1e-30))
    size = 2 * round(_SMOOTH_HZ / step_hz / 2) + 1
    return np.asarray(median_filter(density_db, size=size, mode="nearest"), float), step_hz
