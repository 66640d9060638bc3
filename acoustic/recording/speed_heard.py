"""The crankshaft speed heard from the sound, with its runners-up, or a refusal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from acoustic.drive.drive import Engine
from acoustic.errors import SpeedError
from acoustic.recording.recording import Recording, Stretches
from acoustic.recording.speed_follow import FollowedSpeed, follow_closely, follow_widely
from acoustic.recording.speed_multiple import (
    LineOdds,
    line_odds,
    log_likelihood,
    may_be_uneven,
    multiples,
    uneven_log_likelihood,
    unlikely_uneven_nats,
)
from acoustic.recording.speed_settings import SpeedSettings
from acoustic.recording.speed_sound import SpeedSound, make_steady, speed_views
from acoustic.recording.speed_trace import SpeedTrace

__all__ = ["DEFAULT", "HeardSpeed", "OtherSpeed", "SpeedSettings", "hear_speed"]

DEFAULT = SpeedSettings()
RANGE_MARGIN = (0.85, 1.05)  # an idle may hunt below its range; a held speed is read off a gauge
BEYOND_SD = 0.05  # how far an engine may stray beyond its stated speeds, as an sd
EDGE = 0.02  # what a speed may lie outside the range looked at
MOST_OTHERS = 5
NOTED_LOST = 0.1
# Mean speed error times comb score: 0.01 % at a score of 8, 0.05 % at 3 were found on made
# scenes of 20 s; three times that is stated.
ERROR_BY_SCORE = 0.003
FIRING_ANGLES = "If the engine fires unevenly, state firing_angles_deg in [engine]."
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
        Log likelihood of the best speed over the next best in the range looked at, "no
        engine here" included; nan when the sound is too short. [nat]
    reason : str
        What the speed rests on, or why it is refused and what to do.
    others : tuple of OtherSpeed
        Up to five others, best first; with a prior also some outside it.
    best_rpm : float
        The best speed even when refused; nan when the sound is too short. [1/min]
    log_likelihood : float
        Of the best speed over "no engine here". [nat]
    contradicts_rpm : float or None
        Speed that the sound clearly fits instead of the one that was stated. [1/min]
    """

    trace: SpeedTrace | None
    confidence: float
    reason: str
    others: tuple[OtherSpeed, ...] = ()
    best_rpm: float = float("nan")
    log_likelihood: float = float("nan")
    contradicts_rpm: float | None = None


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
    looked_hz = _range_hz(prior_rpm or engine_range_rpm(engine))
    if stretches.used_s < settings.shortest_s:
        return _too_short(f"Only {stretches.used_s:.1f} s of usable sound")
    views = speed_views(recording, stretches, settings.rate_hz, settings.top_hz)
    followed = _follow(views, engine, looked_hz, settings)
    possible_hz = _joined_range(looked_hz, _range_hz(engine_range_rpm(engine)))
    ranked = _ranked_speeds(views, followed, engine, possible_hz, settings) if followed else []
    if followed is None or not ranked:
        return _too_short(f"No usable stretch lasts {settings.lines_window_s:g} s")
    inside = [s for s in ranked if _is_inside(s, looked_hz)]
    if not inside:
        what = f"This sound fits {ranked[0].rpm:.0f} rpm, beyond where it was looked for."
        return HeardSpeed(None, 0.0, f"{what} {GIVE_IT}", tuple(ranked[:MOST_OTHERS]))
    best, rival = inside[0], inside[1].log_likelihood if len(inside) > 1 else 0.0
    gap = best.log_likelihood - max(0.0, rival)
    others = tuple(speed for speed in ranked if speed is not best)[:MOST_OTHERS]
    if best.multiple != 1:
        followed = followed.times(best.multiple)
        followed = follow_closely(views, engine, followed, settings.fine, settings)
    refusal = _refusal(best, others, gap, lost_share(followed, settings), engine, settings)
    followed = followed.to_the_ends(stretches.used[0].start_s, stretches.used[-1].end_s)
    trace = None if refusal else _trace(followed, others, gap, engine, settings)
    reason = trace.note if trace else f"{refusal} {GIVE_IT}"
    return HeardSpeed(trace, gap, reason, others, best.rpm, best.log_likelihood)


def _follow(
    views: tuple[SpeedSound, ...],
    engine: Engine,
    looked_hz: tuple[float, float],
    s: SpeedSettings,
) -> FollowedSpeed | None:
    """Follow a held speed, and where it gets lost a quickly changing one instead."""
    quick = replace(s, window_s=s.sweep_window_s, step_sd=s.sweep_step_sd)
    best: FollowedSpeed | None = None
    for searched in (s, quick):
        rough = follow_widely(views, engine, looked_hz, searched)
        if rough is None:
            break
        near = follow_closely(views, engine, rough, s.near, s)
        followed = follow_closely(views, engine, near, s.fine, s)
        if best is None or followed.score.mean() > best.score.mean():
            best = followed
        if lost_share(best, s) == 0:
            break
    return best


def _is_inside(speed: OtherSpeed, range_hz: tuple[float, float]) -> bool:
    return range_hz[0] * (1 - EDGE) <= speed.rpm / 60 <= range_hz[1] * (1 + EDGE)


def _too_short(why: str) -> HeardSpeed:
    return HeardSpeed(None, float("nan"), f"{why}: too short to hear the speed. {GIVE_IT}")


def engine_range_rpm(engine: Engine) -> tuple[float, float]:
    """Idle and working speeds with a margin. [1/min]"""
    speeds = (*engine.idle_rpm, *engine.working_rpm)
    return RANGE_MARGIN[0] * min(speeds), RANGE_MARGIN[1] * max(speeds)


