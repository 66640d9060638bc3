"""Make a scene: one drive in one state, recorded once or several times."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.recording.recording import Recording
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.synthetic.band_sounds import (
    BandSoundMaker,
    BandSource,
    SoundingBand,
    choose_band_sources,
    draw_planted_misfire,
)
from acoustic.synthetic.codec import CONTAINER
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.critical_band import BandPower
from acoustic.synthetic.engine_sound import (
    firing_phases,
    make_comb,
    make_combustion_noise,
    make_ticking,
)
from acoustic.synthetic.engine_ticks import make_engine_ticks
from acoustic.synthetic.misfire import Misfire
from acoustic.synthetic.noises import UNEVEN_FIRING
from acoustic.synthetic.phone import through_phone
from acoustic.synthetic.planted import find_family
from acoustic.synthetic.probe_point import transfer_amplitude
from acoustic.synthetic.random_curves import beside, draw
from acoustic.synthetic.scene_settings import Condition, Phone, SceneSettings
from acoustic.synthetic.surroundings import make_noise_spectrum
from acoustic.synthetic.tones import (
    MadeTones,
    SoundingFamily,
    ToneMaker,
    choose_families,
    heard_under,
)
from acoustic.synthetic.true_drive import (
    ShaftAngles,
    TrueDrive,
    behind_couplings,
    coupling_unknowns,
    draw_true_drive,
    shift_slips,
)
from acoustic.synthetic.truth import (
    RecordingTruth,
    SceneTruth,
    TrueBandSound,
    true_band_sound,
    true_line,
    true_misfire,
)

COMPARED_HZ = (50.0, 3000.0)  # where noise and engine levels are compared
SLOWEST_TOLD = 0.05  # of the highest speed; below it an engine that runs down has stopped
Spectrum = NDArray[np.complex64]


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A made scene: what the phone recorded, and the truth about it."""

    drive: Drive
    recordings: tuple[Recording, ...]
    truth: SceneTruth


def make_scene(drive: Drive, settings: SceneSettings, rng: np.random.Generator) -> Scene:
    """Make the recordings of one scene: same drive, same faults, same true diameters.

    Parameters
    ----------
    drive : Drive
    settings : SceneSettings
        One recording is made for each of `settings.conditions`.
    rng : numpy.random.Generator
        The same generator state gives the same samples.

    Raises
    ------
    SettingsError
        A fault is planted that the drive cannot have.

    References
    ----------
    Tone-to-noise ratio in the critical band: ECMA-418-1.
    """
    aside = beside(rng)
    families = expected_families(drive)
    loose = [f.part for f in settings.faults if f.part in find_family(families, f).depends_on]
    true_drive = draw_true_drive(drive, families, rng, loose=loose)
    families = behind_couplings(families, drive, loose)
    sounding = choose_families(families, settings, rng)
    sources = choose_band_sources(families, drive, settings, aside)
    cast = _Cast(drive, settings, true_drive, sounding, sources)
    made = [
        _make_recording(cast, condition, rng, aside, first=index == 0)
        for index, condition in enumerate(settings.conditions)
    ]
    heard = heard_under(Condition(), sounding)
    singing = dict.fromkeys(source.family.part for source in heard if source.role == "song")
    truth = SceneTruth(settings.faults, tuple(singing), tuple(truth for _, truth in made))
    return Scene(drive, tuple(recording for recording, _ in made), truth)


@dataclass(frozen=True, slots=True)
class _Cast:
    """What the recordings of a scene have in common."""

    drive: Drive
    settings: SceneSettings
    true_drive: TrueDrive
    sounding: tuple[SoundingFamily, ...]
    sources: tuple[BandSource, ...]

    def unknowns_of(
        self, condition: Condition, rng: np.random.Generator, *, first: bool
    ) -> dict[str, float]:
        """True unknowns of one recording; where all is sound no coupling lags."""
        values = dict(self.true_drive.unknowns)
        if not first:
            values = shift_slips(self.drive, self.true_drive, self.settings.slip_shift, rng)
        tight = coupling_unknowns(self.drive) if condition.healthy else ()
        return values | dict.fromkeys(tight, 0.0)


