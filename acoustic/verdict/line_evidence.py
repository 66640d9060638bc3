"""What each recording showed at each line of a suspect, for people to read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.drive.drive import ExpectedLine
from acoustic.evidence.findings import OrderBand
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.level_shifts import level_shift_db
from acoustic.verdict.line_likelihood import (
    LATTICE_STEP,
    VOICE_LEVELS_DB,
    LineTable,
)
from acoustic.verdict.reach import own_reach
from acoustic.verdict.sources import Voice
from acoustic.verdict.suspects import Heard, LineEvidence

Floats = NDArray[np.float64]

_HEARD_NAT = 1.0
"""A line counts as heard from a likelihood ratio of e upwards."""
_TRIED_DB = -6.0
_SWING_DB = 0.0
"""Level at which envelope lines are looked up: 15 dB above the floor."""


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


@dataclass(frozen=True, slots=True)
class _View:
    """One realm of one recording as the lines of a voice are looked up in it."""

    number: int
    recording: int
    table: LineTable
    price: Floats
    carriers: tuple[tuple[tuple[float, float] | None, Sequence[OrderBand]], ...]

    def claim(self, places: NDArray[np.intp], level_db: float, carrier: int) -> Floats:
        """(likelihood ratio - 1) / price of a line of this level at each place."""
        column = self.table.columns(np.array([level_db]), (carrier,))[0, 0]
        return np.asarray(self.table.gains(places, column) / self.price[places])


def voice_lines(
    answer: JointAnswer, voice_index: int, heard: Mapping[int, Heard]
) -> tuple[LineEvidence, ...]:
    """Every line of a voice in every recording (by its number), in rising order.

    The lines are looked for where the match put the part's shaft, and the support is
    that at the level the match found likeliest.
    """
    voice = answer.voices[voice_index]
    rows: list[LineEvidence] = []
    tone_db = _level_db(answer, voice_index)
    for view in _views(answer, heard):
        swings = view.carriers[0][0] is not None
        lines = voice.envelope_lines if swings else voice.lines
        if not lines:
            continue
        level_db = _SWING_DB if swings else tone_db
        taken = heard[view.number].taken
        level_db += level_shift_db(voice.place, voice.load_db, taken)
        offset, carrier = _offset(answer, voice, view, lines)
        for line in sorted(lines, key=lambda item: item.order):
            order = line.order * float(np.exp(offset))
            rows.append(_evidence(view, carrier, line, order, level_db))
    return tuple(rows)


def _views(answer: JointAnswer, heard: Mapping[int, Heard]) -> list[_View]:
    """Tones of every recording, then the envelopes."""
    views = []
    each = list(heard.items())
    for r, (number, one) in enumerate(each):
        if one.spectrum is not None:
            carriers = ((None, one.spectrum.bands),)
            views.append(_View(number, r, answer.tables[r], answer.prices[r], carriers))
    for match in answer.envelope:
        number, one = each[match.recording]
        if one.envelope is not None:
            bands = tuple(((c.low_hz, c.high_hz), c.bands) for c in one.envelope.carriers)
            views.append(_View(number, match.recording, match.table, match.price, bands))
    return views


def _offset(
    answer: JointAnswer, voice: Voice, view: _View, lines: Sequence[ExpectedLine]
) -> tuple[float, int]:
    """Likeliest offset of the voice's lines in one recording, and the band they swing in.

    About the shaft's own offset, within twice what the bearing's geometry and, from the
    second recording on, a change of slip allow: where its lines agree best.
    """
    home = answer.part_groups[voice.part]
    lattice = answer.groups[home].offset
    posterior = answer.result.offset_posteriors[voice.part]
    centre = float(lattice[int(np.argmax(posterior))]) if voice.group == home else 0.0
    reach = own_reach(voice, answer.offset_blur[view.recording])
    tries = np.arange(centre - reach, centre + reach + 0.5 * LATTICE_STEP, LATTICE_STEP)
    orders = np.log([line.order for line in lines])
    chances = np.array([line.probability for line in lines])[:, None]
    places = view.table.place_of(orders[:, None] + tries[None, :])
    best = (-np.inf, centre, 0)
    for carrier in range(len(view.carriers)):
        claims = view.claim(places, _TRIED_DB, carrier)
        scores = np.log(np.maximum(0.02, 1.0 + chances * claims)).sum(axis=0)
        top = int(np.argmax(scores))
        if scores[top] > best[0]:
            best = (float(scores[top]), float(tries[top]), carrier)
    return best[1], best[2]


def _level_db(answer: JointAnswer, voice_index: int) -> float:
    level = answer.result.level_posteriors[voice_index]
    return float(VOICE_LEVELS_DB @ level) if level.size else -6.0


def _evidence(
    view: _View, carrier: int, line: ExpectedLine, order: float, level_db: float
) -> LineEvidence:
    swings_hz, bands = view.carriers[carrier]
    place = view.table.place_of(np.log(order))
    peak_order, excess_db = _peak_near(bands, order)
    support = 0.0
    state: Literal["heard", "missing", "hidden"] = "hidden"
    if view.table.visible[place] and excess_db is not None:
        claim = float(view.claim(place, level_db + line.relative_level_db, carrier))
        support = float(np.log(max(0.02, 1.0 + line.probability * claim)))
        state = "missing" if support < _HEARD_NAT else "heard"
    return LineEvidence(
        recording=view.number,
        label=line.label,
        order=order,
        heard_order=peak_order if state == "heard" else None,
        frequency_hz=order * view.table.mean_speed_hz,
        excess_db=None if state == "hidden" else excess_db,
        state=state,
        support=support,
        swings_hz=swings_hz,
    )


def band_at(bands: Sequence[OrderBand], order: float) -> OrderBand | None:
    """The band that holds an order, or None outside all of them."""
    for band in bands:
        if band.orders[0] <= order <= band.orders[-1]:
            return band
    return None


def _peak_near(bands: Sequence[OrderBand], order: float) -> tuple[float | None, float | None]:
    """Highest visible bin within two bins of an order: its order and excess. [dB]"""
    band = band_at(bands, order)
    if band is None:
        return None, None
    near = np.flatnonzero((np.abs(band.orders - order) <= 2.0 / band.revolutions) & band.visible)
    if near.size == 0:
        return None, None
    top = int(near[np.argmax(band.excess[near])])
    return float(band.orders[top]), float(band.excess[top]) * 10 / float(np.log(10))
