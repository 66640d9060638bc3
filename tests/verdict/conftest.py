"""Order spectra made line by line with numpy, and small drives to match them to.

No sound and none of the package's own signal chain: the bins of each segment are drawn as
complex Gaussian noise seen through a Hann window, lines are added as the window's
response, and the floor is known exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive, Engine, ExpectedFamily, ExpectedLine, SharedUnknown
from acoustic.drive.layout import Layout
from acoustic.evidence.comb import CombLevels
from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.verdict.claims import Claim, VoiceTable
from acoustic.verdict.fault_sets import COMPLAINT
from acoustic.verdict.joint_match import HeardOrders, MatchSettings
from acoustic.verdict.line_likelihood import VOICE_LEVELS_DB, LikelihoodSettings
from acoustic.verdict.problem import MatchProblem
from acoustic.verdict.song_priors import SongBeliefs, SongSettings
from acoustic.verdict.sources import Realm, Voice
from acoustic.verdict.unknowns import OFFSET_STEP, BeltOffset, ShaftGroup

BANDS = ((0.2, 12.0, 64), (12.0, 40.0, 32), (40.0, 130.0, 16), (130.0, 200.0, 10))
SECONDS = 20.0
LOWEST_HZ, HIGHEST_HZ = 60.0, 6000.0

BUS: dict[str, Any] = {
    "name": "library bus, four cylinders",
    "engine": {"cylinders": 4, "idle_rpm": (700, 900), "working_rpm": (700, 3000)},
    "pulley": [
        {"name": "crank pulley", "on": "crankshaft", "diameter_mm": 150.0, "measured": "drawing"}
    ],
    "belt": [{"name": "main", "section": "6PK", "path": ["crank pulley", "pump", "idler", "fan"]}],
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
            "pulley": {"diameter_mm": 65.0, "measured": "drawing"},
            "bearings": [{"designation": "6203"}],
        },
        {
            "name": "fan",
            "kind": "fan",
            "blades": 7,
            "pulley": {"diameter_mm": 117.0, "measured": "drawing"},
        },
    ],
}


@pytest.fixture(scope="session")
def bus() -> Drive:
    """A vane pump, an idler and a fan on one belt, built from a layout."""
    return build_drive(Layout.model_validate(BUS))


@pytest.fixture(scope="session")
def four() -> Engine:
    """Four cylinders, four strokes."""
    return Engine(4, 4, 2.0, 0.5, False, (650, 900), (650, 3000), "clockwise")


@pytest.fixture(scope="session")
def settings() -> MatchSettings:
    """Settings for made spectra, whose floor is exact and whose lines are what they seem."""
    likelihood = LikelihoodSettings(floor_bias=(0.0, 0.0, 0.0, 0.0))
    return MatchSettings(likelihood=likelihood, astray=0.0)


def _critical_bandwidth_hz(hz: np.ndarray | float) -> np.ndarray:
    return np.asarray(25 + 75 * (1 + 1.4 * (np.asarray(hz) / 1000) ** 2) ** 0.69)


def _hann_response(offset_bins: np.ndarray) -> np.ndarray:
    """Amplitude of a Hann line at a distance from its middle, 1 at 0."""
    near_one = np.abs(np.abs(offset_bins) - 1.0) < 1e-6
    safe = np.where(near_one, 0.5, offset_bins)
    return np.where(near_one, 0.5, np.sinc(safe) / (1 - safe**2))


def _band(
    limits: tuple[float, float, int],
    lines: Mapping[float, float],
    speed_hz: float,
    rng: np.random.Generator,
) -> OrderBand:
    low, high, turns = limits
    orders = np.arange(round(np.ceil(low * turns)), int(high * turns) + 1) / turns
    averages = max(4, int(SECONDS * speed_hz / (turns / 2)) - 1)
    noise = rng.standard_normal((averages, orders.size + 2, 2)) @ np.array([1, 1j])
    bins = (noise[:, 1:-1] - 0.5 * (noise[:, :-2] + noise[:, 2:])) / np.sqrt(3.0)
    for order, tone_to_noise_db in lines.items():
        critical_bins = float(_critical_bandwidth_hz(order * speed_hz)) * turns / speed_hz
        top_power = critical_bins / 1.5 * 10 ** (tone_to_noise_db / 10)
        phase = np.exp(2j * np.pi * rng.random((averages, 1)))
        # Neighbouring Hann bins of a line have opposite signs.
        away = (orders - order) * turns
        near = np.abs(away) < 40
        sign = np.where(np.arange(orders.size) % 2, -1.0, 1.0)
        response = sign * _hann_response(np.where(near, away, 40.5))
        bins = bins + np.sqrt(top_power) * phase * (near * response)[None, :]
    power = np.mean(np.abs(bins) ** 2, axis=0)
    half = np.abs(orders * 2 - np.round(orders * 2)) / 2
    firing = np.abs(orders / 2 - np.round(orders / 2)) * 2
    engine = half <= 2.2 / turns if turns >= 25 else (firing <= 2.5 / turns) | (half <= 0.8 / turns)
    hz = orders * speed_hz
    return OrderBand(
        orders=orders,
        revolutions=turns,
        level_db=10 * np.log10(power),
        floor_db=np.zeros(orders.size),
        excess=np.log(power),
        engine=engine,
        visible=~engine & (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ),
        segments=averages,
        freedom=2.0 * averages,
        persistence=(np.abs(bins) ** 2 > 2.0).mean(axis=0),
    )


@pytest.fixture(scope="session")
def spectrum_of() -> Callable[..., OrderSpectrum]:
    """An order spectrum with {order: tone-to-noise ratio} in white noise."""

    def make(lines: Mapping[float, float], speed_hz: float = 13.5, seed: int = 1) -> OrderSpectrum:
        rng = np.random.default_rng(seed)
        bands = tuple(_band(limits, lines, speed_hz, rng) for limits in BANDS)
        return OrderSpectrum(bands, speed_hz, HIGHEST_HZ, LOWEST_HZ, SECONDS * speed_hz)

    return make


@pytest.fixture(scope="session")
def silent_comb() -> CombLevels:
    """A comb that says nothing."""
    return CombLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0))


@pytest.fixture(scope="session")
def heard_of(spectrum_of, silent_comb) -> Callable[..., HeardOrders]:
    """One recording as the match reads it, from {order: tone-to-noise ratio}."""

    def make(lines: Mapping[float, float], speed_hz: float = 13.5, seed: int = 1) -> HeardOrders:
        return HeardOrders(spectrum_of(lines, speed_hz, seed), silent_comb)

    return make


def unknown(name: str, kind: str, size: float) -> SharedUnknown:
    """A slip from 0 to `size`, or a normal unknown with this standard deviation."""
    if kind == "slip":
        return SharedUnknown(name, "slip", size / np.sqrt(12), 0.0, size, "made")
    return SharedUnknown(name, kind, size, -3 * size, 3 * size, "made")  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def drive_with(four) -> Callable[..., Drive]:
    """A drive that knows only its engine and its shared unknowns.

    `drive_with(slip=0.03, pump=0.003)` has a belt slip and one pulley's diameter error.
    """

    def make(slip: float = 0.03, **diameters: float) -> Drive:
        unknowns = {"slip main": unknown("slip main", "slip", slip)}
        unknowns |= {f"diameter {k}": unknown(f"diameter {k}", "diameter", v)
                     for k, v in diameters.items()}  # fmt: skip
        return Drive(
            name="made",
            engine=four,
            shafts={},
            unknowns=unknowns,
            pulleys={},
            belts={},
            bearings=(),
            parts={},
            layout=None,  # type: ignore[arg-type]
        )

    return make


@pytest.fixture(scope="session")
def family() -> Callable[..., ExpectedFamily]:
    """A family by its orders: `family("pump", [11.3, 22.6], natural=True)`."""

    def make(
        part: str,
        orders: Sequence[float],
        *,
        mechanism: str = "worn",
        natural: bool = False,
        belt: str | None = "main",
        own_diameter: str | None = None,
        weight: float = 1.0,
        probability: float = 0.85,
        own_tolerance: float = 0.0,
    ) -> ExpectedFamily:
        lines = tuple(
            ExpectedLine(order, f"{part} line {n}", probability, -3.0 * n, natural)
            for n, order in enumerate(orders)
        )
        depends = {"slip main": -1.0, f"diameter {own_diameter or part}": -1.0} if belt else {}
        return ExpectedFamily(
            part=part,
            mechanism=mechanism,
            title=f"{mechanism} {part}",
            shaft=f"{own_diameter or part} shaft",
            lines=lines,
            depends_on=depends,
            belt=belt,
            locked=belt is None,
            own_tolerance=own_tolerance,
            prior_weight=weight,
            source="made",
        )

    return make


@pytest.fixture(scope="session")
def problem_of(family) -> Callable[..., MatchProblem]:
    """A match problem typed in by hand, small enough to be solved by enumeration.

    Every part is one dict: `claims` {tone: claim}, `steady` (its other lines), `song`
    {tone: claim} or None, `density` P(d) over its own three-point lattice. Claims and
    steady are numbers or arrays over that lattice. Nothing depends on level.
    """

    def make(
        parts: Sequence[Mapping[str, Any]],
        tones: int,
        *,
        count_prior: tuple[float, ...] = COMPLAINT,
        song_share: float = 0.4,
        stranger: Sequence[float] | None = None,
    ) -> MatchProblem:
        levels = VOICE_LEVELS_DB.size
        groups, voices, tables = [], [], []
        for k, part in enumerate(parts):
            density = np.array(part.get("density", (0.25, 0.5, 0.25)))
            lattice = OFFSET_STEP * np.arange(density.size)
            groups.append(ShaftGroup(((), f"shaft {k}"), 0, lattice, density[None, :]))
            own = family(f"part {k}", [10.0 + k], belt=None)
            whole = np.ones((density.size, levels))

            def spread(value: Any, whole: np.ndarray = whole) -> np.ndarray:
                return whole * np.reshape(value, (-1, 1))

            def claimed(by_tone: Mapping[int, Any], whole: np.ndarray = whole) -> tuple[Claim, ...]:
                rows = slice(0, whole.shape[0])
                return tuple(
                    Claim(t, rows, whole * np.reshape(u, (-1, 1))) for t, u in by_tone.items()
                )

            if part.get("song") is not None:
                voices.append(Voice(k, None, own.lines, 1.0, k, 0.0, False))
                claims = claimed(part["song"])
                tables.append(
                    [VoiceTable(Realm.TONES, 0, spread(part.get("song_steady", 1.0)), claims)]
                )
            voices.append(Voice(k, own, own.lines, 1.0, k, 0.0, True))
            claims = claimed(part.get("claims", {}))
            tables.append([VoiceTable(Realm.TONES, 0, spread(part.get("steady", 1.0)), claims)])
        flat = np.full(levels, 1.0 / levels)
        songs = SongSettings(shares=(song_share,), share_prior=(1.0,))
        return MatchProblem(
            belts=[BeltOffset(None, np.zeros(1), np.ones(1))],
            groups=groups,
            part_groups=list(range(len(parts))),
            voices=voices,
            tables=tables,
            level_priors=[flat] * len(voices),
            envelope_levels=np.ones(1),
            count_prior=count_prior,
            songs=SongBeliefs(songs, [None] * len(parts)),
            fault_above_db=3.0,
            offset_blur=(0.0,),
            stranger=np.ones(tones) if stranger is None else np.array(stranger, dtype=float),
            companions=np.zeros(tones),
            hidden_shafts=np.zeros((len(parts), tones)),
        )

    return make
