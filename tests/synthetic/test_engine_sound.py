"""The engine's own sound: comb, combustion noise, ticking."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.engine_sound import (
    firing_phases,
    make_comb,
    make_combustion_noise,
    make_ticking,
)
from acoustic.synthetic.misfire import Misfire
from acoustic.synthetic.scene_settings import Condition, EngineSound


def turning(drive: Drive, rng: np.random.Generator, seconds: float = 20.0) -> CrankTurning:
    """Turn at exactly 900 rpm: 15 turns a second, half orders every 7.5 Hz."""
    condition = Condition(rpm=900, duration_s=seconds, wander=0.0)
    return turn_crank(condition, drive.engine, scene_clock(seconds, 48000), (0, 0), rng)


def spectrum(sound: np.ndarray, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and power of a plain windowed transform."""
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    return np.fft.rfftfreq(sound.size, 1 / rate_hz), power


@pytest.mark.parametrize(("cylinders", "firing"), [(3, 1.5), (4, 2.0), (5, 2.5), (6, 3.0)])
def test_firing_order_is_the_strongest(
    on_engine: Callable[..., Drive], rng: np.random.Generator, cylinders: int, firing: float
) -> None:
    """An even-firing four-stroke is loudest at half its cylinder count.

    "A four-cylinder in-line engine will always have its second order component as the
    dominant excitation" (diracdelta engineering encyclopedia, on engine orders).
    """
    drive = on_engine(cylinders=cylinders)
    settings = EngineSound(slope_db_per_octave=(9.0, 9.0), line_scatter_db=0.0)
    sound = make_comb(drive, turning(drive, rng), settings, rng)
    frequency, power = spectrum(sound, 16000)
    orders = 0.5 * np.arange(1, 2 * firing + 1)
    levels = [power[np.abs(frequency - 15.0 * order) < 1.0].max() for order in orders]
    assert orders[int(np.argmax(levels))] == firing


def test_comb_stands_on_half_orders_only(drive: Drive, rng: np.random.Generator) -> None:
    """At 900 rpm the comb stands at multiples of 7.5 Hz, 10 dB above what lies between."""
    frequency, power = spectrum(make_comb(drive, turning(drive, rng), EngineSound(), rng), 16000)
    for order in np.arange(2.0, 8.5, 0.5):
        on = power[np.abs(frequency - 15.0 * order) < 0.3].max()
        between = np.median(power[np.abs(frequency - 15.0 * (order + 0.25)) < 1.0])
        assert on > 10 * between


def test_uneven_firing_lifts_the_half_orders(
    on_engine: Callable[..., Drive], rng: np.random.Generator
) -> None:
    """Two cylinders firing at 0 and 270 degrees of 720 sound at 0.5 and 1.5 as well."""
    even, odd = (
        on_engine(cylinders=2),
        on_engine(cylinders=2, firing_angles_deg=[0.0, 270.0]),
    )
    assert firing_phases(even) == pytest.approx([0.0, 0.5])
    assert firing_phases(odd) == pytest.approx([0.0, 0.375])
    share = []
    for drive in (even, odd):
        settings = EngineSound(line_scatter_db=0.0, half_db=(-30.0, -30.0))
        sound = make_comb(drive, turning(drive, np.random.default_rng(1)), settings, rng)
        frequency, power = spectrum(sound, 16000)
        half = power[np.abs(frequency - 7.5 * 3) < 0.5].max()
        share.append(half / power[np.abs(frequency - 15.0) < 0.5].max())
    assert share[1] > 10 * share[0]


def test_combustion_noise_swells_at_every_firing(drive: Drive, rng: np.random.Generator) -> None:
    """Its envelope repeats 30 times a second at 900 rpm of a four; it has no tones itself."""
    noise = make_combustion_noise(drive, turning(drive, rng), EngineSound(), rng)
    assert np.mean(noise**2) == pytest.approx(1.0, rel=1e-3)
    frequency, power = spectrum(noise**2 - np.mean(noise**2), 16000)
    firing = power[np.abs(frequency - 30.0) < 0.3].max()
    assert firing > 100 * np.median(power[(frequency > 20) & (frequency < 40)])


def test_ticks_are_short_and_high(drive: Drive, rng: np.random.Generator) -> None:
    """Ticks lie above 2 kHz and are peaky: kurtosis well above the 3 of plain noise."""
    ticks = make_ticking(drive, turning(drive, rng), rng)
    assert ticks.size == scene_clock(20, 48000).full_samples
    frequency, power = spectrum(ticks, 48000)
    assert power[frequency < 1000].sum() < 0.03 * power.sum()
    assert np.mean(ticks**4) / np.mean(ticks**2) ** 2 > 8


