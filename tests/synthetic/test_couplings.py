"""A shaft behind a coupling: tight in every scene but where it is planted loose."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.layout import Layout
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, HealthySong, PlantedFault, SceneSettings

LOOSE = PlantedFault("coupling to rear shaft", "loose coupling", 6.0)
REAR = Layout.model_validate(
    {
        "name": "library bus with a rear shaft",
        "engine": {"cylinders": 4, "idle_rpm": (700, 900), "working_rpm": (700, 3000)},
        "shaft": [
            {"name": "gear shaft", "driven_by": {"kind": "gears", "teeth": [29, 22]}},
            {"name": "rear shaft", "driven_by": {"kind": "coupling", "from": "gear shaft"}},
            {
                "name": "far shaft",
                "driven_by": {"kind": "gears", "from": "rear shaft", "teeth": [20, 31]},
            },
        ],
        "component": [
            {"name": "steering pump", "kind": "vane pump", "vanes": 10, "on": "rear shaft"},
            {"name": "vacuum pump", "kind": "vacuum pump", "vanes": 4, "on": "far shaft"},
            {"name": "fuel pump", "kind": "gear pump", "teeth": 13, "on": "gear shaft"},
        ],
    }
)


@pytest.fixture(scope="module")
def rear() -> Drive:
    """Three pumps on a row of shafts, the middle one behind a coupling."""
    return build_drive(REAR)


def settings(plain: SceneSettings, *faults: PlantedFault) -> SceneSettings:
    """Everything sings; idle, held and a healthy reference."""
    return replace(
        plain,
        conditions=(
            Condition("idle", 900, duration_s=10, wander=0.0),
            Condition("held", 1800, duration_s=10, wander=0.0),
            Condition("before", 900, duration_s=10, wander=0.0, healthy=True),
        ),
        faults=faults,
        song=HealthySong(share=1.0, below_db=(6.0, 6.0), fault_level_db=6.0),
    )


def lags(drive: Drive, made: SceneSettings, index: int, seed: int = 3) -> dict[str, set[float]]:
    """1 - true over nominal order of the lines of every part, as a set of figures."""
    truth = make_scene(drive, made, np.random.default_rng(seed)).truth.recordings[index]
    found: dict[str, set[float]] = {}
    for line in truth.lines:
        lag = round(1.0 - line.order / line.nominal_order, 6)
        found.setdefault(line.part, set()).add(abs(lag))
    return found


def test_a_tight_coupling_does_not_lag(rear: Drive, plain: SceneSettings) -> None:
    """Gears and a tight coupling: every line exactly where the teeth say."""
    made = settings(plain)
    assert make_scene(rear, made, np.random.default_rng(1)).truth.recordings[0].unknowns == {
        "coupling to rear shaft": 0.0
    }
    assert set().union(*lags(rear, made, 0).values()) == {0.0}


def test_a_loose_coupling_lets_all_behind_it_lag(rear: Drive, plain: SceneSettings) -> None:
    """The pump's lines come as the coupling's, the far shaft lags as much, the gears not."""
    made = settings(plain, LOOSE)
    truth = make_scene(rear, made, np.random.default_rng(3)).truth
    for index, truth_now in enumerate(truth.recordings[:2]):
        lag = truth_now.unknowns["coupling to rear shaft"]
        assert 0.004 <= lag <= 0.10
        found = lags(rear, made, index)
        for part in ("coupling to rear shaft", "vacuum pump"):
            assert sorted(found[part]) == pytest.approx([lag], abs=2e-6)
        assert found["fuel pump"] == {0.0}
        assert not any(line.part == "steering pump" for line in truth_now.lines)
    assert truth.recordings[2].unknowns["coupling to rear shaft"] == 0.0
    before = lags(rear, made, 2)
    assert before["steering pump"] == {0.0}
    assert "coupling to rear shaft" not in before


def test_the_lag_is_in_the_sound_and_wanders(rear: Drive, plain: SceneSettings) -> None:
    """The pump's first line stands at its lagging place, and wider than the fuel pump's."""
    made = replace(settings(plain, replace(LOOSE, level_db=20.0)), song=None)
    scene = make_scene(rear, made, np.random.default_rng(3))
    truth, samples = scene.truth.recordings[1], scene.recordings[1].samples
    line = max(truth.lines, key=lambda line: line.tone_to_noise_db)
    lag = truth.unknowns["coupling to rear shaft"]
    power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
    frequency = np.fft.rfftfreq(samples.size, 1 / 48000)
    near = np.abs(frequency - line.frequency_hz) < 0.2 * lag * line.frequency_hz + 1.0
    mean = np.sum(frequency[near] * power[near]) / power[near].sum()
    assert mean == pytest.approx(30.0 * line.nominal_order * (1 - lag), rel=0.1 * lag)
    assert power[near].sum() / power[near].max() > 3.0


def test_rattle_in_step_with_the_firing_eases_at_speed(rear: Drive, plain: SceneSettings) -> None:
    """A worn coupling is planted at 0 dB: so at idle, 10 dB less at 1800 rpm."""
    fault = PlantedFault("coupling to rear shaft", "worn rubber", 0.0, "impacts with firing")
    truth = make_scene(rear, settings(plain, fault), np.random.default_rng(2)).truth
    idle, held = (sound for recording in truth.recordings for sound in recording.in_band)
    assert idle.level_db == pytest.approx(0.0, abs=0.01)
    assert held.level_db == pytest.approx(-10.0, abs=0.01)
    assert truth.recordings[0].unknowns["coupling to rear shaft"] == 0.0