def _range_hz(range_rpm: tuple[float, float]) -> tuple[float, float]:
    low, high = range_rpm
    if not (0 < low < high < np.inf):
        raise SpeedError(
            f"Speed range {low:g} to {high:g} rpm makes no sense. Give the lower end first, "
            "both above 0."
        )
    return low / 60, high / 60


def _joined_range(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return min(one[0], other[0]), max(one[1], other[1])


def _ranked_speeds(
    views: tuple[SpeedSound, ...],
    followed: FollowedSpeed,
    engine: Engine,
    possible_hz: tuple[float, float],
    s: SpeedSettings,
) -> list[OtherSpeed]:
    """Every possible multiple of the followed speed, likeliest first."""
    steady = make_steady(views, followed.time_s, followed.speed_hz)
    least_hz = max(s.lines_top_hz, s.lines_orders * steady.speed_hz)
    heard = [
        line_odds(view, s.lines_window_s, min(view.top_hz, least_hz), s.neighbourhood_hz)
        for view in steady.views
    ]
    odds = [each for each in heard if each is not None]
    low, high = (end / followed.median_hz for end in possible_hz)
    ranked = []
    for ratio in multiples(min(1.0, low), max(1.0, high)).tolist() if odds else []:
        rpm = 60 * ratio * followed.median_hz
        told = sum(log_likelihood(each, ratio * steady.speed_hz, engine) for each in odds)
        ranked.append(OtherSpeed(rpm, ratio, told - _unusual_nats(rpm, engine)))
    if ranked:
        ranked = _with_uneven_double(ranked, odds, steady.speed_hz, high, engine)
    return sorted(ranked, key=lambda speed: -speed.log_likelihood)


def _with_uneven_double(
    ranked: list[OtherSpeed], odds: list[LineOdds], steady_hz: float, high: float, engine: Engine
) -> list[OtherSpeed]:
    """Put in twice the best speed as an uneven engine would explain it.

    An even engine without a sign of unlike cylinders sounds like an uneven one at twice the
    speed. It may throw doubt on the best speed, but nobody stated it, so it never wins.
    """
    best = max(ranked, key=lambda speed: speed.log_likelihood)
    ratio = 2 * best.multiple
    if ratio > high or not may_be_uneven(engine):
        return ranked
    nats = sum(uneven_log_likelihood(each, ratio * steady_hz, engine) for each in odds)
    nats -= unlikely_uneven_nats(engine) + _unusual_nats(2 * best.rpm, engine)
    double = OtherSpeed(2 * best.rpm, ratio, min(nats, best.log_likelihood))
    even = [s for s in ranked if np.isclose(s.multiple, ratio)]
    if any(s.log_likelihood >= nats for s in even):
        return ranked
    return [s for s in ranked if s not in even] + [double]


def _unusual_nats(rpm: float, engine: Engine) -> float:
    """What a speed beyond the stated idle and working speeds has against it. [nat]"""
    speeds = (*engine.idle_rpm, *engine.working_rpm)
    beyond = max(0.0, np.log(min(speeds) / rpm), np.log(rpm / max(speeds)))
    return 0.5 * float(beyond / BEYOND_SD) ** 2


def lost_share(followed: FollowedSpeed, s: SpeedSettings) -> float:
    """Share of the points where the comb does not stand out of the noise for a second."""
    width = max(1, round(1.0 / s.fine.hop_s))
    return float((uniform_filter1d(followed.score, width) < s.least_score).mean())


def _refusal(
    best: OtherSpeed,
    others: tuple[OtherSpeed, ...],
    gap: float,
    lost: float,
    engine: Engine,
    s: SpeedSettings,
) -> str:
    """Why no speed is told, or nothing."""
    other = max(others, key=lambda o: o.log_likelihood, default=best)
    if max(best.log_likelihood, other.log_likelihood) < s.least_nats or lost > s.most_lost:
        return "No engine orders stand out of this sound, so its speed is unknown."
    if other.log_likelihood - best.log_likelihood > s.against_nats:
        return (
            f"This sound fits {other.rpm:.0f} rpm, and the speed looked for was about "
            f"{best.rpm:.0f} rpm. Check the speed and the number of cylinders."
        )
    if best.log_likelihood < s.least_nats or gap < s.least_gap:
        equal = (
            f"{best.rpm:.0f} and {other.rpm:.0f} rpm explain this sound about equally well, "
            "so the speed is not told."
        )
        doubled = np.isclose(abs(np.log2(best.multiple / other.multiple)), 1.0)
        return f"{equal} {FIRING_ANGLES}" if doubled and may_be_uneven(engine) else equal
    return ""


def _trace(
    followed: FollowedSpeed,
    others: tuple[OtherSpeed, ...],
    gap: float,
    engine: Engine,
    s: SpeedSettings,
) -> SpeedTrace:
    """Build the trace with what it rests on."""
    firing_hz = engine.firing_order * followed.median_hz
    note = f"heard from the engine orders: {firing_hz:.1f} firings a second"
    lost = lost_share(followed, s)
    if lost > NOTED_LOST:
        note += f"; faint in {100 * lost:.0f} % of the sound"
    if gap < s.sure_gap and others:
        note += f"; check it, {others[0].rpm:.0f} rpm is not ruled out"
    uncertainty = ERROR_BY_SCORE / max(1.0, float(np.median(followed.score)))
    return SpeedTrace(followed.time_s, followed.speed_hz, "heard", uncertainty, gap, note)
