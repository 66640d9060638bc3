"""What the phone does: high-pass, moving hand, automatic gain, bending input, 16 bit."""

from __future__ import annotations

import math

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.synthetic.codec import round_trip
from acoustic.synthetic.crank_speed import Clock
from acoustic.synthetic.random_curves import Floats, draw, slow_curve
from acoustic.synthetic.scene_settings import Phone

GAIN_BLOCK_S = 0.01
AGC_RANGE_DB = 15.0
AGC_STRENGTH = 0.7  # share of a level change that is taken back; common practice, no source


def through_phone(
    spectrum: NDArray[np.complex64], clock: Clock, phone: Phone, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Turn the transform of the sound at the phone into the samples it records.

    Parameters
    ----------
    spectrum : ndarray of complex64
        Transform of the whole full-rate signal, margins included.

    Returns
    -------
    ndarray of float32, shape (clock.samples,)
        Full scale is 1.
    """
    if phone.high_pass_hz is not None:
        spectrum = spectrum * _high_pass(clock, draw(rng, phone.high_pass_hz))
    sound = fft.irfft(spectrum, clock.full_samples)[clock.first : clock.first + clock.samples]
    sound *= 1.0 / np.sqrt(np.mean(sound**2))
    block = round(GAIN_BLOCK_S * clock.rate_hz)
    blocks = math.ceil(sound.size / block)
    gain_db = phone.hand_db * slow_curve(rng, blocks + 1, 1.0 / GAIN_BLOCK_S, 0.3)
    if phone.agc_s is not None:
        gain_db = gain_db + _automatic_gain_db(sound, gain_db, block, draw(rng, phone.agc_s))
    gain_db += draw(rng, phone.level_db)
    time = np.arange(sound.size) / block
    sound *= np.interp(time, np.arange(blocks + 1), 10.0 ** (gain_db / 20.0)).astype(np.float32)
    return _record(sound, clock, phone)


def _high_pass(clock: Clock, corner_hz: float) -> NDArray[np.complex64]:
    """Second-order Butterworth high-pass, its analogue response at every bin."""
    bins = np.arange(clock.full_samples // 2 + 1, dtype=np.float32)
    s = np.complex64(1j) * bins * np.float32(clock.rate_hz / clock.full_samples / corner_hz)
    response = s * s / (s * s + np.float32(math.sqrt(2.0)) * s + np.float32(1.0))
    return np.asarray(response, dtype=np.complex64)


def _automatic_gain_db(
    sound: NDArray[np.float32], hand_db: Floats, block: int, time_s: float
) -> Floats:
    """Follow the level, rising ones up to four times as fast, and take most of it back. [dB]"""
    blocks = hand_db.size - 1
    padded = np.zeros(blocks * block, np.float32)
    padded[: sound.size] = sound
    power = np.mean(np.square(padded.reshape(blocks, block)), axis=1)
    level_db = 10.0 * np.log10(np.maximum(power, 1e-12)) + hand_db[:-1]
    followed = float(level_db[: max(1, round(time_s / GAIN_BLOCK_S))].mean())
    gain = np.empty(blocks + 1)
    fall = 1.0 - math.exp(-GAIN_BLOCK_S / time_s)
    rise = 1.0 - math.exp(-GAIN_BLOCK_S / max(0.1, time_s / 4.0))
    for index, level in enumerate(level_db.tolist()):
        gain[index] = followed
        followed += (rise if level > followed else fall) * (level - followed)
    gain[-1] = followed
    return np.asarray(np.clip(-AGC_STRENGTH * gain, -AGC_RANGE_DB, AGC_RANGE_DB))


def _record(sound: NDArray[np.float32], clock: Clock, phone: Phone) -> NDArray[np.float32]:
    """Bend, round to 16 bit and send through the codec."""
    if phone.soft_clip_db is not None:
        knee = np.float32(10.0 ** (phone.soft_clip_db / 20.0))
        sound = knee * np.tanh(sound / knee)
    samples = np.clip(np.rint(sound * np.float32(32768.0)), -32768, 32767).astype(np.int16)
    if phone.codec is None:
        return np.asarray(samples, dtype=np.float32) / np.float32(32768.0)
    return round_trip(samples, round(clock.rate_hz), phone.codec)
