"""The layout as a person types it: the data model behind the TOML file.

Every key a layout may hold is here, with its range. Counts that belong to a kind of
component (vanes, poles, pistons ...) are not: they are rows in
``acoustic/tables/components.toml`` and are checked against it when the drive is built.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80)]
Millimetres = Annotated[float, Field(gt=0, lt=5000, allow_inf_nan=False)]
Coordinate = Annotated[float, Field(ge=-5000, le=5000)]
SpeedRange = tuple[
    Annotated[float, Field(gt=50, lt=20000)], Annotated[float, Field(gt=50, lt=20000)]
]


class _Strict(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, allow_inf_nan=False
    )


class EngineLayout(_Strict):
    """[engine]: cylinders, strokes, firing, speeds, sense of rotation."""

    cylinders: int = Field(ge=1, le=16)
    strokes: Literal[2, 4] = 4
    firing_order: list[int] | None = Field(
        None, description="numbers of the cylinders as they fire, such as 1, 3, 4, 2"
    )
    firing_angles_deg: list[float] | None = Field(
        None, description="crank angle of each firing over one cycle, for odd-fire engines"
    )
    idle_rpm: SpeedRange = Field((600.0, 1100.0), description="lowest and highest warm idle")
    working_rpm: SpeedRange = Field((600.0, 4500.0), description="lowest and highest in use")
    crank_turns: Literal["clockwise", "anticlockwise"] = Field(
        "clockwise", description="seen facing the drive"
    )
    motor: bool = Field(
        False, description="an electric motor on a bench: no firing to hear a speed by"
    )


class BearingLayout(_Strict):
    """A bearing by designation ("6203") or by its geometry, and which ring turns."""

    place: str = Field("main", description="where on the part: front, rear, clutch")
    designation: str | None = Field(
        None, description="printed on its side, such as 6203; seals and clearance may follow"
    )
    ball_count: int | None = Field(
        None, ge=3, le=60, description="counted; needed where the designation is not in the table"
    )
    ball_diameter_mm: Millimetres | None = None
    pitch_diameter_mm: Millimetres | None = Field(
        None, description="of the circle through the centres of the balls"
    )
    contact_angle_deg: float = Field(
        0.0, ge=0, lt=90, description="0 for deep-groove ball bearings"
    )
    turning_ring: Literal["inner", "outer", "both"] | None = Field(
        None, description="left out: what is usual for the kind of component"
    )
    inner_shaft: str | None = Field(None, description="only for turning_ring = both")
    outer_shaft: str | None = Field(None, description="only for turning_ring = both")


Overrunning = Literal["no", "one-way", "decoupler"]


class DrivenBy(_Strict):
    """How a shaft is driven from another one.

    gears: `teeth` from the driving to the driven wheel, idler gears between.
    chain, toothed belt: `teeth` of the driving and the driven sprocket, `links` if known.
    coupling: ratio 1; `may_slip` if it can slip when loose.
    ratio: a measured speed ratio with its tolerance.
    """

    kind: Literal["gears", "chain", "toothed belt", "coupling", "ratio"]
    from_: Name = Field("crankshaft", alias="from", description="shaft that drives it")
    teeth: list[Annotated[int, Field(ge=5, le=500)]] | None = Field(
        None, description="from the driving wheel to the driven one, idler gears between"
    )
    links: int | None = Field(
        None, ge=10, le=2000, description="of the chain, or teeth of the toothed belt; if known"
    )
    ratio: float | None = Field(
        None, gt=0, lt=50, description="measured: turns for each turn of the driving shaft"
    )
    tolerance_percent: float | None = Field(
        None, ge=0, le=30, description="how far a measured ratio may be off"
    )
    may_slip: bool = Field(False, description="a coupling that can slip when it is loose")
    overrunning: Overrunning = Field(
        "no", description="a clutch that lets it run on: one-way, or a decoupler with a spring"
    )


class ShaftLayout(_Strict):
    """[[shaft]]: a shaft that is not simply a pulley's own."""

    name: Name
    driven_by: DrivenBy
    bearings: list[BearingLayout] = []


