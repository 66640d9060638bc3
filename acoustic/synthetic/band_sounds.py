"""Planted faults that are heard by knocks, growl, cries or a noise, at a level in their band."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.synthetic.band_part import BandPart, Bands, Spectrum, add_parts, joined, power_in
from acoustic.synthetic.crank_speed import CrankTurning
from acoustic.synthetic.cries import Crying, draw_crying, make_cries
from acoustic.synthetic.critical_band import BandPower
from acoustic.synthetic.growl import Growling, draw_growling, make_growl
from acoustic.synthetic.knocks import Knocking, draw_knocking, make_knocks
from acoustic.synthetic.misfire import Misfire, draw_misfire
from acoustic.synthetic.noises import UNEVEN_FIRING, make_noise
from acoustic.synthetic.planted import (
    AFTER_SWITCH_OFF,
    ENVELOPE,
    TONES,
    choose_shown,
    find_family,
)
from acoustic.synthetic.probe_point import level_change_db
from acoustic.synthetic.random_curves import Floats
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings
from acoustic.synthetic.tones import slow_gain
from acoustic.synthetic.trains import Train, choose_train, find_trains
from acoustic.synthetic.true_drive import ShaftAngles, TrueDrive, true_factor

# The rattle of a part the engine drives is worst at idle: it falls from the first to the
# second speed by so many dB. Common practice, no source.
EASED_BETWEEN_RPM = (1000.0, 1500.0)
EASED_DB = -10.0
EASED = "impacts with firing"
ALL_CYLINDERS = "all cylinders"  # in the name of a mechanism that weakens all of them


@dataclass(frozen=True, slots=True)
class BandSource:
    """One sound of a planted fault that lies in bands, the same in every recording.

    Attributes
    ----------
    shows_as : str
        A kind of envelope line, or the id of a noise.
    train : Train or None
        Events it is made of; None for a noise without lines.
    voice : Knocking, Growling, Crying or None
        How the events sound; None for a noise without lines.
    seed : int
        Of what a noise is like.
    """

    fault: PlantedFault
    family: ExpectedFamily
    shows_as: str
    train: Train | None
    voice: Knocking | Growling | Crying | None
    seed: int

    @property
    def nominal_order(self) -> float | None:
        """Order of its events, without slip; None for a noise without lines."""
        return None if self.train is None else self.train.order


@dataclass(frozen=True, slots=True, eq=False)
class SoundingBand:
    """One sound in bands as it stands in one recording.

    `power` is its mean square in the bands together, `rest` that of everything else.
    """

    source: BandSource
    spectrum: Spectrum
    bands: Bands
    order: float | None
    power: float
    rest: float

    @property
    def level_db(self) -> float:
        """Power over that of everything else in its bands. [dB]"""
        return 10.0 * math.log10(max(self.power, 1e-30) / self.rest)


def choose_band_sources(
    families: tuple[ExpectedFamily, ...],
    drive: Drive,
    settings: SceneSettings,
    rng: np.random.Generator,
) -> tuple[BandSource, ...]:
    """Draw how the planted faults sound that are not heard by tones.

    Raises
    ------
    SettingsError
        A fault names a part or mechanism the drive does not have, or a way to show the
        mechanism does not have.
    """
    sources: list[BandSource] = []
    for fault in settings.faults:
        family = find_family(families, fault)
        sources += [
            _draw_source(fault, family, shown, drive, settings, rng)
            for shown in choose_shown(fault, family, rng)
            if shown != TONES
        ]
    return tuple(sources)


def _draw_source(
    fault: PlantedFault,
    family: ExpectedFamily,
    shown: str,
    drive: Drive,
    settings: SceneSettings,
    rng: np.random.Generator,
) -> BandSource:
    rate, seed = float(settings.sample_rate_hz), int(rng.integers(2**63))
    if shown not in ENVELOPE:
        return BandSource(fault, family, shown, None, None, seed)
    lines = [line for line in family.envelope_lines if line.shows_as == shown]
    train = choose_train(find_trains(lines), rng)
    voice: Knocking | Growling | Crying
    if shown == "bursts":
        voice = draw_crying(rng, rate)
    elif shown == "roughness":
        heard = [
            line for line in lines if rng.uniform() < line.probability or line.order == train.order
        ]
        voice = draw_growling(rng, rate, heard)
    else:
        rolls = family.own_tolerance > 0 and drive.parts[family.part].kind != "belt"
        swells = train.turn_order is not None and rng.uniform() < train.turn_probability
        voice = draw_knocking(
            rng, rate, slip=settings.ball_slip if rolls else 0.0, through_load=swells
        )
    return BandSource(fault, family, shown, train, voice, seed)


def draw_planted_misfire(
    sources: Iterable[BandSource], firings: int, condition: Condition
) -> Misfire | None:
    """Draw the misfire of a recording, the same in all of a scene; None if none is planted.

    `firings` is their number in a working cycle. Its planted level is not one in a band but
    says how plain it is.
    """
    for source in sources:
        change_db = condition.change_db(source.fault.part)
        gone = condition.healthy or change_db == -math.inf
        if source.shows_as == UNEVEN_FIRING and not gone:
            one_cylinder = ALL_CYLINDERS not in source.fault.mechanism
            rng = np.random.default_rng(source.seed)
            level_db = source.fault.level_db + change_db
            return draw_misfire(level_db, firings, rng, one_cylinder=one_cylinder)
    return None


@dataclass(frozen=True, slots=True, eq=False)
class BandSoundMaker:
    """Makes the sounds in bands of one recording.

    Attributes
    ----------
    angles : ShaftAngles
    true_drive : TrueDrive
    values : dict of str to float
        True unknowns of this recording.
    way : ndarray of float32
        Amplitude of the way to the phone, at every bin of the full transform.
    first : bool
        Whether it is the first recording of the scene.
    """

    drive: Drive
    crank: CrankTurning
    settings: SceneSettings
    condition: Condition
    angles: ShaftAngles
    true_drive: TrueDrive
    values: dict[str, float]
    way: NDArray[np.float32]
    rng: np.random.Generator
    first: bool

    def make(self, sources: Iterable[BandSource], heard: Spectrum) -> tuple[SoundingBand, ...]:
        """Make every sound over what is heard without them.

        Each is aimed at its level over `heard`; what is stated afterwards counts the other
        sounds in its bands too.
        """
        made = [self._make_one(source, heard) for source in sources if self._is_heard(source)]
        return tuple(_with_others(sound, made, self.crank) for sound in made)

    def _is_heard(self, source: BandSource) -> bool:
        gone = self.condition.change_db(source.family.part) == -math.inf
        if self.condition.healthy or gone or source.shows_as == UNEVEN_FIRING:
            return False
        return source.shows_as != AFTER_SWITCH_OFF or self.crank.stands_s is not None

    def _make_one(self, source: BandSource, heard: Spectrum) -> SoundingBand:
        clock = self.crank.clock
        parts, order = self._parts(source)
        parts = [replace(part, spectrum=part.spectrum * self.way) for part in parts]
        measured = parts
        if source.shows_as == AFTER_SWITCH_OFF:
            heard = self._after_standstill(heard)
            measured = [
                replace(part, spectrum=self._after_standstill(part.spectrum)) for part in parts
            ]
        rest = BandPower(heard, clock.full_samples, clock.rate_hz)
        spectrum, power = add_parts(parts, rest, self._level_db(source), clock, measured)
        bands = joined(parts)
        return SoundingBand(source, spectrum, bands, order, power, power_in(rest, bands))

    def _level_db(self, source: BandSource) -> float:
        """Level in band at this place, speed and recording. [dB]"""
        settings, condition = self.settings, self.condition
        level = source.fault.level_db
        level += level_change_db(source.family, condition, settings.surroundings)
        level += condition.change_db(source.family.part)
        if not self.first:
            level += settings.level_shift_db * self.rng.standard_normal()
        own_noise = self.drive.knowledge.kinds[self.drive.parts[source.family.part].kind].everywhere
        if source.shows_as == EASED and not own_noise:
            level += float(np.interp(condition.rpm, EASED_BETWEEN_RPM, (0.0, EASED_DB)))
        return level

    def _after_standstill(self, heard: Spectrum) -> Spectrum:
        """What is heard once the engine stands still, silence before."""
        clock = self.crank.clock
        sound = np.asarray(fft.irfft(heard, clock.full_samples), dtype=np.float32)
        stands = self.crank.stands_s or 0.0
        sound[: clock.first + round(stands * clock.rate_hz)] = 0.0
        return np.asarray(fft.rfft(sound), dtype=np.complex64)

    def _parts(self, source: BandSource) -> tuple[list[BandPart], float | None]:
        """Transforms of the sound, level not yet set, and the true order of its events."""
        crank, rng = self.crank, self.rng
        running = crank.running_gain()
        if source.train is None or source.voice is None:
            return [self._noise(source, running)], None
        family = source.family
        shared = true_factor(family.depends_on, self.values, self.drive)
        own = 1.0 + self.true_drive.own[family.part, family.mechanism]
        angle = self.angles.of(family, rng)
        gain = slow_gain(crank, rng) * running
        order = source.train.order * shared * own
        turns: Floats = angle * order
        if isinstance(source.voice, Growling):
            return make_growl(source.voice, angle, shared * own, crank, gain, rng), order
        if isinstance(source.voice, Crying):
            return make_cries(source.voice, turns, crank, gain, rng), order
        ring = angle * (source.train.turn_order or 0.0) * shared
        return make_knocks(source.voice, turns, ring, crank, gain, rng), order

    def _noise(self, source: BandSource, running: NDArray[np.float32]) -> BandPart:
        rng = np.random.default_rng(source.seed)
        signal, low_hz, high_hz = make_noise(self.drive, self.crank, source.shows_as, rng)
        sound = np.array(signal, dtype=np.float32)
        if source.shows_as != AFTER_SWITCH_OFF:
            sound.reshape(-1, self.crank.clock.factor)[:] *= running[:, np.newaxis]
        return BandPart(np.asarray(fft.rfft(sound), dtype=np.complex64), low_hz, high_hz)


def _with_others(
    sound: SoundingBand, made: list[SoundingBand], crank: CrankTurning
) -> SoundingBand:
    """Count the other sounds in its bands to what it stands against."""
    clock = crank.clock
    others = sum(
        power_in(BandPower(other.spectrum, clock.full_samples, clock.rate_hz), sound.bands)
        for other in made
        if other is not sound
    )
    return replace(sound, rest=sound.rest + others)
