"""Lossy round trips keep time and frequency."""

import numpy as np
import pytest

from acoustic.errors import SettingsError
from acoustic.synthetic.codec import encode, round_trip
from acoustic.synthetic.scene_settings import Codec


@pytest.mark.parametrize(
    "codec", [Codec("opus", 32), Codec("opus", 64), Codec("aac", 96), Codec("mp3", 64)], ids=str
)
def test_length_frequency_and_delay_survive(codec: Codec) -> None:
    """Same number of samples, a 997 Hz tone within 0.1 Hz, noise bursts within 2 ms."""
    rate, seconds = 48000, 4
    time = np.arange(rate * seconds) / rate
    burst = np.exp(-((time - 2.0) ** 2) / 0.002)
    sound = (8000 * np.sin(2 * np.pi * 997.0 * time) * (0.3 + burst)).astype(np.int16)
    heard = round_trip(sound, rate, codec)
    assert heard.shape == sound.shape
    assert heard.dtype == np.float32
    power = np.abs(np.fft.rfft(heard * np.hanning(heard.size))) ** 2
    assert np.argmax(power) / seconds == pytest.approx(997.0, abs=0.26)
    smooth = np.convolve(heard**2, np.ones(960) / 960, mode="same")
    assert np.average(time, weights=smooth**4) == pytest.approx(2.0, abs=0.002)


def test_a_codec_really_loses_something() -> None:
    """Noise at 24 kbit/s comes back changed: this is no copy."""
    noise = (3000 * np.random.default_rng(2).standard_normal(48000)).astype(np.int16)
    heard = round_trip(noise, 48000, Codec("opus", 24)) * 32768
    assert np.sqrt(np.mean((heard - noise) ** 2)) > 300


def test_opus_at_another_rate_is_refused() -> None:
    """Opus would come back at 48 kHz, so 44.1 kHz is an error with a way out."""
    with pytest.raises(SettingsError, match=r"44100.*48000"):
        encode(np.zeros(100, np.int16), 44100, Codec("opus", 32))


@pytest.mark.parametrize(("name", "rate"), [("opus", 500), ("mp3", 8)])
def test_bit_rates_out_of_range_are_refused(name: str, rate: int) -> None:
    """The message gives the range."""
    with pytest.raises(SettingsError, match=r"use \d+ to \d+ kbit/s"):
        Codec(name, rate)  # type: ignore[arg-type]
