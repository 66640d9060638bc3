"""What a recording of a sound drive teaches: which parts sing, how loudly, what else is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.verdict.clutter import StrayTone
from acoustic.verdict.fault_sets import HEALTHY
from acoustic.verdict.hot_tones import HotTone
from acoustic.verdict.joint_match import (
    HealthySong,
    HeardOrders,
    MatchSettings,
    match_drive,
)
from acoustic.verdict.line_likelihood import VOICE_LEVELS_DB, LineTable
from acoustic.verdict.song_priors import SongPrior

Floats = NDArray[np.float64]


def learn_healthy(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Sequence[HeardOrders],
    settings: MatchSettings,
) -> HealthySong:
    """What recordings of a drive without complaint say of its parts' healthy song."""
    answer = match_drive(drive, families, heard, replace(settings, count_prior=HEALTHY))
    songs: list[SongPrior | None] = [None] * len(answer.parts)
    for v, voice in enumerate(answer.voices):
        if voice.healthy:
            share = float(np.clip(answer.result.voice_shares[v], 0.05, 0.95))
            # Another day, another phone position: the level is known to about 3 dB.
            songs[voice.part] = SongPrior(share, _widened(answer.result.level_posteriors[v]))
    strays = tuple(_strays(answer.tables[0], answer.hot[0], answer.stray_probability[0]))
    swinging = tuple(
        stray
        for one in answer.envelope[:1]
        for stray in _strays(one.table, one.hot, one.stray_probability)
    )
    noises = {one.noise: one.ln_ratio for one in heard[0].noises}
    return HealthySong(tuple(songs), strays, swinging, noises)


def _widened(level: Floats) -> Floats:
    away = VOICE_LEVELS_DB[:, None] - VOICE_LEVELS_DB[None, :]
    wide = np.exp(-0.5 * (away / 3.0) ** 2) @ level
    return np.asarray(wide / wide.sum())


def _strays(table: LineTable, hot: Sequence[HotTone], probability: Floats) -> list[StrayTone]:
    return [
        StrayTone(tone.ln_order, float(p) * tone.certainty, table.mean_speed_hz, tone.place_sd)
        for tone, p in zip(hot, probability, strict=True)
        if p > 0.1 and tone.clear
    ]