def test_ticks_keep_step_with_the_firing(
    drive: Drive,
    rng: np.random.Generator,
    onsets_s: Callable[..., np.ndarray],
    vector_strength: Callable[[np.ndarray, CrankTurning, float], complex],
) -> None:
    """As injectors and valves do: a tick at every firing, each cylinder its own loudness.

    So the loudness stands at the firing order, and at the half orders under it too.
    """
    crank = turning(drive, rng)
    ticks = make_ticking(drive, crank, rng)
    times = onsets_s(ticks, 48000, 0.02)
    assert times.size == pytest.approx(606, abs=40)
    assert abs(vector_strength(times, crank, 2.0)) > 0.95
    frequency, power = spectrum(ticks**2 - np.mean(ticks**2), 48000)
    floor = np.median(power[(frequency > 2.0) & (frequency < 40.0)])
    at = [power[np.abs(frequency - 15.0 * order) < 0.2].max() for order in (0.5, 1.0, 1.5, 2.0)]
    assert at[3] > 1000 * floor
    assert np.mean(at[:3]) > 30 * floor


def firing_powers(drive: Drive, misfire: Misfire | None) -> np.ndarray:
    """Power of the combustion noise after each firing, shape (cycles, 4)."""
    crank = turning(drive, np.random.default_rng(1))
    noise = make_combustion_noise(drive, crank, EngineSound(), np.random.default_rng(3), misfire)
    starts = np.arange(0.0, crank.angle_rev[-1] - 2.5, 0.5)[: 4 * 140] / 15.0 * 16000
    powers = [np.mean(noise[int(start) : int(start) + 130] ** 2) for start in starts]
    return np.reshape(powers, (-1, 4))


def test_a_weak_cylinder_gives_less_combustion_noise(drive: Drive) -> None:
    """The third firing of four: between a tenth and a half of what it gives else.

    Amplitude .4 of the pulse is .16 of its power, on a floor between the pulses.
    """
    sound, weak = firing_powers(drive, None), firing_powers(drive, Misfire(2, 0.4, 1.0, 1))
    ratio = (weak / sound).mean(axis=0)
    assert 0.1 < ratio[2] / ratio[0] < 0.5
    assert ratio[[1, 3]] / ratio[0] == pytest.approx([1.0, 1.0], rel=0.05)


def test_misfire_at_random_lets_the_level_scatter(drive: Drive) -> None:
    """Firing powers scatter more than those of the same engine when it fires soundly."""
    scatter = [
        np.std(10 * np.log10(firing_powers(drive, misfire)), axis=0).mean()
        for misfire in (None, Misfire(None, 0.4, 0.3, 1))
    ]
    assert scatter[1] > scatter[0] + 1.0


@pytest.mark.parametrize(("amplitude", "rise_db"), [(1.0, 0.0), (0.4, 14.5), (0.0, 19.9)])
def test_misfire_lifts_the_half_orders(drive: Drive, amplitude: float, rise_db: float) -> None:
    """What one firing of four no longer cancels: (1 - amplitude) / 4 of the firing lines.

    Before, orders 1.5 and 2.5 stand at -30.3 and -28.6 dB (-33 dB eased by the order). An
    amplitude of .4 adds -16.5 dB to the half orders and takes 1.4 dB from the firing line;
    a dead cylinder adds -12 dB and takes 2.5 dB. Against the firing line that is 14.5 and
    19.9 dB up; the sum with what was there before hangs on its phase.
    """
    settings = EngineSound(
        half_db=(-33.0, -33.0),
        integer_db=(-33.0, -33.0),
        line_scatter_db=0.0,
        cycle_level_jitter=0.0,
        cycle_phase_jitter=0.0,
    )
    level_db = []
    for misfire in (None, Misfire(1, amplitude, 1.0, 1)):
        crank = turning(drive, np.random.default_rng(1))
        frequency, power = spectrum(
            make_comb(drive, crank, settings, np.random.default_rng(7), misfire), 16000
        )
        at = [power[np.abs(frequency - 15.0 * order) < 0.4].max() for order in (1.5, 2.0, 2.5)]
        level_db.append(10 * np.log10((at[0] + at[2]) / 2 / at[1]))
    assert level_db[1] - level_db[0] == pytest.approx(rise_db, abs=2.0)


def test_with_a_seed_all_recordings_are_of_one_engine(drive: Drive) -> None:
    """The same levels of the comb from other draws of chance; without a seed others."""
    settings = EngineSound(cycle_level_jitter=0.0)

    def levels_db(seed: int | None, chance: int) -> np.ndarray:
        rng = np.random.default_rng(chance)
        crank = turning(drive, np.random.default_rng(1))
        frequency, power = spectrum(
            make_comb(drive, crank, replace(settings, seed=seed), rng), 16e3
        )
        lines = [power[np.abs(frequency - 30.0 * n) < 0.5].max() for n in range(2, 9)]
        return 10 * np.log10(np.array(lines) / lines[0])

    assert levels_db(4, 1) == pytest.approx(levels_db(4, 2), abs=0.5)
    assert np.abs(levels_db(None, 1) - levels_db(None, 2)).max() > 2.0
