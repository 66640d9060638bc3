"""JSON Schema of the answer written by ``--json``, for programs that read it.

A reader can rely on every key named in ``required``; answers of older versions lack
the others. Keys may be added under the same ``schema`` name, none is taken away or changed
in meaning without a new one. Levels are in dB, speeds in turns per minute, orders per turn
of the crankshaft, probabilities from 0 to 1. What is not known is ``null``; NaN and infinity
never appear.
"""

from __future__ import annotations

from typing import Any

ANSWER_SCHEMA_NAME = "acoustic-screening/1"

_TEXT: dict[str, Any] = {"type": "string"}
_TEXTS: dict[str, Any] = {"type": "array", "items": _TEXT}
_NUMBER: dict[str, Any] = {"type": "number"}
_NUMBER_OR_NULL: dict[str, Any] = {"type": ["number", "null"]}
_PROBABILITY: dict[str, Any] = {"type": "number", "minimum": 0, "maximum": 1}
_COUNT: dict[str, Any] = {"type": "integer", "minimum": 0}


def _object(properties: dict[str, Any], optional: dict[str, Any] | None = None) -> dict[str, Any]:
    """All of `properties` are promised; `optional` ones came later."""
    every = {**properties, **(optional or {})}
    return {"type": "object", "properties": every, "required": list(properties)}


def _list_of(item: dict[str, Any], description: str) -> dict[str, Any]:
    return {"type": "array", "items": item, "description": description}


_SPEED: dict[str, Any] = {
    "description": "crankshaft speed; null where it is not known",
    "anyOf": [
        {"type": "null"},
        _object(
            {
                "rpm": {"type": "number", "exclusiveMinimum": 0},
                "low_rpm": _NUMBER,
                "high_rpm": _NUMBER,
                "source": {"enum": ["heard", "given", "log"]},
                "confidence": _NUMBER_OR_NULL,
                "note": _TEXT,
            }
        ),
    ],
}

_REMARK = _object(
    {
        "recording": _COUNT,
        "code": _TEXT,
        "severity": {"enum": ["note", "weak", "unfit"]},
        "message": _TEXT,
        "advice": _TEXT,
        "amount": _NUMBER_OR_NULL,
    }
)

_TONE = _object(
    {
        "order": _NUMBER,
        "order_sd": _NUMBER_OR_NULL,
        "frequency_hz": _NUMBER,
        "excess_db": _NUMBER_OR_NULL,
        "tone_to_noise_db": _NUMBER_OR_NULL,
        "prominent": {"type": "boolean"},
        "p_value": _NUMBER_OR_NULL,
        "persistence": _NUMBER_OR_NULL,
        "kind": {"enum": ["follows speed", "fixed frequency", "cannot tell"]},
        "on_engine_comb": {"type": "boolean"},
    }
)

_UNEXPLAINED = {
    **_TONE,
    "properties": {**_TONE["properties"], "recording": _COUNT, "remark": _TEXT},
    "required": [*_TONE["required"], "recording", "remark"],
}

_SWELLING = _object(
    {
        "order": _NUMBER,
        "order_sd": _NUMBER_OR_NULL,
        "frequency_hz": {
            **_NUMBER,
            "description": "how often a second it swells at the measured speed; no tone there",
        },
        "excess_db": {**_NUMBER_OR_NULL, "description": "over the floor of the band's envelope"},
        "p_value": _NUMBER_OR_NULL,
        "persistence": _NUMBER_OR_NULL,
        "low_hz": {**_NUMBER, "description": "from here to high_hz is the band that swells most"},
        "high_hz": _NUMBER,
        "bands": {**_COUNT, "description": "bands that swell so; neighbours overlap by half"},
        "strength": {"enum": ["weak", "plain", "strong"]},
    }
)

_UNEXPLAINED_SWELLING = _object({**_SWELLING["properties"], "recording": _COUNT, "remark": _TEXT})

