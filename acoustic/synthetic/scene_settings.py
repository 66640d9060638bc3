"""What a made scene is to hold: speeds, planted faults, healthy song, engine, phone.

Every `(low, high)` pair is a range from which each scene draws its own value, so that a
set of scenes is varied without anybody choosing the values one by one. Where a figure
has no source beside it, it is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from acoustic.errors import SettingsError

Range = tuple[float, float]
CodecName = Literal["opus", "aac", "mp3"]
SHORTEST_RUN_S = 0.5  # of an engine that is switched off in the recording


@dataclass(frozen=True, slots=True)
class Condition:
    """One recording of the scene: how fast, how long, where the phone was held.

    Attributes
    ----------
    name : str
        Name of the recording that is made.
    rpm : float
        Crankshaft speed; the first one of a sweep. [1/min]
    end_rpm : float or None
        Last speed of a sweep; None holds the speed. [1/min]
    duration_s : float
    wander : float or None
        Relative rms of the slow speed wander. None draws it: 0.4 to 1.2 % below
        1200 rpm (idle), 0.15 to 0.4 % above (held). [-]
    probe_part : str or None
        Part the phone was held at; None is one place in front of the drive.
    loads : tuple of str
        Ids of the loads that are switched on.
    healthy : bool
        Taken before the faults came, or after the repair: a reference of this drive.
    switch_off_s : float or None
        How long before its end the engine is switched off and runs down; None lets it
        run to the end. [s]
    fault_change_db : tuple of (str, float)
        Part and how much louder its planted faults are in this recording than planted, as
        after a repair; minus infinity is not there at all. [dB]
    """

    name: str = "synthetic"
    rpm: float = 800.0
    end_rpm: float | None = None
    duration_s: float = 20.0
    wander: float | None = None
    probe_part: str | None = None
    healthy: bool = False
    switch_off_s: float | None = None
    loads: tuple[str, ...] = ()
    fault_change_db: tuple[tuple[str, float], ...] = ()

    def change_db(self, part: str) -> float:
        """How much louder the planted faults of a part are here than planted. [dB]"""
        return dict(self.fault_change_db).get(part, 0.0)

    def __post_init__(self) -> None:
        for rpm in (self.rpm, self.rpm if self.end_rpm is None else self.end_rpm):
            if not 100.0 <= rpm <= 20000.0:
                raise SettingsError(f"A scene at {rpm:g} rpm cannot be made: use 100 to 20000 rpm.")
        if not 0.5 <= self.duration_s <= 600.0:
            raise SettingsError(
                f"A scene of {self.duration_s:g} s cannot be made: use 0.5 to 600 s."
            )
        latest = self.duration_s - SHORTEST_RUN_S
        if self.switch_off_s is not None and not 0.0 < self.switch_off_s <= latest:
            raise SettingsError(
                f"An engine switched off {self.switch_off_s:g} s before the end of "
                f"{self.duration_s:g} s cannot be made: use more than 0 and let it run for "
                f"{SHORTEST_RUN_S:g} s first."
            )


@dataclass(frozen=True, slots=True)
class PlantedFault:
    """A mechanism at work in one part, and what it is heard by.

    Attributes
    ----------
    part, mechanism : str
    level_db : float
        Of tones: the tone-to-noise ratio that the family's strongest line is aimed at;
        each line then scatters about its own relative level. Of all else: power over that
        of everything else in the band it lies in, over the whole recording. [dB]
    shows_as : str
        ``"tones"``, ``"envelope"`` (knocks, growl or short cries in step with a shaft) or
        ``"noise"`` (a noise without lines); more closely ``"impacts"``, ``"roughness"``,
        ``"bursts"`` or the id of a noise. Left empty it is tones where the mechanism has
        any, else its envelope, else its noise.
    """

    part: str
    mechanism: str
    level_db: float
    shows_as: str = ""


@dataclass(frozen=True, slots=True)
class HealthySong:
    """Healthy parts that are heard too: their natural lines (vanes, poles, pistons).

    Attributes
    ----------
    share : float
        Chance for each part that it is loud enough to sing at all. [-]
    below_db : (float, float)
        How far under `fault_level_db` a part sings, drawn per part. [dB]
    fault_level_db : float
        Level of the (possibly only imagined) fault the song is compared with. [dB]
    """

    share: float = 0.7
    below_db: Range = (6.0, 15.0)
    fault_level_db: float = -6.0


@dataclass(frozen=True, slots=True)
class EngineSound:
    """How the engine sounds: its comb of half orders, combustion noise and ticking.

    The defaults were set by phone recordings of 36 idling cars (open data): there firing
    multiples, whole and half orders stand 24, 8 and 7 dB above what lies between them at
    orders 3 to 12, 12, 8 and 8 dB at 45 to 80 and 5, 4 and 4 dB at 130 to 200 (medians).
    Made idling engines have 17, 8 and 7, 11, 8 and 7, and 2, 1 and 1 dB.

    Attributes
    ----------
    top_hz : (float, float)
        Where the comb of half orders ends. [Hz]
    integer_db, half_db : (float, float)
        Whole and half orders against the firing multiples at low orders. [dB]
    slope_db_per_octave : (float, float)
        Fall of the comb above 150 Hz. [dB/octave]
    line_scatter_db : float
        Standard deviation of single lines about the smooth comb. [dB]
    cycle_level_jitter : float
        Relative sd of a line's level from cycle to cycle. [-]
    cycle_phase_jitter : float
        Sd of the phase from cycle to cycle, per order. [rad]
    combustion_db, ticking_db : (float, float)
        Combustion-band noise and injector and valve ticking against the comb. [dB]
    injector_db, diesel_knock_db, fuel_pump_db : (float, float) or None
        Sharper noises of sound engines against the comb: injectors that click, combustion
        that clatters, a fuel pump that ticks at the lobes of its cam. None leaves them out;
        a loud injector stands at -6. [dB]
    turn_fluctuation : (float, float)
        Relative amplitude of the speed swing within a firing interval at 800 rpm; it
        falls with the square of the speed, as the gas work stays and the stored energy
        grows. [-]
    seed : int or None
        Of what the engine's comb and combustion are like: with it every recording is of the
        same engine. None draws another one for each.
    """

    top_hz: Range = (1200.0, 4000.0)
    integer_db: Range = (-20.0, -8.0)
    half_db: Range = (-23.0, -11.0)
    slope_db_per_octave: Range = (3.0, 7.0)
    line_scatter_db: float = 2.0
    cycle_level_jitter: float = 0.2
    cycle_phase_jitter: float = 0.006
    combustion_db: Range = (-12.0, -4.0)
    ticking_db: Range = (-26.0, -14.0)
    injector_db: Range | None = None
    diesel_knock_db: Range | None = None
    fuel_pump_db: Range | None = None
    turn_fluctuation: Range = (0.0, 0.005)
    seed: int | None = None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Everything else that is heard: coloured noise and the place the phone is held at.

    Attributes
    ----------
    noise_db : (float, float)
        Noise against the engine, both from 50 to 3000 Hz. [dB]
    slope : (float, float)
        Exponent a of a power spectrum falling as 1/f^a; 1 is pink. [-]
    humps : (int, int)
        Number of broad resonances in the noise.
    transfer_db : float
        Rms unevenness of the way from the drive to the phone over frequency. [dB]
    own_point_db, other_point_db : float
        How much louder a part is at its own probe point, and how much softer all
        others are there. [dB]
    """

    noise_db: Range = (-8.0, 3.0)
    slope: Range = (0.7, 1.5)
    humps: tuple[int, int] = (3, 8)
    transfer_db: float = 5.0
    own_point_db: float = 5.0
    other_point_db: float = -5.0


