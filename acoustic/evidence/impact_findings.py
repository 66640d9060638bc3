"""What the knocks of a recording say for a rattle in step with the firing, or in no step.

A healthy engine ticks at every firing, but evenly: what `find_impacts` leaves of that is
little. A rattle comes at some firings and not at others and is now loud, now soft. Knocks
in step with a shaft belong to that shaft; the envelope spectrum weighs those, and here
they only speak against a rattle at random. Cries are no knocks and are not counted; but
what keeps step is judged with them, for their fainter sisters are left among the knocks.

The weights come from made engines with and without each rattle and from phone recordings
of ordinary engines; ``python tests/trial/fit_impacts.py`` works them out again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from acoustic.drive.drive import Engine
from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.impact_locking import (
    Locking,
    LockingSettings,
    any_locking,
    engine_locking,
)
from acoustic.evidence.impacts import ImpactTrain

WITH_FIRING, AT_RANDOM = "impacts with firing", "impacts at random"


@dataclass(frozen=True, slots=True)
class RattleFeatures:
    """What the decision about rattles rests on.

    Attributes
    ----------
    in_step, in_no_step : float
        Knocks per turn of the crankshaft that keep step with the engine, and with nothing.
    power_in_step_db, power_in_no_step_db : float
        Power of such knocks over that of everything else in the band. [dB]
    engine, turning : Locking
        Best step with the engine, and with anything else that turns.
    """

    in_step: float
    in_no_step: float
    power_in_step_db: float
    power_in_no_step_db: float
    engine: Locking
    turning: Locking


@dataclass(frozen=True, slots=True)
class RattleWeights:
    """``ln_ratio = constant + rate * ln(knocks per turn + few) + power * power_db``.

    Between -`limit` and +`limit`: what the scenes it was fitted to can bear out. [nat]
    """

    constant: float
    rate: float
    power: float


@dataclass(frozen=True, slots=True)
class RattleSettings:
    """How knocks become evidence.

    Attributes
    ----------
    significant : float
        p value above which knocks count as out of step.
    strengths : (float, float)
        Vector strengths at which no knock and at which every knock counts as in step: the
        first is what masking by the engine can leave of knocks at random, the second what
        jitter and bouncing leave of knocks in step.
    few : float
        Knocks per turn that count as none. [1/rev]
    least_power : float
        Power share that counts as none. [-]
    firing, random : RattleWeights
    limit : float
        Largest ln_ratio either way. [nat]
    """

    significant: float = 0.02
    strengths: tuple[float, float] = (0.3, 0.65)
    few: float = 0.02
    least_power: float = 0.003
    firing: RattleWeights = RattleWeights(5.0, 0.67, 0.179)
    random: RattleWeights = RattleWeights(7.94, 1.64, 0.181)
    limit: float = 5.0
    locking: LockingSettings = field(default_factory=LockingSettings)


def rattle_features(
    train: ImpactTrain, engine: Engine, settings: RattleSettings | None = None
) -> RattleFeatures:
    """Sort the knocks into those in step with the engine and those in no step."""
    settings = settings or RattleSettings()
    with_engine = min(engine_locking(train, engine), key=lambda one: one.p_value)
    turning = any_locking(train, engine, settings.locking)
    in_step, with_shaft = (_share_in_step(one, settings) for one in (with_engine, turning))
    in_no_step = max(0.0, 1.0 - in_step - with_shaft)
    rate = train.knocks / train.revolutions
    power = [10 * np.log10(train.excess * s + settings.least_power) for s in (in_step, in_no_step)]
    return RattleFeatures(
        rate * in_step, rate * in_no_step, float(power[0]), float(power[1]), with_engine, turning
    )


def _share_in_step(locking: Locking, settings: RattleSettings) -> float:
    none, every = settings.strengths
    if locking.p_value >= settings.significant:
        return 0.0
    return float(np.clip((locking.vector_strength - none) / (every - none), 0.0, 1.0))


def impact_findings(
    train: ImpactTrain | None, engine: Engine, settings: RattleSettings | None = None
) -> tuple[NoiseFinding, ...]:
    """Evidence for rattles in step with the firing and in no step.

    Parameters
    ----------
    train : ImpactTrain or None
        None if there was nothing fit to look at: then neither speaks either way.
    engine : Engine
    settings : RattleSettings, optional
    """
    settings = settings or RattleSettings()
    if train is None:
        words = "knocks could not be looked for"
        return tuple(
            NoiseFinding(noise, 0.0, None, None, None, 0.0, words)
            for noise in (WITH_FIRING, AT_RANDOM)
        )
    features = rattle_features(train, engine, settings)
    return (
        _finding(WITH_FIRING, train, features, settings),
        _finding(AT_RANDOM, train, features, settings),
    )


def ln_ratio(
    rate: float, power_db: float, weights: RattleWeights, settings: RattleSettings
) -> float:
    """Log of p(knocks | rattle) / p(knocks | none), from rate [1/rev] and power [dB]."""
    value = weights.constant + weights.rate * np.log(rate + settings.few) + weights.power * power_db
    return float(np.clip(value, -settings.limit, settings.limit))


def _finding(
    noise: str, train: ImpactTrain, features: RattleFeatures, settings: RattleSettings
) -> NoiseFinding:
    if noise == WITH_FIRING:
        rate, power_db, weights = features.in_step, features.power_in_step_db, settings.firing
    else:
        rate, power_db, weights = features.in_no_step, features.power_in_no_step_db, settings.random
    return NoiseFinding(
        noise=noise,
        ln_ratio=ln_ratio(rate, power_db, weights, settings),
        level_db=power_db,
        low_hz=train.low_hz,
        high_hz=train.high_hz,
        # Seconds cut at the ends count whole, so they may be one more than there are.
        share=min(1.0, _seconds_with_knocks(train) / max(train.seconds, 1.0)),
        words=_words(noise, train, rate, features),
    )


def _seconds_with_knocks(train: ImpactTrain) -> int:
    return int(np.unique(train.times_s[~train.cry].astype(np.intp)).size)


def _words(noise: str, train: ImpactTrain, rate: float, features: RattleFeatures) -> str:
    count = round(rate * train.revolutions)
    if not count:
        kept = "the firing" if noise == WITH_FIRING else "nothing"
        return f"no knocks that keep step with {kept}"
    knocks = f"{count} knock{'s' * (count != 1)} in {train.seconds:.0f} s"
    band = f"{train.low_hz / 1000:.1f}-{train.high_hz / 1000:.1f} kHz"
    if noise == WITH_FIRING:
        strength = features.engine.vector_strength
        return f"{knocks} at {band}, in step with the {features.engine.name} ({strength:.2f} of 1)"
    return f"{knocks} at {band}, in step with neither the engine nor anything that turns"
