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
    firing_order: list[int] | None = None
    firing_angles_deg: list[float] | None = Field(
        None, description="crank angle of each firing over one cycle, for odd-fire engines"
    )
    idle_rpm: SpeedRange = (600.0, 1100.0)
    working_rpm: SpeedRange = (600.0, 4500.0)
    crank_turns: Literal["clockwise", "anticlockwise"] = "clockwise"
    motor: bool = Field(
        False, description="true for an electric motor on a bench: no firing to hear a speed by"
    )


class BearingLayout(_Strict):
    """A bearing by designation ("6203") or by its geometry, and which ring turns."""

    place: str = "main"
    designation: str | None = None
    ball_count: int | None = Field(None, ge=3, le=60)
    ball_diameter_mm: Millimetres | None = None
    pitch_diameter_mm: Millimetres | None = None
    contact_angle_deg: float = Field(0.0, ge=0, lt=90)
    turning_ring: Literal["inner", "outer", "both"] | None = Field(
        None, description="default: what is usual for the kind of component"
    )
    inner_shaft: str | None = Field(None, description="only for turning_ring = both")
    outer_shaft: str | None = Field(None, description="only for turning_ring = both")


class DrivenBy(_Strict):
    """How a shaft is driven from another one.

    gears: `teeth` from the driving to the driven wheel, idler gears between.
    chain, toothed belt: `teeth` of the driving and the driven sprocket, `links` if known.
    coupling: ratio 1; `may_slip` if it can slip when loose.
    ratio: a measured speed ratio with its tolerance.
    """

    kind: Literal["gears", "chain", "toothed belt", "coupling", "ratio"]
    from_: Name = Field("crankshaft", alias="from")
    teeth: list[Annotated[int, Field(ge=5, le=500)]] | None = None
    links: int | None = Field(None, ge=10, le=2000)
    ratio: float | None = Field(None, gt=0, lt=50)
    tolerance_percent: float | None = Field(None, ge=0, le=30)
    may_slip: bool = False
    overrunning: Literal["no", "one-way", "decoupler"] = "no"


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

    diameter_mm: Millimetres | None = None
    measured: Measured | None = None
    speed_ratio: float | None = Field(
        None, gt=0, lt=50, description="measured speed over crankshaft speed"
    )
    tolerance_percent: float | None = Field(None, gt=0, le=30)
    overrunning: Literal["no", "one-way", "decoupler"] = "no"
    position_mm: tuple[Coordinate, Coordinate] | None = Field(
        None, description="centre, x to the right and y up, seen facing the drive"
    )


class PulleyLayout(PulleyBase):
    """[[pulley]]: a pulley on a named shaft, or on a shaft of its own."""

    name: Name
    on: str | None = Field(None, description="shaft; left out: a shaft of its own")


class BeltLayout(_Strict):
    """[[belt]]: section such as "6PK" and the ordered path over the pulleys.

    A path entry is a pulley's name, with " (back)" behind it where the belt's flat back
    runs on that pulley. The first entry drives.
    """

    name: Name
    section: str = Field("6PK", pattern=r"^\d{1,2}P[HJKLM]$")
    length_mm: Millimetres | None = None
    path: list[Name] = Field(min_length=2)
    stretch: bool = False
    span_tension_n: float | None = Field(None, gt=0, lt=5000)


class ComponentLayout(BaseModel):
    """[[component]]: one accessory. Counts of its kind stand beside these keys."""

    model_config = ConfigDict(
        extra="allow", frozen=True, str_strip_whitespace=True, allow_inf_nan=False
    )

    name: Name
    kind: Name
    on: str | None = Field(None, description="pulley or shaft it turns with")
    pulley: PulleyBase | None = Field(
        None, description="its own pulley, typed in place; it takes the component's name"
    )
    bearings: list[BearingLayout] | None = Field(
        None, description="left out: none are assumed; [] says it has none"
    )
    access_hours: float | None = Field(None, ge=0, le=200)
    special_tool: str | None = None
    service_interval_km: float | None = Field(None, gt=0)
    probe_at: str | None = None
    note: str = ""


class Layout(_Strict):
    """A whole layout file."""

    schema_: Literal["drive-layout/1"] = Field("drive-layout/1", alias="schema")
    name: Name
    note: str = ""
    engine: EngineLayout
    shaft: list[ShaftLayout] = []
    belt: list[BeltLayout] = []
    pulley: list[PulleyLayout] = []
    component: list[ComponentLayout] = Field(min_length=1)
