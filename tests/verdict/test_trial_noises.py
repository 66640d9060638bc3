"""The trial of all noises: its classes, its cases, and its way to an answer."""

import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from acoustic.drive.expected import expected_families
from acoustic.screening import screen

TRIAL = Path(__file__).resolve().parents[1] / "trial"


@pytest.fixture(scope="module")
def trial() -> Iterator[SimpleNamespace]:
    """The modules of the trial, imported as the trial command imports them."""
    sys.path.insert(0, str(TRIAL))
    import noise_cases
    import noise_judging
    import noise_tables
    import scenes
    import sound_classes

    yield SimpleNamespace(
        cases=noise_cases,
        judging=noise_judging,
        tables=noise_tables,
        scenes=scenes,
        classes=sound_classes,
    )
    sys.path.remove(str(TRIAL))


def test_classes_are_those_of_the_trade(trial) -> None:
    """What each fault sounds like, by the words of the trade (common practice, no source)."""
    heard: dict[str, set[str]] = {}
    for seed in trial.scenes.TUNING_LAYOUTS:
        drive = trial.cases.drive_of(seed)
        for family in expected_families(drive):
            found = trial.classes.classes_of(drive, family)
            heard.setdefault(family.row_id, set()).update(found)
    assert heard["outer race"] == {"bearing", "tones"}
    assert heard["rough bearing"] == {"growl"}
    assert heard["loose on its shaft"] == heard["damaged belt"] == {"turn"}
    assert heard["timing drive"] == heard["valves or injectors"] == {"engine"}
    assert heard["worn clutch"] == {"rattle", "flutter"}
    assert heard["rattling shield"] == {"random"}
    assert heard["air leak"] == {"hiss"}
    assert heard["loose coupling"] == {"lag", "rattle"}
    assert heard["pulley out of line"] == {"chirps"}
    assert heard["slipping belt"] == {"squeal"}


def test_cases_are_made_up_as_stated(trial) -> None:
    """Reported: 400 or more, 100 or more healthy; codecs, speeds and levels by halves."""
    recipes = list(trial.cases.noise_recipes(trial.scenes.REPORTED_LAYOUTS, 24))
    counts = Counter(recipe.sound for recipe in recipes)
    assert len(recipes) >= 400
    assert counts[None] >= 100
    assert len(set(recipes)) == len(recipes)
    assert {counts[sound] for sound in trial.classes.SoundClass} == {24}
    own = [trial.cases.case_of(r) for r in recipes if r.sound == "chirps"]
    assert sum(case.settings.phone.codec is not None for case in own) == 12
    assert sum(len(case.settings.conditions) == 2 for case in own) == 12
    assert sum(0 <= case.fault.level_db <= 8 for case in own) == 12
    assert all(-10 <= case.fault.level_db <= 8 for case in own)
    assert all(case.settings.phone.agc_s is not None for case in own)


def test_the_trial_answers_as_a_screening_does(trial) -> None:
    """What the trial judges from what it kept is what `screen` says of the same recordings."""
    recipe = trial.cases.NoiseRecipe(trial.classes.SoundClass.RANDOM, 1004, 0)
    heard = trial.judging.hear_case(recipe)
    case = trial.cases.case_of(recipe)
    kept, _ = trial.judging.answer_of(case, heard)
    screened = screen(case.make().recordings, case.drive)
    assert kept.headline == screened.headline
    assert [s.probability for s in kept.suspects] == [s.probability for s in screened.suspects]
    outcome = trial.judging.judge(heard)
    lead = screened.suspects[0]
    assert outcome.lead_right.part == (case.fault.part in (lead.part, *lead.not_separable_from))
    assert outcome.named == (lead.part if lead.probability >= 0.5 else "")
    assert "random" in trial.tables.render_outcomes([outcome])
