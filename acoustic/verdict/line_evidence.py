"""What each recording showed at each line of a suspect, for people to read."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedLine
from acoustic.evidence.findings import OrderBand, OrderSpectrum
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.line_likelihood import (
    FAMILY_LEVELS_DB,
    LATTICE_STEP,
    LEVEL_STEP_DB,
    VOICE_LEVELS_DB,
)
from acoustic.verdict.sources import Voice
from acoustic.verdict.suspects import LineEvidence

Floats = NDArray[np.float64]

_HEARD_NAT = 1.0
"""A line counts as heard from a likelihood ratio of e upwards."""


def best_voice(answer: JointAnswer, part: int) -> int | None:
    """Index of the part's likeliest faulty mechanism, or None if it has none."""
    own = [v for v, w in enumerate(answer.voices) if w.part == part and not w.healthy]
    return max(own, key=lambda v: float(answer.result.voice_shares[v])) if own else None


def loudest_voice(answer: JointAnswer, part: int) -> int | None:
    """The voice the part most likely sounds with, its healthy song included."""
    fault = best_voice(answer, part)
    songs = [v for v, w in enumerate(answer.voices) if w.part == part and w.healthy]
    if songs and answer.result.singing[part] > answer.result.faulty[part]:
        return songs[0]
    return fault


def voice_lines(
    answer: JointAnswer, voice_index: int, spectra: Mapping[int, OrderSpectrum]
) -> tuple[LineEvidence, ...]:
    """Every line of a voice in every recording (by its number), in rising order.

    The lines are looked for where the match put the part's shaft, and the support is
    that at the level the match found likeliest.
    """
    voice = answer.voices[voice_index]
    level_db = _level_db(answer, voice_index)
    rows = []
    for r, (number, spectrum) in enumerate(spectra.items()):
        offset = _offset(answer, voice, r)
        for line in sorted(voice.lines, key=lambda item: item.order):
            order = line.order * float(np.exp(offset))
            rows.append(_evidence(answer, (r, number), spectrum, line, order, level_db))
    return tuple(rows)


def _offset(answer: JointAnswer, voice: Voice, recording: int) -> float:
    """Likeliest offset of the voice's lines in one recording.

    About the shaft's own offset, within twice what the bearing's geometry and, from the
    second recording on, a change of slip allow: where its lines agree best.
    """
    home = answer.part_groups[voice.part]
    lattice = answer.groups[home].offset
    posterior = answer.result.offset_posteriors[voice.part]
    centre = float(lattice[int(np.argmax(posterior))]) if voice.group == home else 0.0
    reach = 2 * float(np.hypot(voice.own_tolerance, answer.offset_blur[recording]))
    if reach < LATTICE_STEP:
        return centre
    tries = np.arange(centre - reach, centre + reach, LATTICE_STEP)
    scores = [_agreement(answer, voice, float(d), recording) for d in tries]
    return float(tries[int(np.argmax(scores))])


def _agreement(answer: JointAnswer, voice: Voice, offset: float, recording: int) -> float:
    table, price = answer.tables[recording], answer.prices[recording]
    places = table.place_of(np.log([line.order for line in voice.lines]) + offset)
    claim = (table.ratio[_row(-6.0), places] - 1.0) / price[places]
    chances = np.array([line.probability for line in voice.lines])
    return float(np.sum(np.log(np.maximum(0.02, 1.0 + chances * claim))))


def _level_db(answer: JointAnswer, voice_index: int) -> float:
    level = answer.result.level_posteriors[voice_index]
    return float(VOICE_LEVELS_DB @ level) if level.size else -6.0


def _row(level_db: float) -> int:
    row = round((level_db - FAMILY_LEVELS_DB[0]) / LEVEL_STEP_DB)
    return int(np.clip(row, 0, FAMILY_LEVELS_DB.size - 1))


def _evidence(
    answer: JointAnswer,
    counted: tuple[int, int],
    spectrum: OrderSpectrum,
    line: ExpectedLine,
    order: float,
    level_db: float,
) -> LineEvidence:
    label = line.label
    r, recording = counted
    table, price = answer.tables[r], answer.prices[r]
    frequency_hz = order * table.mean_speed_hz
    place = int(table.place_of(np.log(order)))
    if not table.visible[place]:
        return LineEvidence(recording, label, order, None, frequency_hz, None, "hidden", 0.0)
    row = _row(level_db + line.relative_level_db)
    claim = line.probability * (table.ratio[row, place] - 1.0) / price[place]
    support = float(np.log(max(0.02, 1.0 + claim)))
    heard_order, excess_db = _peak_near(spectrum, order)
    if support < _HEARD_NAT:
        return LineEvidence(
            recording, label, order, None, frequency_hz, excess_db, "missing", support
        )
    return LineEvidence(
        recording, label, order, heard_order, frequency_hz, excess_db, "heard", support
    )


def band_at(spectrum: OrderSpectrum, order: float) -> OrderBand | None:
    """The band that holds an order, or None outside all of them."""
    for band in spectrum.bands:
        if band.orders[0] <= order <= band.orders[-1]:
            return band
    return None


def _peak_near(spectrum: OrderSpectrum, order: float) -> tuple[float | None, float | None]:
    """Highest visible bin within two bins of an order: its order and excess. [dB]"""
    band = band_at(spectrum, order)
    if band is None:
        return None, None
    near = np.flatnonzero((np.abs(band.orders - order) <= 2.0 / band.revolutions) & band.visible)
    if near.size == 0:
        return None, None
    top = int(near[np.argmax(band.excess[near])])
    return float(band.orders[top]), float(band.excess[top]) * 10 / float(np.log(10))
