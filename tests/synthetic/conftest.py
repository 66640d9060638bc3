"""One small invented drive and quiet settings, so that single lines can be measured."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.layout import Layout
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.scene_settings import (
    EngineSound,
    Phone,
    SceneSettings,
    Surroundings,
)

BUS: dict[str, Any] = {
    "name": "library bus, four cylinders",
    "engine": {"cylinders": 4, "idle_rpm": (700, 900), "working_rpm": (700, 3000)},
    "pulley": [
        {
            "name": "crank pulley",
            "on": "crankshaft",
            "diameter_mm": 150.0,
            "measured": "drawing",
        }
    ],
    "belt": [{"name": "main", "section": "6PK", "path": ["crank pulley", "pump", "idler"]}],
    "component": [
        {
            "name": "pump",
            "kind": "vane pump",
            "vanes": 10,
            "pulley": {"diameter_mm": 130.0, "measured": "drawing"},
        },
        {
            "name": "idler",
            "kind": "idler",
            "pulley": {"diameter_mm": 65.0, "measured": "caliper over ribs"},
            "bearings": [{"designation": "6203"}],
        },
    ],
}


@pytest.fixture(scope="session")
def on_engine() -> Callable[..., Drive]:
    """Build the small drive on another engine: `on_engine(cylinders=3)`."""

    def build(**engine: Any) -> Drive:
        return build_drive(Layout.model_validate({**BUS, "engine": {**BUS["engine"], **engine}}))

    return build


@pytest.fixture(scope="session")
def drive(on_engine: Callable[..., Drive]) -> Drive:
    """A four-cylinder engine with a ten-vane pump and an idler on one belt."""
    return on_engine()


@pytest.fixture(scope="session")
def one_way_drive() -> Drive:
    """The small drive with a one-way clutch in the pump's pulley."""
    pump, idler = BUS["component"]
    pulley = {**pump["pulley"], "overrunning": "one-way"}
    return build_drive(
        Layout.model_validate({**BUS, "component": [{**pump, "pulley": pulley}, idler]})
    )


@pytest.fixture
def rng() -> np.random.Generator:
    """A fresh seeded generator."""
    return np.random.default_rng(20)


@pytest.fixture
def plain() -> SceneSettings:
    """No turn fluctuation, no slip wander, no level scatter; a phone that only records."""
    return SceneSettings(
        engine=EngineSound(turn_fluctuation=(0.0, 0.0)),
        surroundings=Surroundings(transfer_db=0.0, humps=(0, 0)),
        phone=Phone(high_pass_hz=None, hand_db=0.0, agc_s=None),
        slip_wander=(0.0, 0.0),
        level_scatter_db=0.0,
        level_shift_db=0.0,
    )


@pytest.fixture(scope="session")
def onsets_s() -> Callable[..., np.ndarray]:
    """Hear when knocks begin: `onsets_s(sound, rate_hz, apart_s=0.012)`. [s]

    Largest amplitude in every half millisecond; a knock begins where it is above a tenth
    of the usual peak and was not so shortly before.
    """

    def hear(sound: np.ndarray, rate_hz: float, apart_s: float = 0.012) -> np.ndarray:
        block = round(rate_hz / 2000)
        peaks = np.abs(sound[: sound.size // block * block].reshape(-1, block)).max(axis=1)
        loud = np.flatnonzero(peaks > 0.1 * np.sort(peaks)[-max(10, peaks.size // 400)])
        begins = np.concatenate(([True], np.diff(loud) > apart_s * 2000))
        return np.asarray(loud[begins] / 2000)

    return hear


@pytest.fixture(scope="session")
def vector_strength() -> Callable[[np.ndarray, CrankTurning, float], complex]:
    """Mean of exp(2πi order turns) over times from the first sample made.

    1 in amplitude for what keeps step with an order, about 1/√n for what does not.
    """

    def strength(times_s: np.ndarray, crank: CrankTurning, order: float) -> complex:
        turns = np.interp(
            times_s * crank.clock.coarse_rate_hz, np.arange(crank.angle_rev.size), crank.angle_rev
        )
        return complex(np.mean(np.exp(2j * np.pi * order * turns)))

    return strength
