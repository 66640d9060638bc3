"""Whole scenes."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import (
    Codec,
    Condition,
    EngineSound,
    HealthySong,
    Phone,
    PlantedFault,
    SceneSettings,
    Surroundings,
)

SHORT = (Condition("idle", 800, duration_s=3), Condition("held", 2000, duration_s=3))
FULL = SceneSettings(
    conditions=SHORT,
    faults=(PlantedFault("idler", "run-out", 0.0),),
    song=HealthySong(share=1.0),
    phone=Phone(codec=Codec("opus", 32)),
)


def test_same_seed_same_scene_other_seed_other_scene(drive: Drive) -> None:
    """Samples and truth repeat exactly from the seed, codec included."""
    first, again, other = (make_scene(drive, FULL, np.random.default_rng(s)) for s in (1, 1, 2))
    for one, two, three in zip(first.recordings, again.recordings, other.recordings, strict=True):
        assert np.array_equal(one.samples, two.samples)
        assert not np.array_equal(one.samples, three.samples)
    assert first.truth.recordings[0].lines == again.truth.recordings[0].lines


def test_recordings_share_the_drive(drive: Drive) -> None:
    """Idle and held speed: same diameters, the slip within its scatter, orders as close."""
    idle, held = make_scene(drive, FULL, np.random.default_rng(3)).truth.recordings
    by_label = {(line.part, line.mechanism, line.label): line for line in held.lines}
    assert by_label
    for line in idle.lines:
        there = by_label[line.part, line.mechanism, line.label]
        assert there.order == pytest.approx(line.order, rel=0.012)
        assert there.frequency_hz == pytest.approx(line.frequency_hz * 2.5, rel=0.05)


def test_recording_and_truth_agree_with_the_condition(drive: Drive) -> None:
    """Names, lengths, rates and codec as asked; true speed near the speed asked for."""
    scene = make_scene(drive, FULL, np.random.default_rng(4))
    for condition, recording, truth in zip(
        SHORT, scene.recordings, scene.truth.recordings, strict=True
    ):
        assert recording.name == condition.name
        assert recording.samples.shape == (round(condition.duration_s * 48000),)
        assert recording.codec == "opus"
        assert recording.samples.std() > 0.005
        assert truth.speed.mean_rpm == pytest.approx(condition.rpm, rel=0.03)
    assert scene.truth.faulty_parts == ("idler",)
    assert scene.truth.singing == ("pump",)


def test_noise_against_engine_is_as_asked(drive: Drive, plain: SceneSettings) -> None:
    """20 dB more noise leave the engine 20 dB lower: seen where the comb is, against not."""
    comb_only = EngineSound(
        top_hz=(1200.0, 1200.0),
        combustion_db=(-80.0, -80.0),
        ticking_db=(-80.0, -80.0),
        turn_fluctuation=(0.0, 0.0),
    )
    contrast = []
    for noise_db in (-20.0, 0.0):
        settings = replace(
            plain,
            conditions=(Condition(rpm=900, duration_s=10, wander=0.0),),
            engine=comb_only,
            surroundings=Surroundings(noise_db=(noise_db, noise_db), humps=(0, 0), transfer_db=0.0),
        )
        samples = make_scene(drive, settings, np.random.default_rng(7)).recordings[0].samples
        power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
        # 3000 to 4000 Hz: above the comb, noise alone; 30 Hz: firing of a four at 900 rpm
        contrast.append(power[298:303].max() / np.median(power[30000:40000]))
    assert 10 * np.log10(contrast[0] / contrast[1]) == pytest.approx(20.0, abs=1.5)


def test_own_probe_point_is_louder(drive: Drive, plain: SceneSettings) -> None:
    """At the pump the pump's lines are 5 dB up, at the idler 5 dB down."""
    conditions = tuple(
        Condition(f"at {part}", 900, duration_s=3, probe_part=part) for part in ("pump", "idler")
    )
    settings = replace(plain, conditions=conditions, faults=(PlantedFault("pump", "pumping", 0),))
    at_pump, at_idler = make_scene(drive, settings, np.random.default_rng(9)).truth.recordings
    for near, far in zip(at_pump.lines, at_idler.lines, strict=True):
        assert near.tone_to_noise_db - far.tone_to_noise_db == pytest.approx(10.0, abs=1.0)


def test_detectable_means_audible_place_off_the_comb_and_loud(drive: Drive) -> None:
    """Each flag follows from the line's own figures."""
    scene = make_scene(drive, FULL, np.random.default_rng(10))
    lines = [line for truth in scene.truth.recordings for line in truth.lines]
    for line in lines:
        assert line.above_phone_limit == (line.frequency_hz > 60.0)
        expected = line.frequency_hz > 60 and not line.on_comb and line.tone_to_noise_db >= -14
        assert line.detectable == expected
        if line.comb_distance_order > 0.23:
            assert line.order > 130 or not line.on_comb


