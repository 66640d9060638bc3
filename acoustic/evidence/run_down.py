"""What is heard after the engine is switched off: a rattle that outlives the firings.

A worn overrunning pulley or decoupler rattles on for seconds while what it drives coasts
down. The crankshaft then has no speed to go by, so this looks at time alone: first for the
moment the firings end, then for knocks from there on.

A phone's automatic gain lifts whatever is left, so the firings are not followed by their
level alone but by how well the low sound repeats itself from one firing to the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len
from scipy.ndimage import maximum_filter1d, median_filter, percentile_filter, uniform_filter1d

from acoustic.evidence.findings import NoiseFinding
from acoustic.evidence.stretch_spectrum import StretchSpectrum
from acoustic.recording.recording import Recording, Stretch
from acoustic.recording.switch_off import cut

Floats = NDArray[np.float64]

RUN_ON = "run-on rattle"
_DB = 10 / np.log(10)


@dataclass(frozen=True, slots=True)
class RunDownSettings:
    """How the end of the firings is found, and what knocks after it are worth.

    Attributes
    ----------
    firing_hz : (float, float)
        Where the firings themselves are heard. [Hz]
    swing_hz : tuple of (float, float)
        Bands whose loudness swings with the firings. [Hz]
    period_s : (float, float)
        Between firings, or of the working cycle, at any idle. [s]
    wander : float
        By which the period may change while the engine runs. [-]
    window_s, hop_s : float
        Of the sound compared with itself. [s]
    shortest_s : float
        Needed before and after the end of the firings. [s]
    least_fall, most_left : float
        Fall of the likeness, and share of it left, that mean the engine stopped. [-]
    bands_hz : tuple of (float, float)
        Where knocks are looked for. [Hz]
    smoothing_s, local_s, dead_s : float
        Knocks are this long, stand over the median of this long, and this far apart. [s]
    threshold, least_db : float
        As in `ImpactSettings`.
    coast_s : float
        Time after the last firing in which a healthy engine still ticks as it comes to a
        stand; knocks in it are not counted. [s]
    looked_s, least_looked_s : float
        How long after that a run-on rattle is looked for, and for how long at least. [s]
    healthy_rate, rattle_rate : (float, float)
        Mean knocks a second in that time, and the shape of their gamma distribution over
        engines: the count is then negative binomial. Both by
        ``python tests/trial/fit_run_down.py``. [1/s], [-]
    limit : float
        Largest ln_ratio either way. [nat]
    before_s : float
        Looked at before a switching off that is stated. [s]
    stated_within_s : float
        A stated second is that good. [s]
    """

    firing_hz: tuple[float, float] = (35.0, 400.0)
    swing_hz: tuple[tuple[float, float], ...] = ((800.0, 3000.0), (3000.0, 9000.0))
    period_s: tuple[float, float] = (0.02, 0.2)
    wander: float = 0.03
    window_s: float = 0.8
    hop_s: float = 0.1
    shortest_s: float = 1.5
    least_fall: float = 0.05
    most_left: float = 0.65
    bands_hz: tuple[tuple[float, float], ...] = (
        (1000.0, 2500.0),
        (2000.0, 5000.0),
        (4000.0, 9500.0),
    )
    smoothing_s: float = 0.0025
    local_s: float = 0.3
    dead_s: float = 0.01
    threshold: float = 3.5
    least_db: float = 5.0
    coast_s: float = 0.9
    looked_s: float = 3.0
    least_looked_s: float = 1.0
    healthy_rate: tuple[float, float] = (0.3, 1.0)
    rattle_rate: tuple[float, float] = (5.0, 1.0)
    limit: float = 5.0
    before_s: float = 6.0
    stated_within_s: float = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class RunDown:
    """An engine that stops within a recording, and what knocks after it.

    Attributes
    ----------
    stopped_s : float
        When its firings end, from the recording's first sample. [s]
    times_s, strength_db : ndarray, shape (knocks,)
        Knocks once it stands, and how far they stand over the median around them. [s], [dB]
    looked_s : float
        How long was looked at, from when it stands. [s]
    low_hz, high_hz : float
        Band of the knocks. [Hz]
    """

    stopped_s: float
    times_s: Floats
    strength_db: Floats
    looked_s: float
    low_hz: float
    high_hz: float

    @property
    def lasts_s(self) -> float:
        """From the end of the firings to the last knock. [s]"""
        return float(self.times_s[-1] - self.stopped_s) if self.times_s.size else 0.0


def find_run_down(
    recording: Recording, highest_hz: float, settings: RunDownSettings | None = None
) -> RunDown | None:
    """Find where the engine stops in a recording, and the knocks after it.

    Returns
    -------
    RunDown or None
        None if the engine is not heard to stop.
    """
    settings = settings or RunDownSettings()
    sound = StretchSpectrum(recording, Stretch(0.0, recording.duration_s))
    stopped_s = _end_of_firings(sound, settings)
    if stopped_s is None:
        return None
    start_s = stopped_s + settings.coast_s
    looked_s = max(0.0, min(settings.looked_s, recording.duration_s - start_s))
    found: list[RunDown] = []
    for low_hz, high_hz in settings.bands_hz:
        high_hz = min(high_hz, highest_hz)
        if high_hz > 1.4 * low_hz:
            times_s, strength_db = _knocks(sound, (low_hz, high_hz), settings)
            after = (times_s >= start_s) & (times_s < start_s + looked_s)
            found.append(
                RunDown(stopped_s, times_s[after], strength_db[after], looked_s, low_hz, high_hz)
            )
    return max(found, key=lambda one: float(one.strength_db.sum()), default=None)


def run_on_finding(
    run_down: RunDown | None, settings: RunDownSettings | None = None
) -> NoiseFinding:
    """Evidence for a rattle that outlives the firings.

    The count of knocks is negative binomial with and without it; the ratio of the two is
    returned, 0 if the engine was not heard to stop.
    """
    settings = settings or RunDownSettings()
    if run_down is None:
        return _nothing_said("the engine is not heard to stop")
    count, looked_s = run_down.times_s.size, run_down.looked_s
    if looked_s < settings.least_looked_s:
        return _nothing_said("the recording ends too soon after the engine stops")
    rattle, healthy = (
        _log_negative_binomial(count, looked_s * rate, shape)
        for rate, shape in (settings.rattle_rate, settings.healthy_rate)
    )
    return NoiseFinding(
        noise=RUN_ON,
        ln_ratio=float(np.clip(rattle - healthy, -settings.limit, settings.limit)),
        level_db=float(np.median(run_down.strength_db)) if count else None,
        low_hz=run_down.low_hz,
        high_hz=run_down.high_hz,
        share=min(1.0, float(np.ptp(run_down.times_s)) / looked_s) if count else 0.0,
        words=_words(run_down),
    )


def switch_off_finding(
    recording: Recording,
    off_s: float,
    highest_hz: float,
    settings: RunDownSettings | None = None,
) -> NoiseFinding:
    """Evidence for a rattle that outlives a switching off whose second is stated.

    Parameters
    ----------
    recording : Recording
        Whole, with the running engine before it.
    off_s : float
        From its first sample. [s]
    highest_hz : float
        Codec's or microphone's cut-off. [Hz]
    settings : RunDownSettings, optional
    """
    settings = settings or RunDownSettings()
    left_s = recording.duration_s - off_s
    needed_s = max(settings.shortest_s, settings.coast_s + settings.least_looked_s)
    if left_s < needed_s:
        return _nothing_said(
            f"only {left_s:.1f} s recorded after the engine is switched off; "
            f"at least {needed_s:.1f} s are needed"
        )
    first_s = max(0.0, off_s - settings.before_s)
    heard = find_run_down(cut(recording, first_s, recording.duration_s), highest_hz, settings)
    if heard is None or abs(first_s + heard.stopped_s - off_s) > settings.stated_within_s:
        return _nothing_said("the engine is not heard to stop about then")
    return run_on_finding(heard, settings)


def _nothing_said(words: str) -> NoiseFinding:
    return NoiseFinding(RUN_ON, 0.0, None, None, None, 0.0, words)


def _words(run_down: RunDown) -> str:
    count = run_down.times_s.size
    if not count:
        return f"no knocks in {run_down.looked_s:.1f} s once the engine stands"
    return (
        f"{count} knock{'s' * (count != 1)} once the engine stands, the last one "
        f"{run_down.lasts_s:.1f} s after the last firing"
    )


def _log_negative_binomial(count: int, mean: float, shape: float) -> float:
    """Logarithm of the chance of a Poisson count whose mean is gamma distributed, less ln count!"""
    from_shape = float(np.sum(np.log(shape + np.arange(count))))
    share = mean / (mean + shape)
    return float(from_shape + count * np.log(share) + shape * np.log1p(-share))


def _end_of_firings(sound: StretchSpectrum, settings: RunDownSettings) -> float | None:
    """Moment after which the sound no longer repeats itself with the firings. [s]"""
    likeness = _repetition(sound, settings)
    count, least = likeness.size, round(settings.shortest_s / settings.hop_s)
    if count < 2 * least:
        return None
    ahead = np.arange(1, count + 1)
    behind = count - ahead
    total = np.cumsum(likeness)
    fall = total / ahead - (total[-1] - total) / np.maximum(behind, 1)
    # Least squares of a single step: n1 n2 / n (difference)^2 is what it explains.
    explained = ahead * behind / count * fall * abs(fall)
    place = least - 1 + int(np.argmax(explained[least - 1 : count - least]))
    before, after = likeness[: place + 1], likeness[place + 1 :]
    if np.median(before) - np.median(after) < settings.least_fall:
        return None
    if np.median(after) > settings.most_left * np.median(before):
        return None
    return float((place + 0.5) * settings.hop_s + 0.5 * settings.window_s)


def _repetition(sound: StretchSpectrum, settings: RunDownSettings) -> Floats:
    """How like the sound is to itself one period earlier, window by window. [-]

    The period is the one that fits best at the start of the recording. Looked at are the
    low sound itself and the swing of the bands of the knocks.
    """
    lags_s = np.arange(settings.period_s[0], settings.period_s[1], 0.0005)
    low, rate_hz = sound.band(*settings.firing_hz)
    alike = [_autocorrelation(low, rate_hz, lags_s, settings)]
    for limits_hz in settings.swing_hz:
        band, rate_hz = sound.band(*limits_hz)
        fine = max(1, int(rate_hz / 1000.0))
        power = (band.real**2 + band.imag**2)[: band.size // fine * fine]
        swing = np.log(np.maximum(power.reshape(-1, fine).mean(axis=1), 1e-20))
        swing -= uniform_filter1d(swing, round(0.3 * rate_hz / fine))
        alike.append(_autocorrelation(swing, rate_hz / fine, lags_s, settings))
    count = min(one.shape[0] for one in alike)
    if count == 0:
        return np.zeros(0)
    mean = np.mean([one[:count] for one in alike], axis=0)
    start = mean[: max(1, round(settings.shortest_s / settings.hop_s))].mean(axis=0)
    period_s = lags_s[int(np.argmax(start))]
    near = np.abs(lags_s / period_s - 1) <= settings.wander
    return np.asarray(mean[:, near].max(axis=1))


def _autocorrelation(
    signal: NDArray[np.complex64] | Floats,
    rate_hz: float,
    lags_s: Floats,
    settings: RunDownSettings,
) -> Floats:
    """Normalised autocorrelation of each window at each lag, shape (windows, lags)."""
    window, hop_s = round(settings.window_s * rate_hz), settings.hop_s
    starts = (np.arange(0, (signal.size - window) / rate_hz, hop_s) * rate_hz).astype(np.intp)
    if signal.size < window:
        return np.zeros((0, lags_s.size))
    shape = np.hanning(window)
    frames = signal[starts[:, None] + np.arange(window)] * shape
    size = next_fast_len(2 * window)
    found = ifft(np.abs(fft(frames, size, axis=1)) ** 2, axis=1)
    ideal = ifft(np.abs(fft(shape, size)) ** 2).real
    number = np.round(lags_s * rate_hz).astype(np.intp)
    alike = np.abs(found[:, number]) if np.iscomplexobj(signal) else found[:, number].real
    return np.asarray(alike / found[:, :1].real * (ideal[0] / ideal[number]), dtype=np.float64)


def _knocks(
    sound: StretchSpectrum, limits_hz: tuple[float, float], settings: RunDownSettings
) -> tuple[Floats, Floats]:
    """Times of knocks in a band over the whole recording and their strength. [s], [dB]"""
    signal, rate_hz = sound.band(*limits_hz)
    fine = max(1, int(0.5 * settings.smoothing_s * rate_hz))
    power = (signal.real**2 + signal.imag**2)[: signal.size // fine * fine]
    power = uniform_filter1d(power.reshape(-1, fine).mean(axis=1), 2)
    level = np.log(np.maximum(power, 1e-20)).astype(np.float64)
    step_s = fine / rate_hz
    local = round(settings.local_s / step_s)
    usual = median_filter(level, local, mode="nearest")
    scatter = usual - percentile_filter(level, 15.87, local, mode="nearest")
    over = level - usual - np.maximum(settings.threshold * scatter, settings.least_db / _DB)
    apart = 2 * round(settings.dead_s / step_s) + 1
    peaks = np.flatnonzero((over > 0) & (over == maximum_filter1d(over, apart)))
    times_s = np.asarray((peaks + 0.5) * step_s, dtype=np.float64)
    return times_s, np.asarray(_DB * (level - usual)[peaks], dtype=np.float64)
