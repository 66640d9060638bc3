"""Checks of the recorded level: clipping, silence, suppression, gates, automatic level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.frame_levels import HOP_S, FrameLevels
from acoustic.recording.recording import QualityRemark, Recording, Stretches
from acoustic.recording.remarks import Severity, make_remark

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LevelLimits:
    """Limits of the level checks.

    Attributes
    ----------
    clipped_note, clipped_weak, clipped_hard : float
        Samples in 10 000 within 1.5 % of the largest. Clean recordings have up to 0.1;
        clipped at 2 to 2.7 standard deviations, 200 to 720 (made sound).
    pile_ratio : float
        As many times more samples there as in the 3.5 % below: a clipped wave piles up,
        the crest of a loud tone does not.
    lowest_crest : float
        Peak over rms below which a wave near full scale has been squeezed. Gaussian noise
        clipped at 2 standard deviations has 2.1.
    faint_dbfs, silent_dbfs : float
        Weak, and nothing to be heard. A running engine at arm's length gave -13 to -38
        in 36 phone recordings. [dB re full scale]
    steady_db : float
        Scatter of the level over 2 s. Engines have 0.2 to 0.9, an empty room 2.5.
    suppressed_db : float
        Smooth fall in all bands from the start on that means noise suppression; automatic
        levels settle by up to about 12 dB. [dB]
    gate_db, gated_share : float
        Depth of a dip, and share of time in dips, that mean a gate.
    ridden_correlation : float
        Of the levels of bass and treble. Without automatic level 0.1, with it 0.5 (made
        sound); a weak test, so it only makes a note.
    """

    clipped_note: float = 2.0
    clipped_weak: float = 10.0
    clipped_hard: float = 100.0
    pile_ratio: float = 1.5
    lowest_crest: float = 2.5
    faint_dbfs: float = -55.0
    silent_dbfs: float = -70.0
    steady_db: float = 1.2
    suppressed_db: float = 15.0
    gate_db: float = 15.0
    gated_share: float = 0.02
    ridden_correlation: float = 0.6


def check_levels(
    recording: Recording, levels: FrameLevels, stretches: Stretches, limits: LevelLimits
) -> Iterator[QualityRemark]:
    """Yield remarks on the level, the gravest kinds first."""
    yield from _check_suppression(levels, limits)
    yield from _check_faint(levels, stretches, limits)
    yield from _check_clipping(recording, stretches, limits)
    yield from _check_gate(levels, limits)
    yield from _check_ridden(levels, stretches, limits)


def used_frames(levels: FrameLevels, stretches: Stretches) -> Flags:
    """Frames that lie in a used stretch, shape (frames,)."""
    inside = np.zeros(levels.time_s.size, bool)
    for stretch in stretches.used:
        inside |= (levels.time_s >= stretch.start_s) & (levels.time_s <= stretch.end_s)
    return inside


def used_level_dbfs(levels: FrameLevels, stretches: Stretches) -> float:
    """Median level above the rumble in the used stretches, or else of everything. [dB]."""
    inside = used_frames(levels, stretches)
    level_db = levels.machine_db
    return float(np.median(level_db[inside] if np.any(inside) else level_db))


def _check_suppression(levels: FrameLevels, limits: LevelLimits) -> Iterator[QualityRemark]:
    """Look for a smooth fall of all bands alike that begins with the recording.

    Noise suppression learns a steady sound within seconds and takes it out.
    """
    from scipy.ndimage import uniform_filter1d

    start, settled = round(0.4 / HOP_S), round(3.0 / HOP_S)
    if levels.time_s.size < settled + start:
        return
    bands = levels.band_db[:, 1:]
    before = bands[:start].mean(axis=0)
    after = np.quantile(bands[settled:], 0.75, axis=0)
    fall_db = before - after
    level_db = uniform_filter1d(levels.machine_db, 5)[:settled]
    rises_db = float(np.max(level_db - np.minimum.accumulate(level_db)))
    falling = level_db > level_db[-1] + 0.3 * float(np.mean(fall_db))
    if (
        float(np.mean(fall_db)) > limits.suppressed_db
        and float(np.std(fall_db[:4])) < 4.0  # moved away, treble falls more than bass
        and rises_db < 3.0
        and np.count_nonzero(falling) * HOP_S > 0.3
    ):
        mean_db = float(np.mean(fall_db))
        yield make_remark("noise_suppressed", "unfit", mean_db, fall_db=mean_db)


def _check_faint(
    levels: FrameLevels, stretches: Stretches, limits: LevelLimits
) -> Iterator[QualityRemark]:
    level = used_level_dbfs(levels, stretches)
    if level > limits.faint_dbfs:
        return
    restless = _restlessness_db(levels) > limits.steady_db
    if level < limits.silent_dbfs or restless:
        yield make_remark("near_silence", "unfit", level, level_dbfs=level)
    else:
        yield make_remark("too_quiet", "weak", level, level_dbfs=level)


def _restlessness_db(levels: FrameLevels) -> float:
    """Median over the recording of the standard deviation of the level in 2 s. [dB]."""
    from scipy.ndimage import uniform_filter1d

    level_db = uniform_filter1d(levels.machine_db, 3)
    mean = uniform_filter1d(level_db, 41)
    variance = uniform_filter1d(level_db**2, 41) - mean**2
    return float(np.sqrt(max(float(np.median(variance)), 0.0)))


def _check_clipping(
    recording: Recording, stretches: Stretches, limits: LevelLimits
) -> Iterator[QualityRemark]:
    rate_hz = recording.sample_rate_hz
    parts = [
        np.abs(recording.samples[round(s.start_s * rate_hz) : round(s.end_s * rate_hz)])
        for s in stretches.used
    ] or [np.abs(recording.samples)]
    largest = max(float(part.max(initial=0.0)) for part in parts)
    count = sum(part.size for part in parts)
    near = sum(int(np.count_nonzero(part >= 0.985 * largest)) for part in parts)
    below = sum(int(np.count_nonzero(part >= 0.95 * largest)) for part in parts) - near
    per_10000 = 1e4 * near / max(count, 1)
    if per_10000 > limits.clipped_note and near > limits.pile_ratio * below:
        code = "clipped_hard" if per_10000 > limits.clipped_hard else "clipped"
        severity: Severity = "weak" if per_10000 > limits.clipped_weak else "note"
        yield make_remark(code, severity, per_10000, per_10000=per_10000)
        return
    power = sum(float(np.dot(part, part)) for part in parts) / max(count, 1)
    crest = largest / np.sqrt(power) if power > 0 else np.inf
    if crest < limits.lowest_crest and largest > 0.9:
        yield make_remark("limited", "weak", float(crest), crest=float(crest))


def _check_gate(levels: FrameLevels, limits: LevelLimits) -> Iterator[QualityRemark]:
    """Look for short dips: lower than what is within a second before *and* after.

    What rises above the usual level (a bump) does not make a dip of what lies beside it.
    """
    from scipy.ndimage import maximum_filter1d

    level_db = levels.machine_db
    width = 20
    before = maximum_filter1d(level_db, width, origin=width // 2 - 1)
    after = maximum_filter1d(level_db, width, origin=-(width // 2))
    around_db = np.minimum(np.minimum(before, after), np.quantile(level_db, 0.75))
    loud = around_db > float(np.quantile(level_db, 0.9)) - 20.0
    dips = loud & (level_db < around_db - limits.gate_db)
    share = float(np.mean(dips))
    if share > limits.gated_share:
        yield make_remark("gated", "weak", share, share=share)


def _check_ridden(
    levels: FrameLevels, stretches: Stretches, limits: LevelLimits
) -> Iterator[QualityRemark]:
    from scipy.ndimage import median_filter

    pairs = []
    for stretch in stretches.used:
        inside = (levels.time_s > stretch.start_s) & (levels.time_s < stretch.end_s)
        pair = np.stack([levels.sum_db(80.0, 600.0)[inside], levels.band_db[inside, -1]])
        if pair.shape[1] * HOP_S > 3.0:
            pair = median_filter(pair[:, ::2], size=(1, 5), mode="nearest")
            pairs.append(pair - np.median(pair, axis=1, keepdims=True))
    if not pairs or sum(pair.shape[1] for pair in pairs) * 2 * HOP_S < 10.0:
        return
    both = np.concatenate(pairs, axis=1)
    if float(both.std(axis=1).min()) < 0.5:
        return
    correlation = float(np.corrcoef(both)[0, 1])
    if correlation > limits.ridden_correlation:
        yield make_remark("levels_ride", "note", correlation, correlation=correlation)
