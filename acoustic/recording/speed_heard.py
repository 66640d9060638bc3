"""The crankshaft speed heard from the sound, with its runners-up, or a refusal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_follow import FollowedSpeed, follow_closely, follow_widely
from acoustic.recording.speed_multiple import line_odds, log_likelihood, multiples
from acoustic.recording.speed_settings import SpeedSettings
from acoustic.recording.speed_sound import SpeedSound, make_steady, speed_views
from acoustic.recording.speed_trace import SpeedTrace

DEFAULT = SpeedSettings()
RANGE_MARGIN = (0.85, 1.05)  # an idle may hunt below its range; a held speed is read off a gauge
GIVE_IT = "Give the rpm to ±5 %, or record nearer the engine block or the exhaust."


@dataclass(frozen=True, slots=True)
class OtherSpeed:
    """A speed that was not chosen.

    Attributes
    ----------
    rpm : float
        [1/min]
    multiple : float
        Of the speed first followed. [-]
    log_likelihood : float
        Over "no engine here". [nat]
    """

    rpm: float
    multiple: float
    log_likelihood: float


@dataclass(frozen=True, slots=True, eq=False)
class HeardSpeed:
    """What listening for the speed gave.

    Attributes
    ----------
    trace : SpeedTrace or None
        None when no speed can be told.
    confidence : float
        Log likelihood of the best speed over the next best, "no engine here" included;
        nan when the sound is too short. [nat]
    reason : str
        What the speed rests on, or why it is refused and what to do.
    others : tuple of OtherSpeed
        Up to five other multiples, best first.
    best_rpm : float
        The best speed even when refused; nan when the sound is too short. [1/min]
    log_likelihood : float
        Of the best speed over "no engine here". [nat]
    """

    trace: SpeedTrace | None
    confidence: float
    reason: str
    others: tuple[OtherSpeed, ...] = ()
    best_rpm: float = float("nan")
    log_likelihood: float = float("nan")


def hear_speed(
    recording: Recording,
    stretches: Stretches,
    engine: Engine,
    settings: SpeedSettings = DEFAULT,
    prior_rpm: tuple[float, float] | None = None,
) -> HeardSpeed:
    """Hear the crankshaft speed.

    Parameters
    ----------
    recording : Recording
    stretches : Stretches
        Only the used ones are listened to; the trace is straight across gaps.
    engine : Engine
        Cylinders set the comb; idle and working speeds set where to look.
    settings : SpeedSettings
    prior_rpm : (float, float), optional
        Where to look instead. [1/min]

    Returns
    -------
    HeardSpeed

    Raises
    ------
    SpeedError
        If `prior_rpm` is not a range above 0.
    """
    range_hz = _search_range_hz(engine, prior_rpm)
    views = speed_views(recording, stretches, settings.rate_hz, settings.top_hz)
    rough = follow_widely(views, engine, range_hz, settings)
    if rough is None or stretches.used_s < settings.shortest_s:
        short = f"Only {stretches.used_s:.1f} s of usable sound: too short to hear the speed."
        return HeardSpeed(None, float("nan"), f"{short} {GIVE_IT}")
    near = follow_closely(views, engine, rough, settings.near, settings)
    followed = follow_closely(views, engine, near, settings.fine, settings)
    ranked = _ranked_speeds(views, followed, engine, range_hz, settings)
    if not ranked:
        return HeardSpeed(None, float("nan"), f"No stretch is long enough. {GIVE_IT}")
    best, others = ranked[0], tuple(ranked[1:6])
    gap = best.log_likelihood - max([0.0, *(o.log_likelihood for o in others[:1])])
    refusal = _refusal(best, others, gap, settings)
    if refusal:
        return HeardSpeed(None, gap, refusal, others, best.rpm, best.log_likelihood)
    if best.multiple != 1:
        followed = followed.times(best.multiple)
        followed = follow_closely(views, engine, followed, settings.fine, settings)
    trace = _trace(followed, others, gap, engine, settings)
    return HeardSpeed(trace, gap, trace.note, others, best.rpm, best.log_likelihood)


def _search_range_hz(engine: Engine, prior_rpm: tuple[float, float] | None) -> tuple[float, float]:
    """Where to look: the prior, or idle and working speeds with a margin. [Hz]"""
    if prior_rpm is None:
        speeds = (*engine.idle_rpm, *engine.working_rpm)
        prior_rpm = (RANGE_MARGIN[0] * min(speeds), RANGE_MARGIN[1] * max(speeds))
    low, high = prior_rpm
    if not (0 < low < high < np.inf):
        raise SpeedError(
            f"Speed range {low:g} to {high:g} rpm makes no sense. Give the lower end first, "
            "both above 0."
        )
    return low / 60, high / 60


def _ranked_speeds(
    views: tuple[SpeedSound, ...],
    followed: FollowedSpeed,
    engine: Engine,
    range_hz: tuple[float, float],
    s: SpeedSettings,
) -> list[OtherSpeed]:
    """Every multiple of the followed speed within the range, likeliest first."""
    steady = make_steady(views, followed.time_s, followed.speed_hz)
    least_hz = s.lines_orders * steady.speed_hz
    heard = []
    for view in steady.views:
        top_hz = min(view.top_hz, max(s.lines_top_hz, least_hz))
        heard.append(line_odds(view, s.lines_window_s, top_hz, s.neighbourhood_hz))
    odds = [each for each in heard if each is not None]
    ratios = multiples(range_hz[0] / followed.median_hz, range_hz[1] / followed.median_hz)
    judged = [
        (sum(log_likelihood(each, ratio * steady.speed_hz, engine) for each in odds), ratio)
        for ratio in ratios.tolist()
        if odds
    ]
    judged.sort(reverse=True)
    rpm = 60 * followed.median_hz
    return [OtherSpeed(ratio * rpm, ratio, total) for total, ratio in judged]


def _refusal(best: OtherSpeed, others: tuple[OtherSpeed, ...], gap: float, s: SpeedSettings) -> str:
    """Why no speed is told, or nothing."""
    if best.log_likelihood < s.least_nats:
        return f"No engine orders stand out of this sound, so its speed is unknown. {GIVE_IT}"
    if gap < s.least_gap and others:
        return (
            f"{best.rpm:.0f} and {others[0].rpm:.0f} rpm explain this sound about equally "
            f"well, so the speed is not told. {GIVE_IT}"
        )
    return ""


def _trace(
    followed: FollowedSpeed,
    others: tuple[OtherSpeed, ...],
    gap: float,
    engine: Engine,
    s: SpeedSettings,
) -> SpeedTrace:
    """The trace with what it rests on."""
    firing_hz = engine.firing_order * followed.median_hz
    note = f"heard from the engine orders: {firing_hz:.1f} firings a second"
    if gap < s.sure_gap and others:
        note += f"; check it, {others[0].rpm:.0f} rpm is not ruled out"
    return SpeedTrace(followed.time_s, followed.speed_hz, "heard", 0.0005, gap, note)
