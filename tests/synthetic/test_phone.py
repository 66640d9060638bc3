"""What the phone does to the sound."""

import numpy as np
import pytest
import scipy.fft as fft

from acoustic.synthetic.crank_speed import scene_clock
from acoustic.synthetic.phone import through_phone
from acoustic.synthetic.scene_settings import Codec, Phone

CLOCK = scene_clock(8.0, 48000)
BARE = Phone(high_pass_hz=None, hand_db=0.0, agc_s=None, level_db=(-20.0, -20.0))


def noise_through(phone: Phone, step_db: float = 0.0) -> np.ndarray:
    """Send white noise through the phone, its second half louder by `step_db`."""
    noise = np.random.default_rng(5).standard_normal(CLOCK.full_samples).astype(np.float32)
    noise[noise.size // 2 :] *= np.float32(10 ** (step_db / 20))
    return through_phone(fft.rfft(noise), CLOCK, phone, np.random.default_rng(6))


def level_db(samples: np.ndarray) -> float:
    """Rms level against full scale."""
    return float(10 * np.log10(np.mean(samples.astype(np.float64) ** 2)))


def test_level_and_16_bit() -> None:
    """Recorded at -20 dB rms, in steps of 1/32768."""
    heard = noise_through(BARE)
    assert heard.shape == (CLOCK.samples,)
    assert level_db(heard) == pytest.approx(-20.0, abs=0.02)
    steps = heard * 32768
    assert np.array_equal(steps, np.rint(steps))


def test_high_pass_is_second_order() -> None:
    """A Butterworth of second order: -3 dB at the corner, 12 dB less an octave below."""
    open_phone = noise_through(BARE)
    closed = noise_through(Phone((400.0, 400.0), 0.0, None, (-20.0, -20.0)))
    frequency = np.fft.rfftfreq(CLOCK.samples, 1 / 48000)
    window = np.hanning(CLOCK.samples)
    powers = [np.abs(np.fft.rfft(heard * window)) ** 2 for heard in (closed, open_phone)]
    ratio = [
        10 * np.log10(np.divide(*(p[(frequency > f * 0.96) & (frequency < f * 1.04)].sum()
                                  for p in powers)))
        for f in (50.0, 100.0, 200.0, 400.0, 5000.0)
    ]  # fmt: skip
    assert ratio[3] - ratio[4] == pytest.approx(-3.0, abs=0.5)
    assert ratio[1] - ratio[0] == pytest.approx(12.0, abs=1.0)


def test_automatic_gain_takes_back_most_of_a_step() -> None:
    """A step of 12 dB leaves less than half of it once the gain has settled."""
    fixed = noise_through(BARE, step_db=12.0)
    agc = noise_through(Phone(None, 0.0, (0.3, 0.3), (-20.0, -20.0)), step_db=12.0)
    second = 48000

    def step(heard: np.ndarray) -> float:
        return level_db(heard[6 * second :]) - level_db(heard[second : 3 * second])

    assert step(fixed) == pytest.approx(12.0, abs=0.3)
    assert 2.0 < step(agc) < 6.0


def test_soft_clip_bends_the_peaks() -> None:
    """Nothing passes the knee, and the peaks come nearer to the rms."""
    bent = noise_through(Phone(None, 0.0, None, (-20.0, -20.0), soft_clip_db=-14.0))
    assert np.abs(bent).max() <= 10 ** (-14 / 20) + 1e-4
    plain = noise_through(BARE)
    crest = [np.abs(x).max() / np.sqrt(np.mean(x**2)) for x in (bent, plain)]
    assert crest[0] < 0.7 * crest[1]


def test_codec_is_the_last_step() -> None:
    """With a codec the samples are no longer in 16-bit steps, the length is kept."""
    heard = noise_through(Phone(None, 0.0, None, (-20.0, -20.0), codec=Codec("aac", 96)))
    assert heard.shape == (CLOCK.samples,)
    assert np.abs(heard * 32768 - np.rint(heard * 32768)).max() > 0.1
