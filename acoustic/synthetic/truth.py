"""The truth about a made recording: every line, the speed, the slips, what is faulty.

Values are measured on the made components, before the phone. Levels in band are those at
the place the phone is held at, with the way there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from acoustic.drive.drive import Drive
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.synthetic.band_sounds import BandSource, SoundingBand
from acoustic.synthetic.scene_settings import Condition, PlantedFault
from acoustic.synthetic.tones import Role, SoundingLine

PHONE_LIMIT_HZ = 60.0
WEAKEST_DETECTABLE_DB = -14.0
MAIN_LOBE_BINS = 2.25  # half the main lobe of a Hann window is 2 bins; the rest is for slip
# Turns of the crank over which a line can be resolved, by order. A speed heard from the
# sound blurs a line of order o by some 0.15 % of o, so high orders allow fewer turns.
RESOLVING_TURNS = ((12.0, 64), (40.0, 32), (130.0, 16), (float("inf"), 10))


@dataclass(frozen=True, slots=True)
class TrueLine:
    """One line that really sounds in a recording.

    Attributes
    ----------
    part, mechanism, label : str
    role : str
        ``"fault"`` if planted, ``"song"`` of a healthy part.
    natural : bool
        Whether a healthy part may show this line too.
    order, nominal_order : float
        True mean order in this recording, and the one the layout gives without slip.
    frequency_hz : float
        At the recording's mean speed. [Hz]
    tone_to_noise_db : float
        Against everything else in the critical band, other lines included. [dB]
    comb_distance_order : float
        Distance to the nearest order of the engine's comb.
    on_comb : bool
        Not resolved from the comb by the turns its order allows; above order 130, where
        half orders run together, not resolved from a multiple of the firing order.
    above_phone_limit : bool
        Above 60 Hz.
    """

    part: str
    mechanism: str
    label: str
    role: Role
    natural: bool
    order: float
    nominal_order: float
    frequency_hz: float
    tone_to_noise_db: float
    comb_distance_order: float
    on_comb: bool
    above_phone_limit: bool

    @property
    def detectable(self) -> bool:
        """Above 60 Hz, off the engine's comb and at least -14 dB tone-to-noise."""
        return (
            self.above_phone_limit
            and not self.on_comb
            and self.tone_to_noise_db >= WEAKEST_DETECTABLE_DB
        )


@dataclass(frozen=True, slots=True)
class TrueBandSound:
    """One planted sound that lies in bands: knocks, growl, cries or a noise without lines.

    Attributes
    ----------
    part, mechanism, label : str
    shows_as : str
        ``"impacts"``, ``"roughness"`` or ``"bursts"``, lines of the envelope; or the id of
        a noise.
    level_db : float
        Power over that of everything else in its bands; of a rattle after switching off,
        from where the engine stands still. Uneven firing has no band: its level says how
        plain it was planted. [dB]
    bands_hz : tuple of (float, float)
        Empty for uneven firing.
    order, nominal_order : float or None
        True mean order of its events in this recording, and the one the layout gives
        without slip; None for a noise without lines.
    rate_hz : float or None
        Events a second at the recording's mean speed. [Hz]
    """

    part: str
    mechanism: str
    label: str
    shows_as: str
    level_db: float
    bands_hz: tuple[tuple[float, float], ...]
    order: float | None
    nominal_order: float | None
    rate_hz: float | None


@dataclass(frozen=True, slots=True)
class RecordingTruth:
    """The truth about one recording of a scene.

    Attributes
    ----------
    speed : SpeedTrace
        True crankshaft speed (source ``"given"``, no uncertainty).
    unknowns : mapping of str to float
        True values of the shared unknowns in this recording; slips are means. [-]
    noise_db : float
        Noise against the engine from 50 to 3000 Hz. [dB]
    in_band : tuple of TrueBandSound
        What is planted that is not heard by tones.
    """

    condition: Condition
    speed: SpeedTrace
    unknowns: Mapping[str, float]
    lines: tuple[TrueLine, ...]
    noise_db: float
    in_band: tuple[TrueBandSound, ...] = ()

    def detectable(self, part: str | None = None) -> tuple[TrueLine, ...]:
        """Lines of planted faults (of one part, if named) that could be found."""
        return tuple(
            line
            for line in self.lines
            if line.role == "fault" and line.detectable and part in (None, line.part)
        )


@dataclass(frozen=True, slots=True)
class SceneTruth:
    """The truth about a whole scene, common to its recordings.

    Attributes
    ----------
    faults : tuple of PlantedFault
        Empty for a healthy drive.
    singing : tuple of str
        Healthy parts whose natural lines sound.
    """

    faults: tuple[PlantedFault, ...]
    singing: tuple[str, ...]
    recordings: tuple[RecordingTruth, ...]

    @property
    def faulty_parts(self) -> tuple[str, ...]:
        """Names of the parts with a planted fault."""
        return tuple(dict.fromkeys(fault.part for fault in self.faults))

    @property
    def detectable(self) -> bool:
        """Whether any planted tone could be found in any of the recordings."""
        return any(truth.detectable() for truth in self.recordings)


def true_line(sounding: SoundingLine, drive: Drive) -> TrueLine:
    """State the truth about one line of a recording."""
    engine = drive.engine
    distance = _distance(sounding.order, engine.order_step)
    turns = next(turns for limit, turns in RESOLVING_TURNS if sounding.order < limit)
    high = sounding.order >= RESOLVING_TURNS[-2][0]
    from_comb = _distance(sounding.order, engine.firing_order) if high else distance
    return TrueLine(
        part=sounding.source.family.part,
        mechanism=sounding.source.family.mechanism,
        label=sounding.line.label,
        role=sounding.source.role,
        natural=sounding.line.natural,
        order=sounding.order,
        nominal_order=sounding.line.order,
        frequency_hz=sounding.frequency_hz,
        tone_to_noise_db=sounding.tone_to_noise_db,
        comb_distance_order=distance,
        on_comb=from_comb <= MAIN_LOBE_BINS / turns,
        above_phone_limit=sounding.frequency_hz > PHONE_LIMIT_HZ,
    )


def true_band_sound(sound: SoundingBand, mean_speed_hz: float) -> TrueBandSound:
    """State the truth about one sound in bands of a recording."""
    source = sound.source
    return TrueBandSound(
        part=source.family.part,
        mechanism=source.family.mechanism,
        label=source.shows_as if source.train is None else source.train.label,
        shows_as=source.shows_as,
        level_db=sound.level_db,
        bands_hz=sound.bands,
        order=sound.order,
        nominal_order=source.nominal_order,
        rate_hz=None if sound.order is None else sound.order * mean_speed_hz,
    )


def true_misfire(source: BandSource, drive: Drive, mean_speed_hz: float) -> TrueBandSound:
    """State the truth about uneven firing, which repeats with the working cycle."""
    cycle = drive.engine.order_step
    return TrueBandSound(
        part=source.family.part,
        mechanism=source.family.mechanism,
        label=source.shows_as,
        shows_as=source.shows_as,
        level_db=source.fault.level_db,
        bands_hz=(),
        order=cycle,
        nominal_order=cycle,
        rate_hz=cycle * mean_speed_hz,
    )


def _distance(order: float, step: float) -> float:
    """Distance to the nearest multiple of `step`."""
    return abs(order - step * round(order / step))