def _make_recording(
    cast: _Cast,
    condition: Condition,
    rng: np.random.Generator,
    aside: np.random.Generator,
    *,
    first: bool,
) -> tuple[Recording, RecordingTruth]:
    """Make one recording: engine and noise, the lines over it, what lies in bands, the phone."""
    drive, settings = cast.drive, cast.settings
    clock = scene_clock(condition.duration_s, settings.sample_rate_hz)
    crank = turn_crank(condition, drive.engine, clock, settings.engine.turn_fluctuation, rng)
    noise_db = draw(rng, settings.surroundings.noise_db)
    misfire = draw_planted_misfire(cast.sources, firing_phases(drive).size, condition)
    spectrum = _engine_and_noise(cast, crank, noise_db, misfire, rng, aside)
    base = BandPower(spectrum, clock.full_samples, clock.rate_hz)
    values = cast.unknowns_of(condition, rng, first=first)
    lags = {name: values[name] for name in coupling_unknowns(drive) if values[name] > 0}
    angles = ShaftAngles(drive, crank, settings.slip_wander, rng, lags)
    maker = ToneMaker(drive, crank, settings, condition, angles, rng)
    sounding = heard_under(condition, cast.sounding)
    tones = maker.make(sounding, cast.true_drive, values, base, first=first)
    _add_tones(spectrum, tones, crank)
    way = transfer_amplitude(clock, settings.surroundings, rng)
    spectrum *= way
    bands = BandSoundMaker(
        drive, crank, settings, condition, angles, cast.true_drive, values, way, aside, first
    ).make(cast.sources, spectrum)
    for sound in bands:
        spectrum += sound.spectrum
    samples = through_phone(spectrum, clock, settings.phone, rng)
    truth = RecordingTruth(
        condition=condition,
        speed=_true_speed(crank),
        unknowns=values,
        lines=tuple(true_line(line, drive) for line in tones.lines),
        noise_db=noise_db,
        in_band=_true_bands(cast, bands, misfire, crank),
    )
    return _as_recording(samples, settings, condition), truth


def _true_bands(
    cast: _Cast, bands: tuple[SoundingBand, ...], misfire: Misfire | None, crank: CrankTurning
) -> tuple[TrueBandSound, ...]:
    """Truth about all that is planted and not heard by tones, the misfire last."""
    told = [true_band_sound(sound, crank.mean_speed_hz) for sound in bands]
    if misfire is not None:
        source = next(source for source in cast.sources if source.shows_as == UNEVEN_FIRING)
        told.append(true_misfire(source, cast.drive, crank.mean_speed_hz))
    return tuple(told)


def _engine_and_noise(
    cast: _Cast,
    crank: CrankTurning,
    noise_db: float,
    misfire: Misfire | None,
    rng: np.random.Generator,
    aside: np.random.Generator,
) -> Spectrum:
    """Transform of everything but the accessories' lines, at the full rate.

    The engine's level is that while it is on.
    """
    clock, drive, settings = crank.clock, cast.drive, cast.settings
    engine, running = settings.engine, crank.running_gain()
    low = make_comb(drive, crank, engine, rng, misfire)
    combustion = np.float32(10.0 ** (draw(rng, engine.combustion_db) / 20.0))
    low += combustion * make_combustion_noise(drive, crank, engine, rng, misfire)
    ticking = np.float32(10.0 ** (draw(rng, engine.ticking_db) / 20.0))
    ticks = ticking * make_ticking(drive, crank, rng)
    sharp = make_engine_ticks(drive, crank, engine, aside)
    if sharp is not None:
        ticks += sharp
    if crank.stands_s is not None:
        low *= running
        ticks.reshape(-1, clock.factor)[:] *= running[:, np.newaxis]
    spectrum: Spectrum = fft.rfft(ticks)
    _add_coarse(spectrum, low, clock.factor)
    noise = make_noise_spectrum(clock, settings.surroundings, rng)
    engine_power = BandPower(spectrum, clock.full_samples, clock.rate_hz).between(*COMPARED_HZ)
    noise_power = BandPower(noise, clock.full_samples, clock.rate_hz).between(*COMPARED_HZ)
    engine_power /= float(np.mean(running**2))
    wanted = engine_power * 10.0 ** (noise_db / 10.0)
    spectrum += noise * np.float32(math.sqrt(wanted / noise_power))
    return spectrum


def _add_coarse(spectrum: Spectrum, coarse: NDArray[np.float32], factor: int) -> None:
    """Add a signal made on the coarse clock to a full-rate transform (exact upsampling)."""
    part = fft.rfft(coarse)
    spectrum[: part.size] += part * np.float32(factor)


def _add_tones(spectrum: Spectrum, tones: MadeTones, crank: CrankTurning) -> None:
    running = crank.running_gain()
    if tones.lines:
        _add_coarse(spectrum, tones.coarse * running, crank.clock.factor)
    if tones.full is not None:
        spectrum += fft.rfft(tones.full * np.repeat(running, crank.clock.factor))


def _true_speed(crank: CrankTurning) -> SpeedTrace:
    """Speed as it was made, on its own 0.01 s grid; nothing is smoothed away.

    Of an engine that is switched off, the speed as long as it turns.
    """
    turns = crank.control_speed_hz > SLOWEST_TOLD * crank.control_speed_hz.max()
    return SpeedTrace(
        time_s=crank.control_time_s[turns],
        speed_hz=crank.control_speed_hz[turns],
        source="given",
        uncertainty=0.0,
        note="true speed of a made scene",
    )


def _as_recording(
    samples: NDArray[np.float32], settings: SceneSettings, condition: Condition
) -> Recording:
    codec = settings.phone.codec
    return Recording(
        samples=samples,
        sample_rate_hz=float(settings.sample_rate_hz),
        name=condition.name,
        codec=_heard_codec(settings.phone),
        container="" if codec is None else CONTAINER[codec.name],
        file_duration_s=samples.size / settings.sample_rate_hz,
    )


def _heard_codec(phone: Phone) -> str:
    return "pcm_s16le" if phone.codec is None else phone.codec.name
