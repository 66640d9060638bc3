"""Short sentences of evidence, each with its figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from acoustic.drive.drive import ExpectedFamily
from acoustic.evidence.findings import NoiseFinding, Tone
from acoustic.verdict.suspects import LineEvidence

LIKELY = 0.8
POSSIBLE = 0.5
UNSURE = 0.2
PLAIN_SWELLING_DB, STRONG_SWELLING_DB = 10.0, 16.0
_MOST_SENTENCES = 4


def probability_word(probability: float) -> str:
    """Word that goes with a probability: likely above 0.8, possible from 0.5."""
    if probability > LIKELY:
        return "likely"
    if probability >= POSSIBLE:
        return "possible"
    return "unsure" if probability >= UNSURE else "unlikely"


def probability_number(probability: float) -> str:
    """Write two decimals, never 0 or 1.

    >>> probability_number(0.914), probability_number(0.9999), probability_number(0.0)
    ('0.91', '>0.99', '<0.01')
    """
    if probability > 0.99:
        return ">0.99"
    return f"{probability:.2f}" if probability >= 0.01 else "<0.01"


def hertz(frequency_hz: float) -> str:
    """Write a frequency with sensible digits.

    >>> hertz(86.62), hertz(1252.9)
    ('86.6 Hz', '1253 Hz')
    """
    return f"{frequency_hz:.1f} Hz" if frequency_hz < 1000 else f"{frequency_hz:.0f} Hz"


def times(rate_hz: float) -> str:
    """Write how often something comes.

    >>> times(107.62)
    '107.6 times a second'
    """
    return f"{rate_hz:.1f} times a second"


def swelling_word(excess_db: float) -> str:
    """Plain word for how far swelling stands above its floor (judgement).

    >>> swelling_word(7.0), swelling_word(10.0), swelling_word(16.0)
    ('weak', 'plain', 'strong')
    """
    shown_db = round(excess_db)
    if shown_db >= STRONG_SWELLING_DB:
        return "strong"
    return "plain" if shown_db >= PLAIN_SWELLING_DB else "weak"


def evidence_for(lines: Sequence[LineEvidence], recordings: int) -> tuple[str, ...]:
    """Say which of a suspect's lines were heard, strongest first."""
    heard = sorted((e for e in lines if e.state == "heard"), key=lambda e: -e.support)
    sentences = []
    for e in heard[:_MOST_SENTENCES]:
        where = f" in recording {e.recording + 1}" if recordings > 1 else ""
        excess = f", {e.excess_db:.0f} dB above the floor" if e.excess_db is not None else ""
        order = e.heard_order if e.heard_order is not None else e.order
        what = f"a line at {hertz(e.frequency_hz)}"
        if e.swings_hz is not None:
            low, high = e.swings_hz
            what = f"the sound from {low:.0f} to {high:.0f} Hz swells {times(e.frequency_hz)}"
        sentences.append(
            f"{e.label}: {what}{where} (order {order:.3f}, expected {e.order:.3f}){excess}"
        )
    if len(heard) > _MOST_SENTENCES:
        sentences.append(f"and {len(heard) - _MOST_SENTENCES} more of its lines")
    return tuple(sentences)


def evidence_against(lines: Sequence[LineEvidence], recordings: int) -> tuple[str, ...]:
    """Say which lines should have been heard and were not, and which could not be."""
    missing = sorted(
        (e for e in lines if e.state == "missing" and e.support < -0.2), key=lambda e: e.support
    )
    sentences = []
    for e in missing[:_MOST_SENTENCES]:
        where = f" in recording {e.recording + 1}" if recordings > 1 else ""
        what = f"nothing at {hertz(e.frequency_hz)}"
        if e.swings_hz is not None:
            what = f"no swelling {times(e.frequency_hz)}"
        sentences.append(f"{e.label}: {what}{where}")
    if len(missing) > _MOST_SENTENCES:
        sentences.append(f"and {len(missing) - _MOST_SENTENCES} more lines not there")
    hidden = sum(e.state == "hidden" for e in lines)
    if hidden:
        sentences.append(
            f"{hidden} of {len(lines)} lines could not be heard here "
            "(under the engine's own, below the phone's range or above the codec's)"
        )
    return tuple(sentences)


def noise_sentences(
    findings: Sequence[tuple[int, NoiseFinding]], titles: Mapping[str, str], recordings: int
) -> tuple[str, ...]:
    """Say which noises without lines were heard, clearest first."""
    sentences = []
    for number, one in sorted(findings, key=lambda pair: -pair[1].ln_ratio):
        where = f" in recording {number + 1}" if recordings > 1 else ""
        words = f": {one.words}" if one.words else ""
        sentences.append(f"{titles.get(one.noise, one.noise)}{where}{words}")
    return tuple(sentences)


def families_near(
    families: Sequence[ExpectedFamily], order: float, within: float
) -> tuple[str, ...]:
    """Parts with a line within a relative distance of an order."""
    near = [
        f.part
        for f in families
        for line in f.lines
        if abs(line.order - order) < within * line.order
    ]
    return tuple(dict.fromkeys(near))


def stray_remark(tone: Tone, nearby: Sequence[str], order_step: float) -> str:
    """What can be said of a tone that no part accounts for."""
    if tone.kind == "fixed frequency":
        return "stays at one frequency: not turned by the engine, or a resonance"
    remark = "follows the engine speed" if tone.kind == "follows speed" else "may follow the engine"
    to_step = abs(tone.order / order_step - round(tone.order / order_step)) * order_step
    if to_step < 3 * tone.order_sd:
        remark += "; close to an engine order"
    if nearby:
        remark += f"; near lines of {', '.join(nearby[:3])}, but does not fit them together"
    return remark
