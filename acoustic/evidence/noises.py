"""All noises that are not a family of lines, looked for in one recording."""

from __future__ import annotations

from dataclasses import dataclass, field

from acoustic.drive.drive import Engine
from acoustic.evidence.chirps import ChirpSettings, ChirpTrain, chirp_finding, find_chirps
from acoustic.evidence.findings import NoiseFinding, OrderSpectrum
from acoustic.evidence.flutter import FlutterSettings, flutter_finding
from acoustic.evidence.hiss import HissSettings, hiss_against, hiss_finding
from acoustic.evidence.impact_findings import RattleSettings, impact_findings
from acoustic.evidence.impacts import (
    ImpactSettings,
    ImpactTrain,
    band_trains,
    most_knocks,
    share_in_cries,
)
from acoustic.evidence.short_time import ShortTimeSpectrum, short_time_spectrum
from acoustic.evidence.squeal import SquealSettings, squeal_finding
from acoustic.evidence.uneven_firing import UnevenSettings, uneven_finding
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_trace import SpeedTrace


@dataclass(frozen=True, slots=True, eq=False)
class HeardNoises:
    """Findings of one recording, and what a comparison with another needs.

    Attributes
    ----------
    findings : tuple of NoiseFinding
    swift : ShortTimeSpectrum
        Loudness within a firing.
    cries : ChirpTrain or None
        Cries of one pitch, which may keep step with something that turns.
    knocks : ImpactTrain or None
        Those that were judged; None where nothing was fit to look at.
    """

    findings: tuple[NoiseFinding, ...]
    swift: ShortTimeSpectrum
    cries: ChirpTrain | None = None
    knocks: ImpactTrain | None = None

    def against(
        self, reference: HeardNoises, settings: NoiseSettings | None = None
    ) -> tuple[NoiseFinding, ...]:
        """Findings, those that a reference tells better measured against it.

        Parameters
        ----------
        reference : HeardNoises
            The same engine at the same speed and place without the complaint.
        """
        settings = settings or NoiseSettings()
        compared = hiss_against(self.swift, reference.swift, settings.hiss)
        if compared.level_db is None:  # nothing to compare: it says alone what it can
            return self.findings
        return tuple(compared if f.noise == compared.noise else f for f in self.findings)


@dataclass(frozen=True, slots=True)
class NoiseSettings:
    """Settings of each noise, and the frames they share.

    Attributes
    ----------
    swift_s, short_s, long_s : float
        Frames for loudness within a firing, for cries, and for tones that last. [s]
    """

    swift_s: float = 0.0053
    short_s: float = 0.0213
    long_s: float = 0.0427
    impacts: ImpactSettings = field(default_factory=ImpactSettings)
    rattle: RattleSettings = field(default_factory=RattleSettings)
    chirps: ChirpSettings = field(default_factory=ChirpSettings)
    squeal: SquealSettings = field(default_factory=SquealSettings)
    hiss: HissSettings = field(default_factory=HissSettings)
    uneven: UnevenSettings = field(default_factory=UnevenSettings)
    flutter: FlutterSettings = field(default_factory=FlutterSettings)


def find_noises(
    recording: Recording,
    stretches: Stretches,
    speed: SpeedTrace,
    engine: Engine,
    highest_hz: float,
    spectrum: OrderSpectrum,
    settings: NoiseSettings | None = None,
) -> HeardNoises:
    """Look for every noise without lines; each finding speaks for, against or not at all.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Only `used` ones count.
    speed : SpeedTrace
    engine : Engine
    highest_hz : float
        Codec's or microphone's cut-off. [Hz]
    spectrum : OrderSpectrum
        Of the same recording, for the engine's half orders.
    settings : NoiseSettings, optional
    """
    settings = settings or NoiseSettings()
    heard = (recording, stretches)
    swift = short_time_spectrum(*heard, settings.swift_s, min(highest_hz, settings.hiss.high_hz[1]))
    short = short_time_spectrum(*heard, settings.short_s, min(highest_hz, 7000.0))
    lasting = short_time_spectrum(*heard, settings.long_s, min(highest_hz, 9000.0))
    cries = find_chirps(short, swift, speed, settings.chirps)
    trains = band_trains(*heard, speed, engine, highest_hz, settings.impacts, cries)
    share_of_knocks = share_in_cries(trains, cries, settings.impacts)
    knocks = most_knocks(trains)
    findings = (
        *impact_findings(knocks, engine, settings.rattle),
        chirp_finding(short, cries, share_of_knocks, settings.chirps),
        squeal_finding(lasting, speed, settings.squeal),
        hiss_finding(swift, settings.hiss),
        uneven_finding(swift, spectrum, speed, engine, settings.uneven),
        flutter_finding(swift, speed, engine, settings.flutter),
    )
    return HeardNoises(findings, swift, cries, knocks)
