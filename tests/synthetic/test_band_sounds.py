"""Planted faults heard by knocks, growl and cries: level, rate and what tells them."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.scene import Scene, make_scene
from acoustic.synthetic.scene_settings import (
    Condition,
    Phone,
    PlantedFault,
    SceneSettings,
    Surroundings,
)
from acoustic.synthetic.truth import TrueBandSound

STILL = (Condition(rpm=900, duration_s=10, wander=0.0),)
ENVELOPE_FAULTS = [
    ("idler", "outer race", "impacts"),
    ("idler", "inner race", "impacts"),
    ("idler", "rough bearing", "roughness"),
    ("pump", "loose on its shaft", "impacts"),
    ("pump", "pulley out of line", "bursts"),
]


NOISES = [
    ("engine itself", "air leak", "hiss"),
    ("engine itself", "timing drive", "impacts with firing"),
    ("loose shield or bracket", "rattling shield", "impacts at random"),
    ("pump", "pulley out of line", "chirps"),
]


def planted(
    drive: Drive, settings: SceneSettings, fault: PlantedFault | None, seed: int = 5
) -> Scene:
    """Make a scene with one fault or none."""
    faults = () if fault is None else (fault,)
    settings = replace(settings, conditions=STILL, faults=faults)
    return make_scene(drive, settings, np.random.default_rng(seed))


def only_sound(scene: Scene) -> TrueBandSound:
    """The one sound in bands of the first recording."""
    (sound,) = scene.truth.recordings[0].in_band
    return sound


def in_bands(samples: np.ndarray, bands: tuple[tuple[float, float], ...]) -> np.ndarray:
    """What of a sound lies in some bands."""
    spectrum = np.fft.rfft(samples)
    frequency = np.fft.rfftfreq(samples.size, 1 / 48000)
    kept = np.zeros(frequency.size, bool)
    for low, high in bands:
        kept |= (frequency >= low) & (frequency < high)
    return np.fft.irfft(np.where(kept, spectrum, 0.0), samples.size)


def swell_power(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and power of the loudness in the bands of the planted sound."""
    loud = in_bands(scene.recordings[0].samples, only_sound(scene).bands_hz) ** 2
    loud = loud[: loud.size // 24 * 24].reshape(-1, 24).mean(axis=1)
    power = np.abs(np.fft.rfft((loud - loud.mean()) * np.hanning(loud.size))) ** 2
    return np.fft.rfftfreq(loud.size, 24 / 48000), power


@pytest.mark.parametrize(("part", "mechanism", "kind"), [*ENVELOPE_FAULTS, *NOISES])
@pytest.mark.parametrize("level_db", [-8.0, 3.0])
def test_level_in_band_is_what_the_samples_show(
    drive: Drive, plain: SceneSettings, part: str, mechanism: str, kind: str, level_db: float
) -> None:
    """Against the same scene without the fault, brought to the same gain below 250 Hz.

    What is left after taking the one from the other is the fault; its power in the bands
    over that of the other is the level, within 1 dB.
    """
    settings = replace(plain, surroundings=Surroundings(transfer_db=5.0, humps=(0, 0)))
    sick = planted(drive, settings, PlantedFault(part, mechanism, level_db, kind))
    well = planted(drive, settings, None)
    one, other = sick.recordings[0].samples, well.recordings[0].samples
    low = ((20.0, 250.0),)
    below = in_bands(other, low)
    alone = one * (np.sum(below**2) / np.sum(below * in_bands(one, low))) - other
    sound = only_sound(sick)
    power = [np.mean(in_bands(samples, sound.bands_hz) ** 2) for samples in (alone, other)]
    assert sound.level_db == pytest.approx(level_db, abs=0.01)
    assert sound.shows_as == kind
    assert 10 * np.log10(power[0] / power[1]) == pytest.approx(level_db, abs=1.0)


@pytest.mark.parametrize(("part", "mechanism", "kind"), ENVELOPE_FAULTS)
def test_loudness_swings_at_the_true_order(
    drive: Drive, plain: SceneSettings, part: str, mechanism: str, kind: str
) -> None:
    """The loudness in the bands has a line at true order x 15 turns a second, within .1 Hz."""
    scene = planted(drive, plain, PlantedFault(part, mechanism, 12.0, kind), seed=8)
    sound = only_sound(scene)
    assert sound.order is not None
    assert sound.nominal_order is not None
    assert sound.order == pytest.approx(sound.nominal_order, rel=0.05)
    assert sound.rate_hz == pytest.approx(15.0 * sound.order, rel=1e-3)
    frequency, power = swell_power(scene)
    near = np.abs(frequency - sound.rate_hz) < 1.0
    around = np.abs(frequency - sound.rate_hz) < 5.0
    peak = frequency[near][np.argmax(power[near])]
    assert peak == pytest.approx(sound.rate_hz, abs=0.2)
    assert power[near].max() > 8 * np.median(power[around])


def test_ball_slip_blurs_the_high_harmonics(drive: Drive, plain: SceneSettings) -> None:
    """Slip of 1 % adds up over 10 s of some 90 knocks a second: the 8th harmonic is no line.

    A walk of 1 % of a turn a knock widens harmonic h to π (.01 h)² of the rate: 2 Hz at the
    eighth; without slip it is as narrow as the window, .2 Hz.
    """
    widths = []
    for slip in (0.0, 0.01):
        fault = PlantedFault("idler", "outer race", 15.0, "impacts")
        scene = planted(drive, replace(plain, ball_slip=slip), fault, seed=2)
        rate = only_sound(scene).rate_hz
        assert rate is not None
        frequency, power = swell_power(scene)
        near = np.abs(frequency - 8 * rate) < 6.0
        widths.append(power[near].sum() / power[near].max())
    assert widths[1] > 3 * widths[0]


def test_turning_race_swells_with_its_ring(drive: Drive, plain: SceneSettings) -> None:
    """Knocks of an idler's outer race have lines one turn of the ring to both sides."""
    seen = []
    for seed in range(6):
        fault = PlantedFault("idler", "outer race", 15.0, "impacts")
        scene = planted(drive, replace(plain, ball_slip=0.0), fault, seed=seed)
        rate = only_sound(scene).rate_hz
        assert rate is not None
        ring = rate / (4 * (1 - 6.75 / 28.5))
        frequency, power = swell_power(scene)
        sides = [power[np.abs(frequency - rate - s * ring) < 0.5].max() for s in (-1, 1)]
        floor = np.median(power[np.abs(frequency - rate) < ring])
        seen.append(min(sides) > 10 * floor)
    assert any(seen)


def test_planting_changes_nothing_else(drive: Drive, plain: SceneSettings) -> None:
    """Speed, lines and slips of a scene with knocks are those of the same scene without."""
    fault = PlantedFault("idler", "outer race", -5.0, "envelope")
    sick, well = (planted(drive, plain, one).truth.recordings[0] for one in (fault, None))
    assert np.array_equal(sick.speed.speed_hz, well.speed.speed_hz)
    assert sick.unknowns == well.unknowns
    assert sick.noise_db == well.noise_db
    assert sick.lines == well.lines == ()


def test_the_same_fault_in_every_recording_but_not_in_the_healthy(drive: Drive) -> None:
    """Bands stay as they are; the rate follows the speed; nothing is in the reference."""
    settings = SceneSettings(
        conditions=(
            Condition("idle", 800, duration_s=2),
            Condition("held", 2000, duration_s=2),
            Condition("before", 800, duration_s=2, healthy=True),
        ),
        faults=(PlantedFault("idler", "inner race", 0.0, "envelope"),),
        phone=Phone(),
    )
    first, again = (make_scene(drive, settings, np.random.default_rng(3)) for _ in range(2))
    for one, two in zip(first.recordings, again.recordings, strict=True):
        assert np.array_equal(one.samples, two.samples)
    idle, held, before = first.truth.recordings
    (one,), (two,) = idle.in_band, held.in_band
    assert before.in_band == ()
    assert one.bands_hz == two.bands_hz
    assert one.order == pytest.approx(two.order, rel=0.01)
    assert two.rate_hz == pytest.approx(one.rate_hz * 2.5, rel=0.05)


def test_two_faults_are_stated_against_each_other(drive: Drive, plain: SceneSettings) -> None:
    """Two growls of 0 dB each in bands that may overlap: stated at 0 dB or less."""
    faults = (
        PlantedFault("idler", "rough bearing", 0.0, "roughness"),
        PlantedFault("pump", "rough inside", 0.0, "roughness"),
    )
    low = []
    for seed in range(4):
        settings = replace(plain, conditions=STILL, faults=faults)
        truth = make_scene(drive, settings, np.random.default_rng(seed)).truth.recordings[0]
        assert [sound.part for sound in truth.in_band] == ["idler", "pump"]
        assert all(sound.level_db <= 0.01 for sound in truth.in_band)
        low += [sound.level_db < -0.5 for sound in truth.in_band]
    assert any(low)


def test_a_way_the_mechanism_does_not_show_is_refused(drive: Drive, plain: SceneSettings) -> None:
    """Pumping lines are tones; the message says so."""
    fault = PlantedFault("pump", "pumping", 0.0, "envelope")
    with pytest.raises(SettingsError, match=r"pump: pumping does not show as 'envelope'.*tones"):
        planted(drive, plain, fault)


def switched_off(drive: Drive, plain: SceneSettings, level_db: float) -> Scene:
    """Let a pulley chirp, and switch the engine off 5 s before the end of 10 s."""
    fault = PlantedFault("pump", "pulley out of line", level_db, "chirps")
    conditions = (replace(STILL[0], switch_off_s=5.0),)
    settings = replace(plain, conditions=conditions, faults=(fault,))
    return make_scene(drive, settings, np.random.default_rng(4))


def test_what_the_engine_drives_is_silent_once_it_stands(
    drive: Drive, plain: SceneSettings
) -> None:
    """Chirps at +20 dB: loud in their band before switching off, as quiet as the noise after."""
    scene = switched_off(drive, plain, 20.0)
    other = switched_off(drive, plain, -60.0)
    band = only_sound(scene).bands_hz
    loud, quiet = (in_bands(made.recordings[0].samples, band) for made in (scene, other))
    rms = [
        [float(np.sqrt(np.mean(sound[piece] ** 2))) for sound in (loud, quiet)]
        for piece in (slice(0, 4 * 48000), slice(7 * 48000, None))
    ]
    assert rms[0][0] > 5 * rms[0][1]
    assert rms[1][0] < 1.2 * rms[1][1]


def test_misfire_lifts_the_half_orders_and_is_told(drive: Drive, plain: SceneSettings) -> None:
    """One dead cylinder of four alike: the lines of the cycle at .9 / 4 of the firing's.

    The firing's own falls to 3.1 / 4, so orders 1 and 3 stand 10.7 dB under 2 and 4 if it
    misses every time, and 21 dB if it misses three times of ten, the least that is drawn;
    of cylinders alike they stand 40 dB under.
    """
    alike = replace(plain.engine, integer_db=(-40.0, -40.0), half_db=(-40.0, -40.0))
    fault = PlantedFault("engine itself", "misfire, one cylinder", 6.0)
    for seed in range(3):
        settings = replace(
            plain,
            engine=replace(alike, line_scatter_db=0.0),
            surroundings=Surroundings(noise_db=(-40.0, -40.0), transfer_db=0.0, humps=(0, 0)),
        )
        sick, well = (planted(drive, settings, one, seed) for one in (fault, None))
        under_db = []
        for scene in (sick, well):
            samples = scene.recordings[0].samples
            power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
            at = {order: power[150 * order - 3 : 150 * order + 4].max() for order in (1, 2, 3, 4)}
            under_db.append(10 * np.log10((at[1] + at[3]) / (at[2] + at[4])))
        assert -24.0 < under_db[0] < -7.0
        assert under_db[1] < -27.0
    told = only_sound(sick)
    assert (told.shows_as, told.order, told.level_db) == ("uneven firing", 0.5, 6.0)
    assert told.bands_hz == ()
    assert told.rate_hz == pytest.approx(7.5, rel=1e-3)
    assert sick.truth.recordings[0].noise_db == well.truth.recordings[0].noise_db


def test_run_on_rattle_comes_when_the_engine_is_switched_off(
    one_way_drive: Drive, plain: SceneSettings
) -> None:
    """A worn one-way pulley: planted at 3 dB against what is left once the engine stands.

    Measured from standstill on, against the last second, when even the longest run-on of
    3 s is over. An engine that runs to the end lets nothing be heard.
    """
    (name,) = (p.name for p in one_way_drive.parts.values() if p.kind == "overrunning pulley")
    fault = PlantedFault(name, "worn clutch", 3.0, "run-on rattle")
    conditions = (replace(STILL[0], switch_off_s=7.0), STILL[0])
    phone = replace(plain.phone, level_db=(-40.0, -40.0))  # knocks stay below full scale
    settings = replace(plain, conditions=conditions, faults=(fault,), phone=phone)
    scene = make_scene(one_way_drive, settings, np.random.default_rng(4))
    off, on = scene.truth.recordings
    assert on.in_band == ()
    (sound,) = off.in_band
    assert sound.level_db == pytest.approx(3.0, abs=0.01)
    loud = in_bands(scene.recordings[0].samples, sound.bands_hz) ** 2
    stands = round(off.speed.time_s[-1] * 48000) + 4800
    rest = np.mean(loud[-48000:])
    level = (np.sum(loud[stands:]) - rest * (loud.size - stands)) / (rest * (loud.size - stands))
    assert 10 * np.log10(level) == pytest.approx(3.0, abs=1.0)
