"""The answer as JSON."""

import dataclasses
import json

import jsonschema
import numpy as np
import pytest

from acoustic.output.answer_schema import answer_json_schema
from acoustic.output.json_report import plain_values, render_json, screening_to_dict


def test_the_answer_keeps_its_own_schema(screening, unfit):
    """With suspects and without speed, both are valid by JSON Schema 2020-12 (jsonschema)."""
    schema = answer_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for answer in (screening, unfit):
        jsonschema.validate(json.loads(render_json(screening_to_dict(answer))), schema)


@pytest.mark.parametrize("key", ["verdict", "suspects", "files", "settings", "speed"])
def test_the_schema_misses_a_missing_key(screening, key):
    """The schema is no rubber stamp: an answer without a promised key fails."""
    report = screening_to_dict(screening)
    del report[key]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(report, answer_json_schema())


def test_the_promised_keys_are_there(screening):
    """Keys and meanings other programs rely on."""
    report = screening_to_dict(screening)
    assert report["verdict"] == "suspects"
    assert report["speed"]["source"] == "heard"
    assert report["speed"]["rpm"] == pytest.approx(800, rel=0.01)
    assert report["speed"]["low_rpm"] < report["speed"]["rpm"] < report["speed"]["high_rpm"]
    assert report["quality"][0]["code"] == "clipped"
    first = report["suspects"][0]
    assert (first["part"], first["probability"], first["source_probability"]) == (
        "idler", 0.91, 0.97,
    )  # fmt: skip
    assert first["not_separable_from"] == ["tensioner"]
    assert first["lines"][3]["excess_db"] is None
    assert report["unexplained"][0]["order"] == 17.3
    assert report["files"] == [{"name": "idle.m4a", "sha256": "ab" * 32}]


def test_noises_told_have_a_key_of_their_own(told_screening):
    """What noise, how strong, who is in question and how likely faulty, and whom to check first."""
    report = json.loads(render_json(screening_to_dict(told_screening)))
    knocks, hiss = report["noises_told"]
    assert (knocks["noise"], knocks["recording"], knocks["ln_ratio"]) == (
        "impacts with firing", 0, 3.0,
    )  # fmt: skip
    assert knocks["words"].startswith("knocks in step with the firing")
    assert knocks["parts_in_question"] == [
        {"part": "water pump", "probability": 0.12},
        {"part": "idler", "probability": 0.91},
    ]
    assert knocks["first_to_check"] == "water pump"
    assert (hiss["parts_in_question"], hiss["first_to_check"]) == ([], None)
    jsonschema.validate(report, answer_json_schema())


@pytest.mark.parametrize("key", ["noise", "ln_ratio", "parts_in_question", "first_to_check"])
def test_a_noise_told_is_described_key_by_key(told_screening, key):
    """The schema misses any of them."""
    report = screening_to_dict(told_screening)
    del report["noises_told"][0][key]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(report, answer_json_schema())


def test_swelling_nobody_explains_has_a_key_of_its_own(swelling_screening):
    """Order, how often a second at the measured speed, band and strength; apart from tones."""
    report = json.loads(render_json(screening_to_dict(swelling_screening)))
    jsonschema.validate(report, answer_json_schema())
    first, second = report["unexplained_swelling"]
    assert (first["order"], first["low_hz"], first["high_hz"]) == (4.37, 917.0, 1320.0)
    assert first["frequency_hz"] == pytest.approx(4.37 * 800 / 60)
    assert (first["strength"], second["strength"]) == ("strong", "weak")
    assert (first["recording"], first["remark"]) == (0, "")
    assert [tone["order"] for tone in report["unexplained"]] == [17.3]
    assert [line["order"] for line in report["recordings"][0]["swelling"]] == [4.37, 1.333]
    report["unexplained_swelling"][0]["strength"] = "awful"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(report, answer_json_schema())


@pytest.mark.parametrize("key", ["noises_told", "unexplained_swelling"])
def test_an_answer_of_an_older_version_is_still_valid(told_screening, key):
    """Keys added under the same schema name are described, and not required."""
    report = screening_to_dict(told_screening)
    del report[key]
    jsonschema.validate(report, answer_json_schema())
    assert key in answer_json_schema()["properties"]


def test_every_part_is_in_the_answer_best_first(screening):
    """Also those too unlikely for the text."""
    report = screening_to_dict(screening)
    assert [s["part"] for s in report["suspects"]] == [s.part for s in screening.suspects]


def test_what_is_not_known_is_null(screening, unfit):
    """NaN in settings and a missing speed become null; JSON holds no NaN at all."""
    assert screening_to_dict(screening)["settings"]["gap"] is None
    report = screening_to_dict(unfit)
    assert report["speed"] is None
    assert report["quality"][0]["amount"] is None
    assert "NaN" not in render_json(report)


def test_values_of_the_trade_become_plain():
    """Arrays, numpy scalars, dataclasses and tuples turn into what JSON knows."""

    @dataclasses.dataclass
    class Limits:
        low: float
        steps: tuple[int, ...]

    mixed = {"a": np.float32(0.5), "b": np.array([1.0, np.inf]), "c": Limits(2.0, (1, 2))}
    assert plain_values(mixed) == {"a": 0.5, "b": [1.0, None], "c": {"low": 2.0, "steps": [1, 2]}}
