"""Sharp noises of a sound engine."""

from collections.abc import Callable

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.engine_ticks import (
    make_diesel_knock,
    make_engine_ticks,
    make_fuel_pump,
    make_injectors,
)
from acoustic.synthetic.scene_settings import Condition, EngineSound

Onsets = Callable[..., np.ndarray]
Strength = Callable[[np.ndarray, CrankTurning, float], complex]


def turning(drive: Drive, seed: int = 1) -> CrankTurning:
    """A four at exactly 900 rpm for 20 s: 30 firings a second."""
    condition = Condition(rpm=900, duration_s=20.0, wander=0.0)
    rng = np.random.default_rng(seed)
    return turn_crank(condition, drive.engine, scene_clock(20.0, 48000), (0, 0), rng)


def test_nothing_is_made_or_drawn_unless_asked_for(drive: Drive) -> None:
    """The generator stands as before, so scenes of today stay as they are."""
    rng = np.random.default_rng(5)
    assert make_engine_ticks(drive, turning(drive), EngineSound(), rng) is None
    assert rng.uniform() == np.random.default_rng(5).uniform()


def test_they_stand_at_their_level(drive: Drive, rng: np.random.Generator) -> None:
    """-6 dB against a comb of mean square 1 is a mean square of .251."""
    settings = EngineSound(injector_db=(-6.0, -6.0))
    ticks = make_engine_ticks(drive, turning(drive), settings, rng)
    assert ticks is not None
    assert ticks.size == turning(drive).clock.full_samples
    assert np.mean(ticks**2) == pytest.approx(0.251, rel=0.01)
    settings = EngineSound(diesel_knock_db=(-6.0, -6.0), fuel_pump_db=(-6.0, -6.0))
    both = make_engine_ticks(drive, turning(drive), settings, rng)
    assert both is not None
    assert np.mean(both**2) == pytest.approx(0.502, rel=0.1)


def test_injectors_click_twice_at_every_firing(
    drive: Drive, onsets_s: Onsets, vector_strength: Strength
) -> None:
    """600 firings in 20 s, each with a click that opens and one that closes, dead in step."""
    crank = turning(drive)
    for seed in range(4):
        sound = make_injectors(drive, crank, np.random.default_rng(seed))
        firings = onsets_s(sound, 48000, 0.01)
        assert firings.size == pytest.approx(606, abs=15)
        assert abs(vector_strength(firings, crank, 2.0)) > 0.95


def test_diesel_knock_clatters(drive: Drive, onsets_s: Onsets, vector_strength: Strength) -> None:
    """It keeps step with the firing, and its level scatters by 2.5 to 5 dB; an injector's not."""
    crank = turning(drive)

    def scatter_db(sound: np.ndarray) -> float:
        starts = (onsets_s(sound, 48000, 0.01) * 48000).astype(int)
        peaks = [np.abs(sound[start : start + 480]).max() for start in starts]
        whole = 20 * np.log10(peaks[: len(peaks) // 4 * 4]).reshape(-1, 4)
        return float(np.std(whole - whole.mean(axis=0)))

    knock = make_diesel_knock(drive, crank, np.random.default_rng(2))
    assert abs(vector_strength(onsets_s(knock, 48000, 0.01), crank, 2.0)) > 0.9
    assert 2.0 < scatter_db(knock) < 7.0
    assert scatter_db(make_injectors(drive, crank, np.random.default_rng(2))) < 2.5


def test_fuel_pump_ticks_at_the_lobes_of_its_cam(
    drive: Drive, onsets_s: Onsets, vector_strength: Strength
) -> None:
    """Two to four lobes on a shaft at half speed: 1, 1.5 or 2 ticks a turn; all are drawn."""
    crank = turning(drive)
    rates = []
    for seed in range(12):
        times = onsets_s(make_fuel_pump(drive, crank, np.random.default_rng(seed)), 48000)
        rates.append(round(2 * times.size / crank.angle_rev[-1]) / 2)
        assert abs(vector_strength(times, crank, rates[-1])) > 0.95
    assert set(rates) == {1.0, 1.5, 2.0}