@dataclass(frozen=True, slots=True)
class Codec:
    """A lossy codec and its bit rate."""

    name: CodecName
    kbit_s: int

    def __post_init__(self) -> None:
        limits = {"opus": (6, 256), "aac": (32, 320), "mp3": (32, 320)}
        if self.name not in limits:
            raise SettingsError(f"Codec {self.name!r} is not known: use {', '.join(limits)}.")
        low, high = limits[self.name]
        if not low <= self.kbit_s <= high:
            raise SettingsError(
                f"{self.name} at {self.kbit_s} kbit/s cannot be made: use {low} to {high} kbit/s."
            )


@dataclass(frozen=True, slots=True)
class Phone:
    """What the phone does to the sound.

    Attributes
    ----------
    high_pass_hz : (float, float) or None
        Corner of the microphone's second-order high-pass. [Hz]
    hand_db : float
        Rms of the slow level change because the hand is not still. [dB]
    agc_s : (float, float) or None
        Time constant of the automatic gain; None leaves the gain alone. [s]
    level_db : (float, float)
        Rms level that is recorded, against full scale. [dB]
    soft_clip_db : float or None
        Level above which the input bends, against full scale; None does not bend. [dB]
    codec : Codec or None
        Lossy round trip at the end; None keeps the 16-bit samples.
    """

    high_pass_hz: Range | None = (60.0, 100.0)
    hand_db: float = 1.0
    agc_s: Range | None = (0.1, 1.0)
    level_db: Range = (-30.0, -18.0)
    soft_clip_db: float | None = None
    codec: Codec | None = None


@dataclass(frozen=True, slots=True)
class SceneSettings:
    """A whole scene: the recordings wanted and all that sounds in them.

    Attributes
    ----------
    slip_wander : (float, float)
        Relative rms of the slow wander of each belt's slip with load. [-]
    slip_shift : float
        Sd of a belt's slip from one recording to the next. [-]
    level_scatter_db : float
        Sd of single lines about their expected relative level. [dB]
    level_shift_db : float
        Sd of a whole family's level from one recording to the next. [dB]
    ball_slip : float
        Sd of the spacing of a rolling bearing's knocks, relative; it adds up from knock to
        knock. About 1 % is usual: J. Antoni and R. B. Randall, J. Vib. Acoust. 125 (2003)
        (from memory). [-]
    """

    conditions: tuple[Condition, ...] = (Condition(),)
    faults: tuple[PlantedFault, ...] = ()
    song: HealthySong | None = None
    engine: EngineSound = field(default_factory=EngineSound)
    surroundings: Surroundings = field(default_factory=Surroundings)
    phone: Phone = field(default_factory=Phone)
    sample_rate_hz: int = 48000
    slip_wander: Range = (0.001, 0.002)
    slip_shift: float = 0.002
    level_scatter_db: float = 5.0
    level_shift_db: float = 3.0
    ball_slip: float = 0.01

    def __post_init__(self) -> None:
        if not self.conditions:
            raise SettingsError("A scene needs at least one condition: give a speed to record at.")
        if self.sample_rate_hz not in (8000, 16000, 24000, 32000, 44100, 48000, 96000):
            raise SettingsError(
                f"A scene at {self.sample_rate_hz} samples/s cannot be made: use a usual rate "
                "such as 48000."
            )
