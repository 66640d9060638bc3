"""Rattle in step with the firing, at random, and after switching off."""

from collections.abc import Callable

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.noises import make_noise
from acoustic.synthetic.scene_settings import Condition

Onsets = Callable[..., np.ndarray]
Strength = Callable[[np.ndarray, CrankTurning, float], complex]
SEEDS = range(6)


def turning(drive: Drive, seed: int, switch_off_s: float | None = None) -> CrankTurning:
    """A four that idles at 850 rpm for 20 s: some 28 firings a second, wandering."""
    condition = Condition(rpm=850, duration_s=20.0, switch_off_s=switch_off_s)
    rng = np.random.default_rng(seed)
    return turn_crank(condition, drive.engine, scene_clock(20.0, 48000), (0.0, 0.005), rng)


def test_firing_rattle_keeps_step_with_the_firing(
    drive: Drive, onsets_s: Onsets, vector_strength: Strength
) -> None:
    """Jitter of at most 8 % of the interval leaves exp(-(2π .08)²/2) = .88; bounces take some.

    No other order is kept: .75 and 1.3 stand for a pump and an idler.
    """
    for seed in SEEDS:
        crank = turning(drive, seed)
        sound = make_noise(drive, crank, "impacts with firing", np.random.default_rng(seed))
        times = onsets_s(sound.samples, 48000)
        assert abs(vector_strength(times, crank, 2.0)) > 0.7
        assert abs(vector_strength(times, crank, 0.75)) < 0.3
        assert abs(vector_strength(times, crank, 1.3)) < 0.3


def test_a_share_of_the_firings_rattles_in_clusters(drive: Drive, onsets_s: Onsets) -> None:
    """Quarter to .7 of them; after a knock the next firing knocks more often than at all."""
    shares, more = [], []
    for seed in SEEDS:
        crank = turning(drive, seed)
        sound = make_noise(drive, crank, "impacts with firing", np.random.default_rng(seed))
        times = onsets_s(sound.samples, 48000)
        turns = np.interp(times * 16000, np.arange(crank.angle_rev.size), crank.angle_rev)
        lag = np.angle(np.mean(np.exp(4j * np.pi * turns))) / (2 * np.pi)
        heard = np.zeros(int(2 * crank.angle_rev[-1]) + 2, bool)
        heard[np.round(2 * turns - lag).astype(int)] = True
        shares.append(heard.mean())
        more.append(heard[1:][heard[:-1]].mean() - heard.mean())
    assert 0.15 < min(shares) < max(shares) < 0.75
    assert np.mean(more) > 0.05


def test_its_place_in_the_interval_is_kept_from_speed_to_speed(
    drive: Drive, onsets_s: Onsets, vector_strength: Strength
) -> None:
    """Two recordings of one scene: the same phase to a tenth; other scenes, other phases."""
    phases = []
    for seed in SEEDS:
        both = []
        for recording in (1, 2):
            crank = turning(drive, recording)
            sound = make_noise(drive, crank, "impacts with firing", np.random.default_rng(seed))
            both.append(vector_strength(onsets_s(sound.samples, 48000), crank, 2.0))
        assert abs(np.angle(both[0] / both[1])) < 0.1 * 2 * np.pi
        phases.append(both[0])
    assert abs(np.mean([phase / abs(phase) for phase in phases])) < 0.8


def test_knocks_scatter_in_level(drive: Drive, onsets_s: Onsets) -> None:
    """By 4 to 6 dB, and more where the belt jolts: 3 to 9 dB of the peaks heard."""
    for noise in ("impacts with firing", "impacts at random"):
        crank = turning(drive, 1)
        sound = make_noise(drive, crank, noise, np.random.default_rng(3)).samples
        starts = (onsets_s(sound, 48000) * 48000).astype(int)
        peaks = [np.abs(sound[start : start + 240]).max() for start in starts if start < 950000]
        assert 3.0 < np.std(20 * np.log10(peaks)) < 9.0


def test_random_rattle_keeps_step_with_nothing(
    drive: Drive, onsets_s: Onsets, vector_strength: Strength
) -> None:
    """5 to 40 knocks a second; at all half orders up to 8 no more strength than n random ones.

    Of n random times n·strength² is exponential with mean 1: above 12 once in 160 000.
    """
    spacings = []
    for seed in range(12):
        crank = turning(drive, seed)
        sound = make_noise(drive, crank, "impacts at random", np.random.default_rng(seed))
        times = onsets_s(sound.samples, 48000, 0.004)
        assert 3.0 < times.size / 20.0 < 42.0
        for order in 0.5 * np.arange(1, 17):
            assert times.size * abs(vector_strength(times, crank, order)) ** 2 < 12.0
        spacings.append(np.std(np.diff(times)) / np.mean(np.diff(times)))
    assert min(spacings) > 0.6


def test_some_shields_buzz_in_bursts(drive: Drive, onsets_s: Onsets) -> None:
    """In a part of the scenes whole stretches of a second are silent, in the others none."""
    silent = []
    for seed in range(24):
        sound = make_noise(
            drive, turning(drive, seed), "impacts at random", np.random.default_rng(seed)
        )
        times = onsets_s(sound.samples, 48000, 0.004)
        by_half_second = np.histogram(times, np.arange(0.0, 20.1, 0.5))[0]
        silent.append(np.mean(by_half_second == 0))
    assert 4 <= np.sum(np.array(silent) > 0.15) <= 16


def test_run_on_rattle_comes_after_switching_off_ever_more_seldom(
    drive: Drive, onsets_s: Onsets
) -> None:
    """Nothing before; a few to a few dozen knocks to at most 3 s after standstill.

    The rate falls evenly to nothing, so three quarters of the knocks after standstill lie
    in the first half of it.
    """
    early, late = 0, 0
    for seed in SEEDS:
        crank = turning(drive, seed, switch_off_s=6.0)
        assert crank.stands_s is not None
        sound = make_noise(drive, crank, "run-on rattle", np.random.default_rng(seed))
        times = onsets_s(sound.samples, 48000) - 0.1
        assert times.min() >= 14.0
        assert times.max() <= crank.stands_s + 3.0
        after = times[times > crank.stands_s] - crank.stands_s
        assert 2 <= after.size <= 60
        early += int(np.sum(after < after.max() / 2))
        late += int(np.sum(after >= after.max() / 2))
    assert early > 1.5 * late


def test_run_on_rattle_needs_an_engine_switched_off(drive: Drive) -> None:
    """Said with the setting that does it."""
    with pytest.raises(SettingsError, match="switch_off_s"):
        make_noise(drive, turning(drive, 1), "run-on rattle", np.random.default_rng(1))