@pytest.mark.parametrize(
    "make",
    [
        lambda: Condition(rpm=0),
        lambda: Condition(rpm=800, end_rpm=1e6),
        lambda: Condition(duration_s=0.01),
        lambda: SceneSettings(conditions=()),
        lambda: SceneSettings(sample_rate_hz=0),
    ],
)
def test_senseless_settings_are_refused(make: object) -> None:
    """Each is one sentence with what to use instead."""
    with pytest.raises(SettingsError, match=r"use|give"):
        make()  # type: ignore[operator]


def test_reference_is_the_same_drive_without_the_fault(drive: Drive, plain: SceneSettings) -> None:
    """The healthy recording has the same diameters; the pump sings where it whined."""
    settings = replace(
        plain,
        conditions=(
            Condition("now", 900, duration_s=2),
            Condition("before", 900, duration_s=2, healthy=True),
        ),
        faults=(PlantedFault("pump", "pumping", 6.0),),
        song=HealthySong(share=1.0, below_db=(9.0, 9.0), fault_level_db=0.0),
    )
    louder = []
    for seed in range(5):
        truth = make_scene(drive, settings, np.random.default_rng(seed)).truth
        now, before = truth.recordings
        assert {line.role for line in now.lines} == {"fault"}
        assert {line.role for line in before.lines} == {"song"}
        assert truth.singing == ()
        now_db, before_db = (
            {line.label: line.tone_to_noise_db for line in recording.lines}
            for recording in (now, before)
        )
        louder += [now_db[label] - before_db[label] for label in now_db if label in before_db]
        diameters = [name for name, u in drive.unknowns.items() if u.kind == "diameter"]
        assert all(now.unknowns[name] == before.unknowns[name] for name in diameters)
    assert louder
    assert np.mean(louder) == pytest.approx(15.0, abs=1.0)


def test_after_switching_off_only_the_surroundings_are_left(
    drive: Drive, plain: SceneSettings
) -> None:
    """Switched off 4 s before the end, the firing line at 30 Hz and the whine are gone.

    The true speed is told as long as it turns; lines are placed by the running speed.
    """
    settings = replace(
        plain,
        conditions=(Condition(rpm=900, duration_s=10, wander=0.0, switch_off_s=4.0),),
        surroundings=Surroundings(noise_db=(-20.0, -20.0), humps=(0, 0), transfer_db=0.0),
        faults=(PlantedFault("pump", "pumping", 10.0),),
    )
    scene = make_scene(drive, settings, np.random.default_rng(7))
    truth, samples = scene.truth.recordings[0], scene.recordings[0].samples
    line = max(truth.lines, key=lambda line: line.tone_to_noise_db)
    assert line.frequency_hz == pytest.approx(15.0 * line.order, rel=1e-3)
    assert 6.5 < truth.speed.time_s[-1] < 7.5
    pieces = [samples[3 * 48000 : 5 * 48000], samples[-2 * 48000 :]]
    frequency = np.fft.rfftfreq(2 * 48000, 1 / 48000)
    running, over = (np.abs(np.fft.rfft(piece * np.hanning(piece.size))) ** 2 for piece in pieces)
    for hz in (30.0, line.frequency_hz):
        near = np.abs(frequency - hz) < 1.0
        assert over[near].max() < 1e-2 * running[near].max()
    assert over.sum() > 0.0


@pytest.mark.parametrize("switch_off_s", [0.0, 3.0, 5.0])
def test_switching_off_too_early_is_refused(switch_off_s: float) -> None:
    """The engine must run for a while first; the message says how long."""
    with pytest.raises(SettingsError, match=r"let it run for 0.5 s"):
        Condition(duration_s=3.0, switch_off_s=switch_off_s)


def test_a_repair_changes_the_level_of_one_part_only(drive: Drive, plain: SceneSettings) -> None:
    """As planted, 10 dB lower and gone: the pump follows, the idler stays."""
    changes = (0.0, -10.0, -np.inf)
    settings = replace(
        plain,
        conditions=tuple(
            Condition(f"take {n}", 900, duration_s=2, fault_change_db=(("pump", change),))
            for n, change in enumerate(changes)
        ),
        faults=(PlantedFault("pump", "pumping", 6.0), PlantedFault("idler", "run-out", 6.0)),
        level_shift_db=0.0,
        level_scatter_db=0.0,
    )
    truth = make_scene(drive, settings, np.random.default_rng(5)).truth
    levels = [
        {(line.part, line.label): line.tone_to_noise_db for line in one.lines}
        for one in truth.recordings
    ]
    pump = next(key for key in levels[0] if key[0] == "pump")
    idler = next(key for key in levels[0] if key[0] == "idler")
    assert levels[1][pump] == pytest.approx(levels[0][pump] - 10.0, abs=0.5)
    assert levels[1][idler] == pytest.approx(levels[0][idler], abs=0.5)
    assert {part for part, _ in levels[2]} == {"idler"}
