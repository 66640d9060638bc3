"""The lines of the accessories: which ones sound, how loud, and their sound itself."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from acoustic.drive.drive import Drive, ExpectedFamily, ExpectedLine
from acoustic.synthetic.crank_speed import CONTROL_RATE_HZ, CrankTurning
from acoustic.synthetic.critical_band import BandPower, critical_edges_hz
from acoustic.synthetic.planted import TONES, find_family, shown_by
from acoustic.synthetic.probe_point import level_change_db
from acoustic.synthetic.random_curves import Floats, draw, slow_curve
from acoustic.synthetic.scene_settings import Condition, HealthySong, SceneSettings
from acoustic.synthetic.true_drive import ShaftAngles, TrueDrive, true_factor

Role = Literal["fault", "song"]
HIGHEST_SHARE = 0.45  # of the sample rate: lines above it are not made
LEVEL_WOBBLE_DB = 1.0  # slow level change of a family; common practice, no source
SAME_TONE = 2e-4  # relative distance under which two lines are one tone
KEPT_SCATTER = 0.5  # share of a line's level scatter that stays from speed to speed


@dataclass(frozen=True, slots=True)
class SoundingFamily:
    """A family of lines at work in a scene, with the lines that really show.

    `scatter_db` holds one value per line, in the first recording. [dB]
    """

    family: ExpectedFamily
    role: Role
    level_db: float
    lines: tuple[ExpectedLine, ...]
    scatter_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SoundingLine:
    """One line as it sounds in one recording, before the phone.

    `power` is its mean square; `neighbours` that of all other lines in its critical
    band; `base` that of engine and noise there.
    """

    source: SoundingFamily
    line: ExpectedLine
    order: float
    frequency_hz: float
    power: float
    base: float
    neighbours: float = 0.0

    @property
    def tone_to_noise_db(self) -> float:
        """Tone-to-noise ratio against everything else in the critical band. [dB]"""
        return 10.0 * math.log10(self.power / (self.base + self.neighbours))


def choose_families(
    families: tuple[ExpectedFamily, ...], settings: SceneSettings, rng: np.random.Generator
) -> tuple[SoundingFamily, ...]:
    """Draw which lines sound: those of the planted faults and of parts that sing.

    Raises
    ------
    SettingsError
        A planted fault names a part or mechanism the drive does not have, or a way to show
        that the mechanism does not have.
    """
    sounding = []
    for fault in settings.faults:
        family = find_family(families, fault)
        if TONES in shown_by(fault, family):
            lines = family.tonal_lines
            sounding.append(_sound(family, lines, "fault", fault.level_db, settings, rng))
    if settings.song is not None:
        sounding += _sing(families, settings.song, settings, rng)
    return tuple(sounding)


def heard_under(
    condition: Condition, sounding: tuple[SoundingFamily, ...]
) -> tuple[SoundingFamily, ...]:
    """Keep what sounds under a condition: a mechanism sounds as faulty or as healthy, not both.

    A loose coupling sounds by what the parts on its shaft sing, so these do not sing beside.
    """
    faults = [s.family for s in sounding if s.role == "fault" and not condition.healthy]
    faults = [family for family in faults if condition.change_db(family.part) > -math.inf]
    faulty = {(family.part, family.mechanism) for family in faults}
    sung = {family.shaft for family in faults if family.part in family.depends_on}
    return tuple(
        source
        for source in sounding
        if (source.role == "fault") == ((source.family.part, source.family.mechanism) in faulty)
        and not (source.role == "song" and source.family.shaft in sung)
    )


def _sing(
    families: Iterable[ExpectedFamily],
    song: HealthySong,
    settings: SceneSettings,
    rng: np.random.Generator,
) -> list[SoundingFamily]:
    """Let a share of the parts sound their natural lines."""
    by_part: dict[str, list[ExpectedFamily]] = {}
    for family in families:
        if any(line.natural for line in family.tonal_lines):
            by_part.setdefault(family.part, []).append(family)
    sounding = []
    for part_families in by_part.values():
        if rng.uniform() >= song.share:
            continue
        level = song.fault_level_db - draw(rng, song.below_db)
        for family in part_families:
            natural = tuple(line for line in family.tonal_lines if line.natural)
            sounding.append(_sound(family, natural, "song", level, settings, rng))
    return sounding


def _sound(
    family: ExpectedFamily,
    lines: tuple[ExpectedLine, ...],
    role: Role,
    level_db: float,
    settings: SceneSettings,
    rng: np.random.Generator,
) -> SoundingFamily:
    """Draw the lines that show, by their probability; the likeliest if none would."""
    shown = [line for line in lines if rng.uniform() < line.probability]
    if not shown:
        shown = [max(lines, key=lambda line: line.probability)]
    shown = _one_per_order(shown)
    scatter = settings.level_scatter_db * rng.standard_normal(len(shown))
    return SoundingFamily(family, role, level_db, tuple(shown), tuple(map(float, scatter)))


def _one_per_order(lines: list[ExpectedLine]) -> list[ExpectedLine]:
    """Keep the loudest of lines that fall on the same order, such as slots and ripple."""
    loudest: dict[float, ExpectedLine] = {}
    for line in lines:
        order = round(line.order, 6)
        if order not in loudest or line.relative_level_db > loudest[order].relative_level_db:
            loudest[order] = line
    return list(loudest.values())


@dataclass(frozen=True, slots=True, eq=False)
class MadeTones:
    """Sum of all lines: those the coarse clock can carry, and the few above them."""

    coarse: NDArray[np.float32]
    full: NDArray[np.float32] | None
    lines: tuple[SoundingLine, ...]


class ToneMaker:
    """Makes the lines of one recording on top of the engine and the noise there."""

    def __init__(
        self,
        drive: Drive,
        crank: CrankTurning,
        settings: SceneSettings,
        condition: Condition,
        angles: ShaftAngles,
        rng: np.random.Generator,
    ) -> None:
        self._drive = drive
        self._crank = crank
        self._settings = settings
        self._condition = condition
        self._rng = rng
        self._angles = angles

    def make(
        self,
        sounding: tuple[SoundingFamily, ...],
        true_drive: TrueDrive,
        values: dict[str, float],
        base: BandPower,
        *,
        first: bool,
    ) -> MadeTones:
        """Make every line of the sounding families; `first` is the first recording."""
        clock = self._crank.clock
        coarse = np.zeros(clock.coarse_samples, np.float32)
        above: list[tuple[SoundingLine, Floats, NDArray[np.float32]]] = []
        made: list[SoundingLine] = []
        for source in sounding:
            angle, gain = self._angles.of(source.family), slow_gain(self._crank, self._rng)
            for line in self._set_levels(source, true_drive, values, base, first=first):
                made.append(line)
                if line.frequency_hz < HIGHEST_SHARE * clock.coarse_rate_hz:
                    coarse += self._cosine(line, angle) * gain
                else:
                    above.append((line, angle, gain))
        return MadeTones(coarse, self._full_rate(above), _with_neighbours(made))

    def _set_levels(
        self,
        source: SoundingFamily,
        true_drive: TrueDrive,
        values: dict[str, float],
        base: BandPower,
        *,
        first: bool,
    ) -> list[SoundingLine]:
        """Set the power of each line so that it has its tone-to-noise ratio over `base`."""
        family, settings, rng = source.family, self._settings, self._rng
        factor = true_factor(family.depends_on, values, self._drive)
        factor *= 1.0 + true_drive.own[family.part, family.mechanism]
        level = source.level_db + level_change_db(family, self._condition, settings.surroundings)
        if source.role == "fault":
            level += self._condition.change_db(family.part)
        if not first:
            level += settings.level_shift_db * rng.standard_normal()
        lines = []
        for line, scatter in zip(source.lines, source.scatter_db, strict=True):
            new = settings.level_scatter_db * rng.standard_normal()
            if not first:
                scatter = math.sqrt(KEPT_SCATTER) * scatter + math.sqrt(1 - KEPT_SCATTER) * new
            order = line.order * factor
            frequency = order * self._crank.mean_speed_hz
            if frequency < HIGHEST_SHARE * self._crank.clock.rate_hz:
                under = base.around(frequency)
                power = under * 10.0 ** ((level + line.relative_level_db + scatter) / 10.0)
                lines.append(SoundingLine(source, line, order, frequency, power, under))
        return lines

    def _amplitude(self, line: SoundingLine) -> float:
        """Amplitude that leaves `line.power` in the carrier after the crank's swing."""
        swing = self._angles.transmitted_swing(line.source.family)
        index = line.order * swing / self._drive.engine.firing_order
        carrier = max(abs(float(special.j0(index))), 0.3)
        return math.sqrt(2.0 * line.power) / carrier

    def _cosine(self, line: SoundingLine, angle: Floats) -> NDArray[np.float32]:
        turns = angle * line.order + self._rng.uniform()
        turns -= np.floor(turns)
        phase = turns.astype(np.float32)
        phase *= np.float32(2.0 * np.pi)
        np.cos(phase, out=phase)
        phase *= np.float32(self._amplitude(line))
        return phase

    def _full_rate(
        self, above: list[tuple[SoundingLine, Floats, NDArray[np.float32]]]
    ) -> NDArray[np.float32] | None:
        """Make the lines the coarse clock cannot carry at the full sample rate."""
        if not above:
            return None
        clock = self._crank.clock
        coarse = np.arange(clock.coarse_samples, dtype=np.float64)
        fine = np.arange(clock.full_samples) / clock.factor
        total = np.zeros(clock.full_samples, np.float32)
        for line, angle, gain in above:
            total += self._cosine(line, np.interp(fine, coarse, angle)) * np.repeat(
                gain, clock.factor
            )
        return total


