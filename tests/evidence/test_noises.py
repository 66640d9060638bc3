"""All noises at once, on one recording."""

import numpy as np
import pytest

from acoustic.evidence.noises import find_noises
from acoustic.evidence.order_spectrum import track_orders
from acoustic.recording.recording import Recording
from acoustic.tables.knowledge import load_knowledge

RATE_HZ = 16000.0
SECONDS = 16.0
SPEED_HZ = 13.0
COUNT = int(SECONDS * RATE_HZ)


@pytest.fixture(scope="module")
def heard(stretches, steady, four):
    """All noises of a sound."""

    def find(sound: np.ndarray):
        recording = Recording(sound.astype(np.float32), RATE_HZ)
        used, speed = stretches((0.0, SECONDS)), steady(SPEED_HZ)
        orders = track_orders(recording, used, speed, four, 7000.0)
        return find_noises(recording, used, speed, four, 7000.0, orders)

    return find


@pytest.fixture(scope="module")
def findings(heard):
    """Findings by noise for a sound."""
    return lambda sound: by_noise(heard(sound).findings)


def by_noise(found):
    """Findings by noise."""
    return {finding.noise: finding for finding in found}


@pytest.fixture(scope="module")
def engine() -> np.ndarray:
    """Firings that die away, all alike."""
    since = (2 * SPEED_HZ * np.arange(COUNT) / RATE_HZ) % 1.0
    noise = np.random.default_rng(8).standard_normal(COUNT)
    return 0.05 * noise * (0.2 + np.exp(-4 * since)) + 0.1 * np.exp(-5 * since) * np.sin(50 * since)


def test_one_finding_for_each_noise_of_the_tables(engine, findings) -> None:
    """All but the rattle after switching off, which is looked for where the engine stops."""
    known = {noise.id for noise in load_knowledge().noises.values()}
    assert set(findings(engine)) == known - {"run-on rattle"}


def test_a_sound_engine_is_accused_of_nothing(engine, findings) -> None:
    """No noise weighs more than a hint."""
    assert max(finding.ln_ratio for finding in findings(engine).values()) < 2


def test_a_squeal_is_found_among_all(engine, findings) -> None:
    """And it is neither chirps nor hiss nor flutter nor a misfire."""
    time = np.arange(COUNT) / RATE_HZ
    squeal = ((time % 6.0) < 2.5) * 0.15 * np.sin(2 * np.pi * 1900.0 * time)
    found = findings(engine + squeal)
    assert found["squeal"].ln_ratio > 3
    others = ("chirps", "hiss", "flutter", "uneven firing")
    assert max(found[noise].ln_ratio for noise in others) < 2


def test_a_hiss_is_compared_and_nothing_else(engine, heard) -> None:
    """White noise beside the engine is one; the phone's gain, 14 dB lower, is none."""
    hiss = 0.05 * np.random.default_rng(9).standard_normal(COUNT)
    now, before = heard(0.2 * (engine + hiss)), heard(engine)
    alone, compared = by_noise(now.findings), by_noise(now.against(before))
    assert compared["hiss"].level_db > 6
    assert compared["hiss"].ln_ratio > alone["hiss"].ln_ratio
    assert {n: f for n, f in compared.items() if n != "hiss"} == {
        n: f for n, f in alone.items() if n != "hiss"
    }
    assert by_noise(before.against(before))["hiss"].ln_ratio < 0


def test_cries_in_no_step_are_chirps_and_no_rattle(engine, findings) -> None:
    """Forty tones of 40 ms at random: their finding is strong, that of a random rattle is not."""
    rng = np.random.default_rng(12)
    length = int(0.04 * RATE_HZ)
    along = np.arange(length) / length
    cry = np.sin(np.pi * along) ** 2 * np.sin(2 * np.pi * 2500.0 * 0.04 * along)
    sound = engine.copy()
    for middle_s in 0.3 + np.cumsum(0.13 + rng.exponential(0.2, 40)):
        first = int(middle_s * RATE_HZ)
        sound[first : first + length] += 0.2 * cry[: sound.size - first]
    found = findings(sound)
    assert found["chirps"].ln_ratio > 3
    assert found["impacts at random"].ln_ratio < 0
