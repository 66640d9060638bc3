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
from acoustic.synthetic.codec import CONTAINER
from acoustic.synthetic.crank_speed import CrankTurning, scene_clock, turn_crank
from acoustic.synthetic.critical_band import BandPower
from acoustic.synthetic.engine_sound import make_comb, make_combustion_noise, make_ticking
from acoustic.synthetic.phone import through_phone
from acoustic.synthetic.probe_point import transfer_amplitude
from acoustic.synthetic.random_curves import draw
from acoustic.synthetic.scene_settings import Condition, Phone, SceneSettings
from acoustic.synthetic.surroundings import make_noise_spectrum
from acoustic.synthetic.tones import (
    MadeTones,
    SoundingFamily,
    ToneMaker,
    choose_families,
    heard_under,
)
from acoustic.synthetic.true_drive import TrueDrive, draw_true_drive, shift_slips
from acoustic.synthetic.truth import RecordingTruth, SceneTruth, true_line

COMPARED_HZ = (50.0, 3000.0)  # where noise and engine levels are compared
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
    families = expected_families(drive)
    true_drive = draw_true_drive(drive, families, rng)
    sounding = choose_families(families, settings, rng)
    made = [
        _make_recording(
            drive,
            settings,
            condition,
            true_drive,
            heard_under(condition, sounding),
            rng,
            first=index == 0,
        )
        for index, condition in enumerate(settings.conditions)
    ]
    heard = heard_under(Condition(), sounding)
    singing = dict.fromkeys(source.family.part for source in heard if source.role == "song")
    truth = SceneTruth(settings.faults, tuple(singing), tuple(truth for _, truth in made))
    return Scene(drive, tuple(recording for recording, _ in made), truth)


def _make_recording(
    drive: Drive,
    settings: SceneSettings,
    condition: Condition,
    true_drive: TrueDrive,
    sounding: tuple[SoundingFamily, ...],
    rng: np.random.Generator,
    *,
    first: bool,
) -> tuple[Recording, RecordingTruth]:
    """Make one recording: engine and noise, then the lines over it, then the phone."""
    clock = scene_clock(condition.duration_s, settings.sample_rate_hz)
    crank = turn_crank(condition, drive.engine, clock, settings.engine.turn_fluctuation, rng)
    noise_db = draw(rng, settings.surroundings.noise_db)
    spectrum = _engine_and_noise(drive, crank, settings, noise_db, rng)
    base = BandPower(spectrum, clock.full_samples, clock.rate_hz)
    values = (
        dict(true_drive.unknowns)
        if first
        else shift_slips(drive, true_drive, settings.slip_shift, rng)
    )
    maker = ToneMaker(drive, crank, settings, condition, rng)
    tones = maker.make(sounding, true_drive, values, base, first=first)
    _add_tones(spectrum, tones, crank)
    spectrum *= transfer_amplitude(clock, settings.surroundings, rng)
    samples = through_phone(spectrum, clock, settings.phone, rng)
    truth = RecordingTruth(
        condition=condition,
        speed=_true_speed(crank),
        unknowns=values,
        lines=tuple(true_line(line, drive) for line in tones.lines),
        noise_db=noise_db,
    )
    return _as_recording(samples, settings, condition), truth


def _engine_and_noise(
    drive: Drive,
    crank: CrankTurning,
    settings: SceneSettings,
    noise_db: float,
    rng: np.random.Generator,
) -> Spectrum:
    """Transform of everything but the accessories' lines, at the full rate."""
    clock, engine = crank.clock, settings.engine
    low = make_comb(drive, crank, engine, rng)
    combustion = np.float32(10.0 ** (draw(rng, engine.combustion_db) / 20.0))
    low += combustion * make_combustion_noise(drive, crank, rng)
    ticking = np.float32(10.0 ** (draw(rng, engine.ticking_db) / 20.0))
    spectrum: Spectrum = fft.rfft(ticking * make_ticking(drive, crank, rng))
    _add_coarse(spectrum, low, clock.factor)
    noise = make_noise_spectrum(clock, settings.surroundings, rng)
    engine_power = BandPower(spectrum, clock.full_samples, clock.rate_hz).between(*COMPARED_HZ)
    noise_power = BandPower(noise, clock.full_samples, clock.rate_hz).between(*COMPARED_HZ)
    wanted = engine_power * 10.0 ** (noise_db / 10.0)
    spectrum += noise * np.float32(math.sqrt(wanted / noise_power))
    return spectrum


def _add_coarse(spectrum: Spectrum, coarse: NDArray[np.float32], factor: int) -> None:
    """Add a signal made on the coarse clock to a full-rate transform (exact upsampling)."""
    part = fft.rfft(coarse)
    spectrum[: part.size] += part * np.float32(factor)


def _add_tones(spectrum: Spectrum, tones: MadeTones, crank: CrankTurning) -> None:
    if tones.lines:
        _add_coarse(spectrum, tones.coarse, crank.clock.factor)
    if tones.full is not None:
        spectrum += fft.rfft(tones.full)


def _true_speed(crank: CrankTurning) -> SpeedTrace:
    """Speed as it was made, on its own 0.01 s grid; nothing is smoothed away."""
    return SpeedTrace(
        time_s=crank.control_time_s,
        speed_hz=crank.control_speed_hz,
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