def slow_gain(crank: CrankTurning, rng: np.random.Generator) -> NDArray[np.float32]:
    """Draw the slow gain of one source, of mean square 1. Shape (coarse_samples,)."""
    curve = slow_curve(rng, crank.control_time_s.size, CONTROL_RATE_HZ, 0.4)
    gain = 10.0 ** (LEVEL_WOBBLE_DB * curve / 20.0)
    gain /= np.sqrt(np.mean(gain**2))
    clock = crank.clock
    time = np.arange(clock.coarse_samples) / clock.coarse_rate_hz + crank.control_time_s[0]
    return np.asarray(np.interp(time, crank.control_time_s, gain), dtype=np.float32)


def _with_neighbours(lines: list[SoundingLine]) -> tuple[SoundingLine, ...]:
    """Add to each line the power of the other lines in its critical band.

    Lines that no recording could part (two parts on one shaft with the same count) are
    one tone: neither is noise to the other.
    """
    frequency = np.array([line.frequency_hz for line in lines])
    power = np.array([line.power for line in lines])
    complete = []
    for line in lines:
        low, high = critical_edges_hz(line.frequency_hz)
        inside = (frequency >= low) & (frequency <= high)
        inside &= np.abs(frequency - line.frequency_hz) > SAME_TONE * line.frequency_hz
        complete.append(replace(line, neighbours=float(power[inside].sum())))
    return tuple(complete)
