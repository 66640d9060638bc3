"""The shape of the tables: what one row of each may hold, and within which limits.

Rows are checked by pydantic when they are read; from then on they are plain values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

from pydantic import ConfigDict, Field, PlainValidator

from acoustic.tables.formula import Formula, parse_formula

Text = Annotated[str, Field(min_length=1)]
Checked = Annotated[Formula, PlainValidator(parse_formula)]
Chances = tuple[Annotated[float, Field(gt=0, lt=1)], ...]
Levels = tuple[Annotated[float, Field(ge=-60, le=0)], ...]
Ring = Literal["inner", "outer", "both"]
ShowsAs = Literal["tones", "impacts", "roughness", "bursts"]
Applies = Literal["always", "with a pulley", "bearings not given"]
Who = Literal["do-it-yourself", "specialist"]
STRICT = ConfigDict(extra="forbid", str_strip_whitespace=True)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A count or figure an order formula needs.

    `default` is a formula over other quantities; without one a missing quantity leaves
    out the lines that need it. `identity` says the default must hold even where the
    user gives the quantity (pole pairs are half the poles).
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    name: Text
    title: Text
    source: Text
    low: float = 1
    high: float = 500
    whole: bool = True
    even: bool = False
    default: Checked | None = None
    identity: bool = False


@dataclass(frozen=True, slots=True)
class LineRow:
    """Lines a mechanism shows: harmonics of one formula, in orders of the part's shaft.

    `probability` is the chance that the line stands out when the mechanism is at work,
    `relative_level_db` its level against the strongest line of the mechanism; both run
    along `harmonics`. `shows_as` tells in what: ``"tones"`` are lines of the sound itself;
    the others are lines of its envelope, made by short knocks (``"impacts"``), by noise
    that swells (``"roughness"``) or by short cries (``"bursts"``).
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    formula: Checked
    label: Text
    probability: Chances
    relative_level_db: Levels
    harmonics: tuple[Annotated[int, Field(ge=1, le=200)], ...] = (1,)
    natural: bool = False
    shows_as: ShowsAs = "tones"


@dataclass(frozen=True, slots=True)
class NoiseRow:
    """A noise without lines of its own that a mechanism makes, such as a hiss.

    `noise` is the id of a `Noise` of the tables, `probability` the chance that it is
    heard when the mechanism is at work.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    noise: Text
    probability: Annotated[float, Field(gt=0, lt=1)]


@dataclass(frozen=True, slots=True)
class LoadEffect:
    """What a switch the driver can work does to a mechanism's level. [dB]"""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    switch: Text
    change_db: Annotated[float, Field(ge=-20, le=20)]


