"""The drive as it turns: shafts, belts, pulleys, bearings, parts, all resolved.

These are the values the rest of the program reads. They are made by
`acoustic.drive.build.build_drive` from a validated layout; nothing here reads files.

Words used throughout
---------------------
order
    Turns (or events) per turn of the crankshaft.
ratio
    Speed of a shaft per speed of the crankshaft, without slip. [-]
shared unknown
    Something not known exactly on which several shafts depend together, such as the
    slip of one belt or the diameter error of one pulley.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from acoustic.drive.layout import Layout
from acoustic.tables.knowledge import Knowledge, load_knowledge

UnknownKind = Literal["slip", "diameter", "ratio", "overrun"]
LineKind = Literal["natural", "fault"]
ShowsAs = Literal["tones", "impacts", "roughness", "bursts"]


@dataclass(frozen=True, slots=True)
class SharedUnknown:
    """One thing that is not known exactly, and how far off it may be.

    Attributes
    ----------
    name : str
        Such as ``"slip of belt main"`` or ``"diameter of crank pulley"``.
    kind : str
        ``"slip"``: uniform between `low` and `high`, lowers the driven speed.
        ``"diameter"``, ``"ratio"``: normal with standard deviation `sd`. The line
        differential of a belt is one of the diameters: it is shared by all rib-side pulleys.
        ``"overrun"``: uniform between `low` and `high`, raises the driven speed.
    sd : float
        Relative standard deviation; for the uniform kinds that of the uniform. [-]
    low, high : float
        Range of the uniform kinds; -3 sd and +3 sd of the normal ones. [-]
    reason : str
        Where the figure comes from, for people ("caliper over ribs: 1 %").
    """

    name: str
    kind: UnknownKind
    sd: float
    low: float
    high: float
    reason: str


@dataclass(frozen=True, slots=True)
class ShaftSpeed:
    """Speed of one shaft and what its uncertainty hangs on.

    Attributes
    ----------
    name : str
        Shaft name; ``"crankshaft"`` is always there.
    ratio : float
        Nominal speed ratio to the crankshaft, slip not included. [-]
    sense : int
        +1 turns as the crankshaft, -1 against it.
    way : tuple of str
        The way the drive takes from the crankshaft, one phrase a step.
    depends_on : mapping of str to float
        Shared unknown name -> d(ln ratio)/d(unknown). A slip has coefficient -1; a
        pulley's diameter error +1 for the driver and -1 for the driven pulley; a belt's
        line differential 2 b_e (1/d_driver - 1/d_driven), a rib-side pulley each.
    belt : str or None
        The last belt on the way, whose slip it shares.
    locked : bool
        True if every step is gears, chain, toothed belt or coupling: no slip at all.
    """

    name: str
    ratio: float
    sense: int
    way: tuple[str, ...]
    depends_on: Mapping[str, float]
    belt: str | None
    locked: bool


@dataclass(frozen=True, slots=True)
class BearingGeometry:
    """Rolling bearing geometry; every length in mm, `contact_angle_deg` in degrees."""

    designation: str
    ball_count: int
    ball_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float
    source: str


@dataclass(frozen=True, slots=True)
class Bearing:
    """One bearing of the drive: where it sits and which rings turn.

    `variants` holds every geometry the designation may stand for (makers differ); the
    first is the usual one. `inner_shaft` and `outer_shaft` are shaft names, or None for
    a ring that stands still. `estimated` is True where ball and pitch diameters were guessed
    from outside dimensions.
    """

    name: str
    part: str
    place: str
    variants: tuple[BearingGeometry, ...]
    inner_shaft: str | None
    outer_shaft: str | None
    estimated: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A component as the user listed it, on the shaft it turns with.

    `quantities` holds the counts its order formulas need (``vanes``, ``pole_pairs``...).
    """

    name: str
    kind: str
    title: str
    shaft: str
    pulley: str | None
    quantities: Mapping[str, float]
    access_hours: float | None = None
    special_tool: str | None = None
    service_interval_km: float | None = None
    probe_at: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class PulleyGeometry:
    """A pulley with its pitch diameter and how sure that is.

    `pitch_diameter_mm` is None when only a speed ratio is known. `tolerance` is the
    relative standard deviation of the diameter. `back_side` is True when the belt's
    flat back runs on it. `shaft` is the shaft the pulley body turns with.
    """

    name: str
    shaft: str
    pitch_diameter_mm: float | None
    outside_diameter_mm: float | None
    tolerance: float
    measured: str
    back_side: bool
    overrunning: Literal["no", "one-way", "decoupler"]
    position_mm: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Span:
    """A free length of belt between two pulleys, lengths in mm, tension in N."""

    from_pulley: str
    to_pulley: str
    length_mm: float
    natural_frequency_hz: float | None


