"""Lines of the accessories: where they are, how loud, and which ones sound."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.errors import SettingsError
from acoustic.synthetic.critical_band import critical_edges_hz
from acoustic.synthetic.scene import Scene, make_scene
from acoustic.synthetic.scene_settings import Condition, HealthySong, PlantedFault, SceneSettings
from acoustic.synthetic.tones import choose_families

STILL = (Condition(rpm=900, duration_s=20, wander=0.0),)


def with_pump_whine(drive: Drive, plain: SceneSettings, level_db: float, seed: int = 4) -> Scene:
    """Make a scene at exactly 900 rpm with the pump's pumping lines planted."""
    settings = replace(plain, conditions=STILL, faults=(PlantedFault("pump", "pumping", level_db),))
    return make_scene(drive, settings, np.random.default_rng(seed))


def test_lines_stand_at_order_times_speed(drive: Drive, plain: SceneSettings) -> None:
    """Each line peaks at true order x rpm / 60 within one bin of a plain transform.

    The nominal order of a ten-vane pump on pulleys of 150 and 130 mm (pitch 154 and
    134 mm after ISO 9981) is 10 x 154 / 134 = 11.4925.
    """
    scene = with_pump_whine(drive, plain, 12.0)
    truth = scene.truth.recordings[0]
    first = min(truth.lines, key=lambda line: line.order)
    assert first.nominal_order == pytest.approx(11.4925, abs=1e-4)
    samples = scene.recordings[0].samples
    frequency, power = scipy.signal.periodogram(samples, 48000, "hann")
    for line in truth.lines:
        if line.tone_to_noise_db < 0:
            continue
        near = np.abs(frequency - line.frequency_hz) < 2.0
        peak = frequency[near][np.argmax(power[near])]
        assert peak == pytest.approx(line.order * 900 / 60, abs=0.05)


@pytest.mark.parametrize("level_db", [-5.0, 0.0, 8.0])
def test_tone_to_noise_ratio_is_what_a_spectrum_shows(
    drive: Drive, plain: SceneSettings, level_db: float
) -> None:
    """Line power against the rest of the ECMA-418-1 critical band, measured on the samples.

    Worked out here from a Hann periodogram as the standard describes it: the tone's few
    lines against the remaining power of the critical band.
    """
    scene = with_pump_whine(drive, plain, level_db)
    frequency, power = scipy.signal.periodogram(scene.recordings[0].samples, 48000, "hann")
    clear = [line for line in scene.truth.recordings[0].lines if line.tone_to_noise_db > -8]
    assert clear
    for line in clear:
        low, high = critical_edges_hz(line.frequency_hz)
        band = (frequency >= low) & (frequency < high)
        tone = np.abs(frequency - line.frequency_hz) < 0.6
        rest = power[band & ~tone].sum()
        under = rest * tone.sum() / (band & ~tone).sum()
        measured = 10 * np.log10((power[tone].sum() - under) / (rest + under))
        assert measured == pytest.approx(line.tone_to_noise_db, abs=1.0)


def test_song_holds_natural_lines_below_the_fault(drive: Drive, plain: SceneSettings) -> None:
    """A singing pump sounds its vane lines 6 to 15 dB below; an idler has none to sing."""
    settings = replace(plain, song=HealthySong(share=1.0, fault_level_db=-4.0))
    for seed in range(20):
        chosen = choose_families(expected_families(drive), settings, np.random.default_rng(seed))
        assert {family.family.part for family in chosen} == {"pump"}
        assert all(line.natural for family in chosen for line in family.lines)
        assert all(-19.0 <= family.level_db <= -10.0 for family in chosen)


def test_lines_show_as_often_as_their_probability(drive: Drive, plain: SceneSettings) -> None:
    """In 400 scenes the first vane line shows in about its probability of them."""
    settings = replace(plain, faults=(PlantedFault("pump", "pumping", 0.0),))
    families = expected_families(drive)
    pumping = next(f for f in families if (f.part, f.mechanism) == ("pump", "pumping"))
    rng = np.random.default_rng(8)
    shown = np.zeros(len(pumping.lines))
    for _ in range(400):
        chosen = choose_families(families, settings, rng)[0]
        shown += [line in chosen.lines for line in pumping.lines]
    probability = np.array([line.probability for line in pumping.lines])
    assert shown / 400 == pytest.approx(probability, abs=0.09)


def test_a_fault_the_drive_cannot_have_is_refused(drive: Drive, plain: SceneSettings) -> None:
    """The message names what was asked for and what there is."""
    settings = replace(plain, faults=(PlantedFault("pump", "rudder", 0.0),))
    with pytest.raises(SettingsError, match=r"'pump' with mechanism 'rudder'.*pump: pumping"):
        make_scene(drive, settings, np.random.default_rng(1))


def test_lines_follow_a_sweep(drive: Drive, plain: SceneSettings) -> None:
    """From 900 to 1800 rpm in 10 s a line of order o is at o x 18 Hz after 2 s, o x 27 after 8."""
    settings = replace(
        plain,
        conditions=(Condition(rpm=900, end_rpm=1800, duration_s=10, wander=0.0),),
        faults=(PlantedFault("pump", "pumping", 20.0),),
    )
    scene = make_scene(drive, settings, np.random.default_rng(6))
    line = max(scene.truth.recordings[0].lines, key=lambda line: line.tone_to_noise_db)
    samples = scene.recordings[0].samples
    for second, turns_hz in ((2.0, 18.0), (8.0, 27.0)):
        start = round((second - 0.1) * 48000)
        piece = samples[start : start + 9600] * np.hanning(9600)
        power = np.abs(np.fft.rfft(piece, 96000)) ** 2
        expected = line.order * turns_hz
        near = slice(round(2 * (expected - 15)), round(2 * (expected + 15)))
        found = (near.start + np.argmax(power[near])) / 2
        assert found == pytest.approx(expected, abs=2.0)