@dataclass(frozen=True, slots=True)
class Mechanism:
    """One way a part makes sound, with the check that confirms it.

    Attributes
    ----------
    id, title : str
        Name in results, and for people.
    sounds_like : tuple of str
        Words of the trade: whine, whirr, growl, rumble, rattle, chirp, squeal, hiss, tick.
    comes_when : tuple of str
        When it is heard most: ``"idle"``, ``"cold"``, ``"wet"``, ``"load"`` ...
    prior_weight : float
        Against the other mechanisms of the same part, any scale.
    own_tolerance, own_tolerance_estimated : float
        Relative sd of its orders beyond pulley diameters and slip; the second where
        geometry was taken from a table and not counted. [-]
    hand_check : str
        With `hand_check_minutes`, and the `caution` to show beside it.
    noise : tuple of NoiseRow
        Noises it makes that are not lines.
    race : bool
        True where it is one race or the balls of a bearing, which sound alike enough that
        the bearing is named before the race.
    lags : bool
        True if it shows in the place of other lines: those that whatever turns with its
        shaft makes, healthy or not, sit low (a loose coupling).
    applies : str
        Only for rows of ``[[every_part]]``: to which parts.
    special_tool, change_together, harms : str
        Tool without which the repair cannot be done, what is changed with it, and what
        else suffers if the fault is left; empty where there is nothing to say.
    who : str
        Who may do the repair; empty: as its kind says.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    title: Text
    sounds_like: tuple[Text, ...]
    prior_weight: Annotated[float, Field(gt=0, le=100)]
    hand_check: Text
    hand_check_minutes: Annotated[float, Field(gt=0, le=600)]
    caution: Text
    repair: Text
    source: Text
    line: tuple[LineRow, ...] = ()
    noise: tuple[NoiseRow, ...] = ()
    lags: bool = False
    applies: Applies = "always"
    comes_when: tuple[Text, ...] = ()
    race: bool = False
    special_tool: str = ""
    change_together: str = ""
    harms: str = ""
    who: Who | Literal[""] = ""
    load: tuple[LoadEffect, ...] = ()
    own_tolerance: Annotated[float, Field(ge=0, lt=0.1)] = 0.0
    own_tolerance_estimated: Annotated[float, Field(ge=0, lt=0.1)] = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of component.

    Attributes
    ----------
    id, title : str
        What a layout writes after ``kind =``, and the name for people.
    listed : bool
        False for what a layout never lists as a component because it follows from the
        drive itself: belts, gears, chains.
    turning_ring : str
        Which bearing ring turns if the layout does not say.
    place_ring : mapping of str to str
        Exceptions by bearing place (a compressor's clutch bearing).
    everywhere : bool
        True for what no layout lists because every running engine has it: the engine's
        own noises, a loose shield. It becomes a part of every drive.
    replaces : tuple of str
        Kinds with `everywhere` that are not there where this one sits on the crankshaft: a
        bench motor has no valves and no heat shields.
    turns_whole : bool
        Whether unbalance and run-out of the shaft apply (false for a belt).
    usual_ratio : (float, float) or None
        Usual range of speed over crankshaft speed, used where nothing was measured.
    usual_life_km : float or None
        How long it usually lasts. [km]
    note : str
        What the trade says of it beside its mechanisms.
    who : str
        Who may repair it: a handy person to the maker's manual, or a specialist only.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    title: Text
    source: Text
    aliases: tuple[Text, ...] = ()
    listed: bool = True
    everywhere: bool = False
    replaces: tuple[Text, ...] = ()
    turning_ring: Ring = "inner"
    place_ring: Mapping[str, Ring] = field(default_factory=dict)
    turns_whole: bool = True
    usual_ratio: tuple[float, float] | None = None
    probe_at: str = ""
    usual_life_km: Annotated[float, Field(gt=0)] | None = None
    note: str = ""
    who: Who = "do-it-yourself"
    quantity: tuple[Quantity, ...] = ()
    mechanism: tuple[Mechanism, ...] = ()


@dataclass(frozen=True, slots=True)
class Switch:
    """A load the driver can switch while recording, and how.

    `aliases` are other words for it, as people name files and type options. `on_share` is the
    share of a recording that it is on for: all of it, but for what may be held for seconds
    only.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    title: Text
    how: Text
    caution: Text
    source: Text
    aliases: tuple[Text, ...] = ()
    on_share: Annotated[float, Field(gt=0, le=1)] = 1.0

    def mean_change_db(self, change_db: float) -> float:
        """Change of the mean power of a recording, from that while it is on. [dB]

        >>> switch = Switch("a", "a", "a", "a", "a", on_share=0.2)
        >>> round(switch.mean_change_db(8.0), 2)
        3.14
        """
        return 10.0 * math.log10(1.0 - self.on_share + self.on_share * 10.0 ** (change_db / 10.0))


@dataclass(frozen=True, slots=True)
class Noise:
    """A noise that is not a family of lines, and how often it is there without a fault.

    Attributes
    ----------
    id, title : str
    elsewhere : float
        Chance that a recording of a sound drive shows it all the same. [-]
    advice : str
        What to do at the engine when it is found.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Text
    title: Text
    elsewhere: Annotated[float, Field(gt=0, lt=1)]
    advice: Text
    source: Text


@dataclass(frozen=True, slots=True)
class BearingRow:
    """A rolling bearing by designation; the internals are None where not published."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    designation: Text
    variant: Text
    source: Text
    bore_mm: Annotated[float, Field(gt=0)] | None = None
    outside_mm: Annotated[float, Field(gt=0)] | None = None
    width_mm: Annotated[float, Field(gt=0)] | None = None
    ball_count: Annotated[int, Field(ge=3)] | None = None
    ball_diameter_mm: Annotated[float, Field(gt=0)] | None = None
    pitch_diameter_mm: Annotated[float, Field(gt=0)] | None = None
    contact_angle_deg: Annotated[float, Field(ge=0, lt=90)] = 0.0


@dataclass(frozen=True, slots=True)
class BeltProfile:
    """A V-ribbed belt profile.

    Attributes
    ----------
    line_differential_mm : float
        From the effective diameter to the pitch line, radially: d_p = d_e + 2 b_e. [mm]
    line_differential_sd_mm : float
        How far published values lie apart. [mm]
    back_to_cord_mm : float
        From the flat back to the pitch line: d_p = d_flat + 2 t_b. [mm]
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    profile: Text
    rib_pitch_mm: Annotated[float, Field(gt=0)]
    groove_angle_deg: Annotated[float, Field(gt=0, lt=90)]
    tip_radius_min_mm: Annotated[float, Field(gt=0)]
    check_ball_mm: Annotated[float, Field(gt=0)]
    two_x_mm: Annotated[float, Field(gt=0)]
    belt_height_mm: Annotated[float, Field(gt=0)]
    line_differential_mm: Annotated[float, Field(gt=0)]
    line_differential_sd_mm: Annotated[float, Field(ge=0)]
    back_to_cord_mm: Annotated[float, Field(gt=0)]
    min_effective_diameter_mm: Annotated[float, Field(gt=0)]
    mass_per_rib_kg_per_m: Annotated[float, Field(gt=0)]
    source: Text