Measured = Literal[
    "drawing", "caliper over ribs", "tape round the belt", "flat back-side pulley", "estimate"
]


class PulleyBase(_Strict):
    """What is known of a pulley: a diameter and how it was measured, or a ratio."""

    diameter_mm: Millimetres | None = Field(
        None, description="as measured; a tape's reading divided by 3.1416"
    )
    measured: Measured | None = Field(
        None,
        description="drawing: effective diameter from a data sheet; caliper: over the tips of "
        "the ribs; tape: round the belt where it lies on the pulley; flat: a smooth pulley "
        "under the belt's back; estimate: by eye",
    )
    speed_ratio: float | None = Field(
        None, gt=0, lt=50, description="measured speed over crankshaft speed"
    )
    tolerance_percent: float | None = Field(
        None, gt=0, le=30, description="of ratio or diameter; left out: what is usual"
    )
    overrunning: Overrunning = Field(
        "no", description="a clutch that lets it run on: one-way, or a decoupler with a spring"
    )
    position_mm: tuple[Coordinate, Coordinate] | None = Field(
        None, description="centre: x to the right, y up, seen facing the drive"
    )


class PulleyLayout(PulleyBase):
    """[[pulley]]: a pulley on a named shaft, or on a shaft of its own."""

    name: Name
    on: str | None = Field(
        None, description="shaft it sits on, such as crankshaft; left out: a shaft of its own"
    )


class BeltLayout(_Strict):
    """[[belt]]: section such as "6PK" and the ordered path over the pulleys.

    A path entry is a pulley's name, with " (back)" behind it where the belt's flat back
    runs on that pulley. The first entry drives.
    """

    name: Name
    section: str = Field(
        "6PK", pattern=r"^\d{1,2}P[HJKLM]$", description="ribs and profile, printed on the belt"
    )
    length_mm: Millimetres | None = Field(None, description="printed behind the section")
    path: list[Name] = Field(
        min_length=2,
        description="pulleys in the order the belt meets them, the driving one first; (back) "
        "behind a name where the belt's flat back runs",
    )
    stretch: bool = Field(False, description="a belt that needs no tensioner")
    span_tension_n: float | None = Field(None, gt=0, lt=5000, description="if it was measured")


class ComponentLayout(BaseModel):
    """[[component]]: one accessory. Counts of its kind stand beside these keys."""

    model_config = ConfigDict(
        extra="allow", frozen=True, str_strip_whitespace=True, allow_inf_nan=False
    )

    name: Name
    kind: Name = Field(description="what it is; its counts follow from it")
    on: str | None = Field(
        None, description="pulley or shaft it turns with, if it has no pulley of its own"
    )
    pulley: PulleyBase | None = Field(
        None, description="its own pulley; it takes the component's name"
    )
    bearings: list[BearingLayout] | None = Field(
        None, description="left out: none are assumed; an empty list says it has none"
    )
    access_hours: float | None = Field(None, ge=0, le=200, description="work to get it off")
    special_tool: str | None = Field(None, description="without which it cannot be got off")
    service_interval_km: float | None = Field(None, gt=0)
    probe_at: str | None = Field(
        None, description="fixed place near it where a phone or probe can rest, clear of the belt"
    )
    note: str = ""


class Layout(_Strict):
    """A whole layout file."""

    schema_: Literal["drive-layout/1"] = Field("drive-layout/1", alias="schema")
    name: Name = Field(description="of the drive, such as the vehicle and which end of the engine")
    note: str = ""
    engine: EngineLayout
    shaft: list[ShaftLayout] = Field(
        [], description="driven by gears, chain or coupling; a pulley's own shaft needs none"
    )
    belt: list[BeltLayout] = []
    pulley: list[PulleyLayout] = Field(
        [], description="that only drive, or carry several parts; the others stand with their part"
    )
    component: list[ComponentLayout] = Field(
        min_length=1, description="everything that turns and may make a noise"
    )