@dataclass(frozen=True, slots=True)
class BeltGeometry:
    """A belt on its pulleys.

    Attributes
    ----------
    path : tuple of str
        Pulley names in running order, driver first.
    back_side : tuple of bool
        For each of `path`, whether the back of the belt runs on it.
    length_mm : float or None
        Pitch length: given, or worked out from pulley positions.
    length_basis : str
        ``"given"``, ``"from positions"`` or ``"unknown"``.
    turn_order : float or None
        Belt turns per crankshaft turn, slip not included.
    wrap_deg : mapping of str to float
        Wrap angle by pulley, empty without positions.
    tangents_mm : tuple
        For drawing: ((x0, y0), (x1, y1)) per span, empty without positions.
    """

    name: str
    section: str
    profile: str
    ribs: int
    path: tuple[str, ...]
    back_side: tuple[bool, ...]
    driver: str
    length_mm: float | None
    length_basis: str
    turn_order: float | None
    wrap_deg: Mapping[str, float]
    spans: tuple[Span, ...]
    tangents_mm: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    stretch: bool


@dataclass(frozen=True, slots=True)
class Engine:
    """The engine: what it adds to the sound and how fast it may turn.

    `motor` is True for an electric motor on a bench, which has no firing to hear a speed by.
    `firing_phases` are the firings as shares of the working cycle, where the layout says when
    they come.
    """

    cylinders: int
    strokes: int
    firing_order: float
    order_step: float
    odd_fire: bool
    idle_rpm: tuple[float, float]
    working_rpm: tuple[float, float]
    crank_turns: Literal["clockwise", "anticlockwise"]
    motor: bool = False
    firing_phases: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Drive:
    """A whole accessory drive, validated and resolved. Made by `build_drive`.

    `parts` holds the components as listed, and what follows from the drive: belts, gears,
    chains and shafts with bearings of their own. `notes` says for people what was assumed
    and what could not be predicted. `knowledge` is what the drive was built with.
    """

    name: str
    engine: Engine
    shafts: Mapping[str, ShaftSpeed]
    unknowns: Mapping[str, SharedUnknown]
    pulleys: Mapping[str, PulleyGeometry]
    belts: Mapping[str, BeltGeometry]
    bearings: tuple[Bearing, ...]
    parts: Mapping[str, Part]
    layout: Layout = field(repr=False)
    knowledge: Knowledge = field(repr=False, default_factory=load_knowledge)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ExpectedLine:
    """One line a mechanism can show.

    Attributes
    ----------
    order : float
        Nominal order per crankshaft turn (no slip).
    label : str
        For people: ``"vane pass, 2nd harmonic"``.
    probability : float
        Chance that the line is there when the mechanism is at work (0 to 1).
    relative_level_db : float
        Level against the family's strongest line. [dB]
    natural : bool
        True if a healthy part may show it too (vane, pole, slot, piston, mesh).
    shows_as : str
        ``"tones"``: a line of the sound itself. The others are lines of its envelope:
        ``"impacts"``, ``"roughness"`` (noise that swells), ``"bursts"`` (short cries).
    """

    order: float
    label: str
    probability: float
    relative_level_db: float
    natural: bool
    shows_as: ShowsAs = "tones"

    @property
    def in_envelope(self) -> bool:
        """Whether it is a line of the envelope rather than of the sound."""
        return self.shows_as != "tones"


@dataclass(frozen=True, slots=True)
class ExpectedNoise:
    """A noise without lines that a mechanism makes: its id in the tables, and how surely."""

    noise: str
    probability: float


@dataclass(frozen=True, slots=True)
class ExpectedFamily:
    """All lines one mechanism of one part must make, with what their place hangs on.

    Attributes
    ----------
    part, mechanism : str
        `mechanism` is the id in the tables, `title` its name for people.
    shaft : str
        The shaft whose speed the orders scale with.
    depends_on : mapping of str to float
        As `ShaftSpeed.depends_on` for that shaft.
    belt : str or None
        Belt whose slip is shared.
    locked : bool
        No slip: exact multiple of the crankshaft.
    own_tolerance : float
        Relative sd of the family's orders beyond the shared unknowns (bearing
        geometry 0.5 %, otherwise 0). [-]
    prior_weight : float
        Share of this mechanism among the part's mechanisms (sums to 1 per part).
    noises : tuple of ExpectedNoise
        What it makes beside lines.
    lags : bool
        True if its tones are those of other parts, sitting low (a loose coupling).
    load_db : mapping of str to float
        By how much its mean level rises in a recording with a load switched on, by the
        switch's id. [dB]
    source : str
        Where the order formula comes from.
    """

    part: str
    mechanism: str
    title: str
    shaft: str
    lines: tuple[ExpectedLine, ...]
    depends_on: Mapping[str, float]
    belt: str | None
    locked: bool
    own_tolerance: float
    prior_weight: float
    source: str
    noises: tuple[ExpectedNoise, ...] = ()
    lags: bool = False
    load_db: Mapping[str, float] = field(default_factory=dict)

    @property
    def row_id(self) -> str:
        """Id of its row in the tables, without the place and variant of a bearing."""
        return self.mechanism.partition("/")[0].partition("#")[0]

    @property
    def tonal_lines(self) -> tuple[ExpectedLine, ...]:
        """Lines of the sound itself."""
        return tuple(line for line in self.lines if not line.in_envelope)

    @property
    def envelope_lines(self) -> tuple[ExpectedLine, ...]:
        """Lines of the sound's envelope."""
        return tuple(line for line in self.lines if line.in_envelope)
