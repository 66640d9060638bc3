"""The answer as JSON, for other programs and for the record.

The keys are described, one by one, by `acoustic.output.answer_schema`; the command line
prints that schema with ``acoustic answer-schema``. The first ones::

    schema    "acoustic-screening/1"
    verdict   "suspects", "nothing_found", "cannot_tell" or "recording_unfit"
    speed     {rpm, low_rpm, high_rpm, source, confidence, note} of the first recording
    quality   [{recording, code, severity, message, advice, amount}]
    suspects  [{part, mechanism, probability, source_probability, evidence, against,
              not_separable_from, ...}], best first
    noises_told [{noise, words, ln_ratio, parts_in_question, ...}], plainest first
    by_recording, belief, unexplained, unexplained_swelling, recordings,
    files [{name, sha256}], settings
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from acoustic.evidence.findings import NoiseFinding, SwellingLine, Tone
from acoustic.output.answer_schema import ANSWER_SCHEMA_NAME
from acoustic.output.text import all_remarks
from acoustic.output.wording import RUNNING_ENGINE_CAUTION
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.by_recording import by_recording
from acoustic.verdict.suspects import CountedWords, Heard, Screening, Suspect
from acoustic.verdict.wording import swelling_word


def screening_to_dict(screening: Screening) -> dict[str, Any]:
    """Turn a screening into plain values that JSON can hold; no NaN, no infinity.

    Recordings are numbered from 0 in the order given, under ``recording``.
    """
    first = screening.heard[0].speed if screening.heard else None
    report = {
        "schema": ANSWER_SCHEMA_NAME,
        "version": screening.version,
        "verdict": screening.verdict,
        "headline": screening.headline,
        "reasons": screening.reasons,
        "next_steps": screening.next_steps,
        "caution": RUNNING_ENGINE_CAUTION,
        "belt_slips": screening.slips,
        "complaint": _complaint(screening.words),
        "speed": _speed(first),
        "quality": _quality(screening.heard),
        "suspects": [_suspect(s) for s in screening.suspects],
        "unexplained": [
            {**_tone(u.tone), "recording": u.recording, "remark": u.remark}
            for u in screening.unexplained
        ],
        "unexplained_swelling": [
            {**_swelling(u.line), "recording": u.recording, "remark": u.remark}
            for u in screening.unexplained_swelling
        ],
        "noises_told": _noises_told(screening),
        "by_recording": by_recording(screening),
        "belief": None if screening.belief is None else screening.belief.as_values(),
        "detectable": screening.detectable,
        "unseen_parts": screening.unseen_parts,
        "recordings": [_recording(h) for h in screening.heard],
        "files": [
            {"name": h.recording.name, "sha256": h.recording.sha256} for h in screening.heard
        ],
        "settings": screening.settings,
    }
    plain: dict[str, Any] = plain_values(report)
    return plain


def render_json(report: Mapping[str, Any]) -> str:
    """Render a report as JSON text, two blanks a level, ending in a newline."""
    return json.dumps(report, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def plain_values(value: Any) -> Any:
    """Keep of `value` only what JSON knows: NaN and infinity become null.

    Dataclasses become objects, tuples and arrays lists, numpy scalars numbers; anything
    else its text.

    >>> plain_values({"gap": float("nan"), "range": (1, 2.5)})
    {'gap': None, 'range': [1, 2.5]}
    """
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain_values(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain_values(v) for k, v in value.items()}
    if hasattr(value, "tolist"):
        return plain_values(value.tolist())
    if isinstance(value, (Sequence, set, frozenset)):
        items = sorted(value, key=str) if isinstance(value, (set, frozenset)) else value
        return [plain_values(v) for v in items]
    return str(value)


def _speed(speed: SpeedTrace | None) -> dict[str, Any] | None:
    if speed is None:
        return None
    return {
        "rpm": speed.mean_rpm,
        "low_rpm": speed.low_rpm,
        "high_rpm": speed.high_rpm,
        "source": speed.source,
        "confidence": speed.confidence,
        "note": speed.note,
    }


def _complaint(words: CountedWords | None) -> dict[str, Any] | None:
    if words is None:
        return None
    return {
        "sounds": words.sounds,
        "when": words.when,
        "counted": words.counted,
        "highest_factor": words.highest,
        "lowest_factor": words.lowest,
        "parts": [{"part": part, "factor": factor} for part, factor in words.parts],
    }


def _quality(heard: Sequence[Heard]) -> list[dict[str, Any]]:
    return [
        {
            "recording": number,
            "code": remark.code,
            "severity": remark.severity,
            "message": remark.message,
            "advice": remark.advice,
            "amount": remark.amount,
        }
        for number, one in enumerate(heard)
        for remark in all_remarks(one)
    ]


def _suspect(suspect: Suspect) -> dict[str, Any]:
    report = {name: getattr(suspect, name) for name in Suspect.__slots__}
    report["mechanisms"] = [{"mechanism": m, "share": p} for m, p in suspect.mechanisms]
    report["lines"] = [
        {
            "recording": line.recording,
            "label": line.label,
            "order": line.order,
            "heard_order": line.heard_order,
            "frequency_hz": line.frequency_hz,
            "excess_db": line.excess_db,
            "state": line.state,
            "support_nat": line.support,
            "swings_hz": line.swings_hz,
        }
        for line in suspect.lines
    ]
    return report


def _noises_told(screening: Screening) -> list[dict[str, Any]]:
    faulty = {suspect.part: suspect.probability for suspect in screening.suspects}
    return [
        {
            "noise": told.noise,
            "recording": told.recording,
            "words": told.sentence,
            "ln_ratio": told.ln_ratio,
            "parts_in_question": [
                {"part": part, "probability": faulty[part]} for part in told.parts
            ],
            "first_to_check": told.parts[0] if told.parts else None,
        }
        for told in screening.noises
    ]


def _tone(tone: Tone) -> dict[str, Any]:
    report = {name: getattr(tone, name) for name in Tone.__slots__ if name != "on_comb"}
    return {**report, "on_engine_comb": tone.on_comb}


def _swelling(line: SwellingLine) -> dict[str, Any]:
    report = {name: getattr(line, name) for name in SwellingLine.__slots__}
    return {**report, "strength": swelling_word(line.excess_db)}


def _recording(heard: Heard) -> dict[str, Any]:
    recording = heard.recording
    return {
        "name": recording.name,
        "codec": recording.codec,
        "container": recording.container,
        "channel": recording.channel,
        "sample_rate_hz": recording.sample_rate_hz,
        "start_s": recording.start_s,
        "duration_s": recording.duration_s,
        "file_duration_s": recording.file_duration_s,
        "used": heard.stretches.used,
        "left_out": heard.stretches.left_out,
        "speed": _speed(heard.speed),
        "switched_off_s": heard.switched_off_s,
        "taken": heard.taken,
        "tones": [_tone(t) for t in heard.tones],
        "swelling": [_swelling(line) for line in heard.swelling],
        "noises": [
            {name: getattr(one, name) for name in NoiseFinding.__slots__} for one in heard.noises
        ],
    }