_LINE = _object(
    {
        "recording": _COUNT,
        "label": _TEXT,
        "order": _NUMBER,
        "heard_order": _NUMBER_OR_NULL,
        "frequency_hz": _NUMBER,
        "excess_db": _NUMBER_OR_NULL,
        "state": {"enum": ["heard", "missing", "hidden"]},
        "support_nat": _NUMBER_OR_NULL,
        "swings_hz": {
            "description": "band of the sound that swells at this order; null for a tone",
            "anyOf": [
                {"type": "null"},
                {"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2},
            ],
        },
    }
)

_NOISE = _object(
    {
        "noise": _TEXT,
        "ln_ratio": {**_NUMBER, "description": "ln of likelihood there over not there"},
        "level_db": _NUMBER_OR_NULL,
        "low_hz": _NUMBER_OR_NULL,
        "high_hz": _NUMBER_OR_NULL,
        "share": _PROBABILITY,
        "words": _TEXT,
    }
)

_NOISE_TOLD = _object(
    {
        "noise": {
            **_TEXT,
            "description": "its id, as among a recording's noises; roughness for a growl",
        },
        "recording": {**_COUNT, "description": "the recording that speaks most for it"},
        "words": {**_TEXT, "description": "what it is and what was measured, for people"},
        "ln_ratio": {
            **_NUMBER,
            "description": "ln of likelihood there over not there, in nats; 2 or more here",
        },
        "parts_in_question": _list_of(
            _object({"part": _TEXT, "probability": _PROBABILITY}),
            "who may make it, likeliest maker first, and that each is faulty; may be empty",
        ),
        "first_to_check": {
            "type": ["string", "null"],
            "description": "its likeliest maker if faulty; null if no part is in question",
        },
    }
)

_SUSPECT = _object(
    {
        "part": _TEXT,
        "mechanism": _TEXT,
        "mechanisms": _list_of(
            _object({"mechanism": _TEXT, "share": _PROBABILITY}), "all ways, likeliest first"
        ),
        "probability": {**_PROBABILITY, "description": "this part is faulty"},
        "source_probability": {
            **_PROBABILITY,
            "description": "this part makes sound that was found, healthy or not",
        },
        "evidence": _TEXTS,
        "against": _TEXTS,
        "not_separable_from": _TEXTS,
        "group_reason": _TEXT,
        "hand_check": _TEXT,
        "caution": _TEXT,
        "lines": _list_of(_LINE, "expected lines and what was heard there"),
    }
)

_BELT_SLIP = _object(
    {
        "belt": _TEXT,
        "least_percent": _NUMBER,
        "most_percent": _NUMBER,
        "parts": _TEXTS,
        "words": _TEXT,
    }
)

_COMPLAINT: dict[str, Any] = {
    "description": "what the user said of the sound and what it weighs; null if nothing",
    "anyOf": [
        {"type": "null"},
        _object(
            {
                "sounds": _TEXTS,
                "when": _TEXTS,
                "counted": {"type": "boolean"},
                "highest_factor": {
                    **_NUMBER,
                    "description": "most by which a mechanism gains against a sound drive",
                },
                "lowest_factor": _NUMBER,
                "parts": _list_of(
                    _object({"part": _TEXT, "factor": _NUMBER}),
                    "change of each part's odds of being faulty, largest first",
                ),
            }
        ),
    ],
}

_STRETCH = _object({"start_s": _NUMBER, "end_s": _NUMBER})
_LEFT_OUT = _object({"start_s": _NUMBER, "end_s": _NUMBER, "code": _TEXT, "reason": _TEXT})

_TAKEN = {
    "description": "how it was taken, as far as it was said",
    **_object(
        {
            "point": {**_TEXT, "description": "part the phone was at; empty: in front"},
            "contact": {"type": "boolean"},
            "rpm": _NUMBER_OR_NULL,
            "loads": {**_TEXTS, "description": "loads that were switched on"},
            "stage": {"enum": ["before", "after", "healthy"]},
            "take": _COUNT,
            "device": _TEXT,
            "switched_off_s": _NUMBER_OR_NULL,
        }
    ),
}

_BY_RECORDING = _object(
    {
        "part": _TEXT,
        "mechanism": _TEXT,
        "each": _list_of(
            _object(
                {
                    "recording": _COUNT,
                    "support_nat": _NUMBER,
                    "heard": _COUNT,
                    "missing": _COUNT,
                    "hidden": _COUNT,
                    "level_db": _NUMBER_OR_NULL,
                }
            ),
            "what each recording says: support above 0 is for, below 0 against",
        ),
        "loudest_at": {**_TEXT, "description": "point at which it leads clearly, or empty"},
        "leads_db": _NUMBER,
    }
)

_BELIEF: dict[str, Any] = {
    "description": "which parts are faulty together, for hand checks to change; null if unheard",
    "anyOf": [
        {"type": "null"},
        _object(
            {
                "parts": _TEXTS,
                "sets": _list_of(
                    _object({"faulty": _TEXTS, "probability": _PROBABILITY}),
                    "exactly these are faulty; the probabilities sum to 1",
                ),
                "mechanisms": {
                    "type": "object",
                    "description": "by part, the share of each mechanism if it is faulty",
                },
            }
        ),
    ],
}

_RECORDING = _object(
    {
        "name": _TEXT,
        "codec": _TEXT,
        "container": _TEXT,
        "channel": _TEXT,
        "sample_rate_hz": _NUMBER,
        "start_s": _NUMBER,
        "duration_s": _NUMBER,
        "file_duration_s": _NUMBER_OR_NULL,
        "used": _list_of(_STRETCH, "seconds used"),
        "left_out": _list_of(_LEFT_OUT, "seconds not used, and why"),
        "speed": _SPEED,
        "switched_off_s": {
            **_NUMBER_OR_NULL,
            "description": "second of the clip at which the engine was said to be switched off",
        },
        "tones": _list_of(_TONE, "every tone found in this recording"),
        "noises": _list_of(_NOISE, "every noise without lines that was listened for"),
    },
    optional={
        "swelling": _list_of(_SWELLING, "every order at which the loudness swells"),
        "taken": _TAKEN,
    },
)


def answer_json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the answer."""
    properties = {
        "schema": {"const": ANSWER_SCHEMA_NAME},
        "version": {**_TEXT, "description": "version of the program that made this answer"},
        "verdict": {"enum": ["suspects", "nothing_found", "cannot_tell", "recording_unfit"]},
        "headline": {**_TEXT, "description": "the answer in one sentence"},
        "reasons": _TEXTS,
        "next_steps": _TEXTS,
        "caution": _TEXT,
        "belt_slips": _list_of(_BELT_SLIP, "belts heard to slip more than a sound one"),
        "complaint": _COMPLAINT,
        "speed": {**_SPEED, "description": "speed of the first recording; null if not known"},
        "quality": _list_of(_REMARK, "what limits these recordings"),
        "suspects": _list_of(_SUSPECT, "every part of the layout, best first"),
        "unexplained": _list_of(_UNEXPLAINED, "tones no part of the layout accounts for"),
        "detectable": {**_TEXT, "description": "what level would have been found"},
        "unseen_parts": _TEXTS,
        "recordings": _list_of(_RECORDING, "one entry per recording, in the order given"),
        "files": _list_of(_object({"name": _TEXT, "sha256": _TEXT}), "digest of each clip"),
        "settings": {"type": "object", "description": "all it takes to repeat this"},
    }
    optional = {
        "by_recording": _list_of(_BY_RECORDING, "leading suspects over the recordings"),
        "belief": _BELIEF,
        "unexplained_swelling": _list_of(
            _UNEXPLAINED_SWELLING,
            "swelling of the loudness that no part of the layout accounts for; no tones",
        ),
        "noises_told": _list_of(
            _NOISE_TOLD, "noises plainly there whoever is named, plainest first, a growl last"
        ),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Answer of one screening of an accessory drive by its sound",
        **_object(properties, optional),
    }
