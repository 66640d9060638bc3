"""Which seconds of a recording are used, and which are left out and why.

A real clip holds bumps, wind and speech, and a phone that moves from place to place with
level jumps of 10 to 20 dB. An average over all of it smears the lines that matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.recording.frame_levels import HOP_S, FrameLevels, frame_levels
from acoustic.recording.recording import LeftOut, Recording, Stretch, Stretches
from acoustic.tables.words import left_out_words

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class StretchSettings:
    """What counts as steady.

    Attributes
    ----------
    jump_db : float
        Change of the band levels (rms over bands) from one second to the next that means
        another place. Moving a phone about an engine gives 10 to 20 dB.
    quiet_db : float
        A piece this far under the loudest one holds no engine worth using.
    bump_cost_s : float
        A short event goes when it carries as much power as this much of the engine. [s]
    unsteady_db : float
        Standard deviation of the level over 2 s, trend removed, above which something
        other than the engine comes and goes; also `unsteady_ratio` times what is usual
        in this very recording, so that an engine which hunts or a belt which chirps all
        along is not cut out.
    unsteady_ratio : float
    rumble_db : float
        Jump of the level below 80 Hz against that of 100-600 Hz which means wind or
        handling.
    clipped_share : float
        Share of clipped samples in a frame that spoils it, if most frames are better.
    shortest_s : float
        Shorter pieces are not used when there are longer ones. [s]
    """

    jump_db: float = 6.0
    quiet_db: float = 25.0
    bump_cost_s: float = 1.0
    unsteady_db: float = 2.5
    unsteady_ratio: float = 2.5
    rumble_db: float = 15.0
    clipped_share: float = 0.02
    shortest_s: float = 3.0


# Codes by number, in rising rank: where two reasons hold, the higher one is told.
_CODES = ("", "short", "level_jump", "speech", "wind", "bump", "clipped", "silence")
_SHORT, _JUMP, _SPEECH, _WIND, _BUMP, _CLIPPED, _SILENCE = range(1, 8)

# Where more than this share of a recording is clipped, leaving it out would leave nothing.
_MOSTLY = 0.3


def find_stretches(
    recording: Recording,
    settings: StretchSettings = StretchSettings(),
    levels: FrameLevels | None = None,
) -> Stretches:
    """Find the stretches that can be used and say why the rest is left out.

    Together they cover the recording without gap or overlap, in order of time. `levels` are
    its `frame_levels`, where they are known already.
    """
    levels = frame_levels(recording) if levels is None else levels
    code = np.zeros(levels.time_s.size, np.int8)
    code[_find_jumps(levels, settings)] = _JUMP
    code[_find_bumps(levels, settings)] = _BUMP
    clipped = levels.clipped > settings.clipped_share
    if np.mean(clipped) < _MOSTLY:
        code[clipped] = _CLIPPED
    code[_find_quiet(levels, code, settings)] = _SILENCE
    _mark_unsteady(code, levels, settings)
    code[_find_rumble(levels, settings) & (code < _WIND)] = _WIND
    _mark_short(code, settings)
    _join_reasons(code)
    return _as_stretches(code, recording.duration_s)


def _find_jumps(levels: FrameLevels, settings: StretchSettings) -> Flags:
    """Frames in which the phone is on its way from one place to another."""
    bands = levels.band_db[:, 1:]
    far = _step_db(bands, width=31, apart=70)
    near = _step_db(bands, width=9, apart=10)
    jumps = np.zeros(far.size, bool)
    for start, end in _runs(far > settings.jump_db):
        fastest = start + int(np.argmax(near[start:end]))
        # A slow sweep of speed changes the level as much, but never much at once.
        if near[fastest] < max(1.5, 0.3 * float(np.max(far[start:end]))):
            continue
        first, last = _run_around(near > 0.4 * near[fastest], fastest)
        jumps[max(first - 2, 0) : last + 2] = True
    return jumps


def _step_db(bands: Floats, width: int, apart: int) -> Floats:
    """Rms over bands of the change between medians over `width`, `apart` frames apart."""
    from scipy.ndimage import median_filter

    if bands.shape[0] <= 2 * apart:
        return np.zeros(bands.shape[0])
    middle = median_filter(bands, size=(width, 1), mode="reflect")
    half = apart // 2
    middle = np.pad(middle, ((half, half), (0, 0)), "edge")
    change = middle[2 * half :] - middle[: -2 * half]
    return np.asarray(np.sqrt(np.mean(change**2, axis=1)), float)


def _find_bumps(levels: FrameLevels, settings: StretchSettings) -> Flags:
    """Short events loud enough to spoil the average around them."""
    from scipy.ndimage import binary_dilation, median_filter

    level_db = levels.machine_db
    excess_db = level_db - median_filter(level_db, size=61, mode="nearest")
    bumps = np.zeros(level_db.size, bool)
    # What the level does all the time (an automatic level pumping) is no event.
    usual_db = float(np.quantile(excess_db, 0.8))
    for start, end in _runs(excess_db > max(4.0, 1.5 * usual_db)):
        cost_s = HOP_S * float(np.sum(10 ** (excess_db[start:end] / 10) - 1))
        if cost_s > settings.bump_cost_s and (end - start) * HOP_S <= 1.5:
            bumps[start:end] = True
    return np.asarray(binary_dilation(bumps, iterations=2), bool)


def _find_quiet(levels: FrameLevels, code: Codes, settings: StretchSettings) -> Flags:
    """Pieces in which next to nothing is heard, and drop-outs."""
    from scipy.ndimage import median_filter

    level_db = median_filter(levels.machine_db, size=5, mode="nearest")
    usable = level_db[code == 0]
    loudest_db = float(np.quantile(usable if usable.size else level_db, 0.9))
    return np.asarray(level_db < loudest_db - settings.quiet_db, bool)


def _mark_unsteady(code: Codes, levels: FrameLevels, settings: StretchSettings) -> None:
    """Mark where something comes and goes, as wind or as speech."""
    from scipy.ndimage import binary_closing

    close_by = binary_closing(np.pad(code == _BUMP, 30), iterations=15)[30:-30]
    for start, end in _runs(close_by):
        if (end - start) * HOP_S > 2.0:  # one bump after another is no bump
            code[start:end] = _wind_or_speech(levels, start, end)
    voice_db = _scatter_db(levels.sum_db(250.0, 3500.0), code)
    scatter_db = np.maximum(_scatter_db(levels.machine_db, code), voice_db)
    usual_db = float(np.quantile(scatter_db, 0.25))
    limit_db = max(settings.unsteady_db, settings.unsteady_ratio * usual_db)
    for start, end in _runs(scatter_db > 0.6 * limit_db):
        if np.max(scatter_db[start:end]) > limit_db:
            part = code[start:end]
            part[part < _SPEECH] = _wind_or_speech(levels, start, end)


def _wind_or_speech(levels: FrameLevels, start: int, end: int) -> int:
    """Tell which by where the level swings: wind below 600 Hz, speech up to 3.5 kHz."""
    parts = levels.band_db[start:end]
    swing_db = np.quantile(parts, 0.9, axis=0) - np.quantile(parts, 0.25, axis=0)
    return _WIND if np.mean(swing_db[:3]) > np.mean(swing_db[3:5]) else _SPEECH


def _find_rumble(levels: FrameLevels, settings: StretchSettings) -> Flags:
    """Wind and handling that show only below 80 Hz."""
    from scipy.ndimage import binary_dilation, median_filter

    low_db = median_filter(levels.sum_db(80.0, 600.0), size=9, mode="nearest")
    ratio_db = median_filter(levels.rumble_db, size=9, mode="nearest") - low_db
    rumble = ratio_db > float(np.median(ratio_db)) + settings.rumble_db
    return np.asarray(binary_dilation(rumble, iterations=4), bool)


def _scatter_db(level_db: Floats, code: Codes) -> Floats:
    """Take the standard deviation of the level over 2 s, trend removed.

    The level is smoothed to 0.15 s; each piece between parts already left out is taken
    against its own median, so that the step between two places does not count.
    """
    from scipy.ndimage import uniform_filter1d

    calm = np.zeros(level_db.size)
    for start, end in _runs(code == 0):
        calm[start:end] = level_db[start:end] - np.median(level_db[start:end])
    smooth = uniform_filter1d(calm, 3, mode="nearest")
    width = min(41, smooth.size)
    if width < 5:
        return np.zeros(level_db.size)
    mean = uniform_filter1d(smooth, width, mode="nearest")
    variance = uniform_filter1d(smooth**2, width, mode="nearest") - mean**2
    ramp = np.arange(width) - (width - 1) / 2
    slope = np.correlate(np.pad(smooth, (width // 2, (width - 1) // 2), "edge"), ramp, "valid")
    variance -= (slope / width) ** 2 / np.mean(ramp**2)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), float)


def _mark_short(code: Codes, settings: StretchSettings) -> None:
    """Drop pieces too short to use, but never the longest."""
    pieces = _runs(code == 0)
    if not pieces:
        return
    longest = max(end - start for start, end in pieces)
    limit = min(settings.shortest_s / HOP_S, longest)
    for start, end in pieces:
        if end - start < limit:
            code[start:end] = _SHORT


def _join_reasons(code: Codes) -> None:
    """Tell one reason where fragments of several follow each other."""
    for start, end in _runs(code != 0):
        part = code[start:end]
        main = int(np.argmax(np.bincount(part[part != _SHORT]))) if np.any(part != _SHORT) else 0
        if not main:
            continue
        for reason in np.unique(part):
            for first, last in _runs(part == reason):
                if (last - first) * HOP_S < 2.0:
                    part[first:last] = main


def _as_stretches(code: Codes, duration_s: float) -> Stretches:
    edges = np.concatenate([[0], np.flatnonzero(np.diff(code)) + 1, [code.size]])
    used: list[Stretch] = []
    left_out: list[LeftOut] = []
    for first, last in pairwise(edges):
        start_s = float(first) * HOP_S
        end_s = duration_s if last == code.size else float(last) * HOP_S
        name = _CODES[code[first]]
        if name:
            left_out.append(LeftOut(start_s, end_s, name, left_out_words(name)))
        else:
            used.append(Stretch(start_s, end_s))
    return Stretches(tuple(used), tuple(left_out))


def _runs(flags: Flags) -> list[tuple[int, int]]:
    """Start and end (one past) of each run of true."""
    padded = np.concatenate([[False], flags, [False]])
    edges = np.flatnonzero(np.diff(padded.astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _run_around(flags: Flags, index: int) -> tuple[int, int]:
    """Run of true that holds `index`, or the index alone."""
    for start, end in _runs(flags):
        if start <= index < end:
            return start, end
    return index, index + 1
