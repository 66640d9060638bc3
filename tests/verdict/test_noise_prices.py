"""Noises without lines over several recordings: what made one once makes it again."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import ExpectedNoise
from acoustic.evidence.findings import NoiseFinding
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict import lasting
from acoustic.verdict.claims import voice_tables
from acoustic.verdict.noise_prices import heard_noises
from acoustic.verdict.sources import part_voices
from acoustic.verdict.unknowns import group_key

ROWS = load_knowledge().noises
CHANCE = 0.6


@pytest.fixture(scope="module")
def hissing(family):
    """Give a voice that hisses with a known chance."""
    one = replace(family("fan", [7.0]), lines=(), noises=(ExpectedNoise("hiss", CHANCE),))
    return part_voices([one], 0, {group_key(one): 0})[0]


def priced(*ln_ratios, known=None, speeds=None):
    """Hiss found or missed in recordings one after the other, all at one speed if not said."""
    findings = [
        [NoiseFinding("hiss", ratio, None, None, None, 1.0, "a hiss")] for ratio in ln_ratios
    ]
    count = len(findings)
    return heard_noises(ROWS, findings, speeds or [0] * count, [np.inf] * count, known or {}, 0)


def ratios(voice, heard):
    """Likelihood ratio of a mechanism in each recording, to a sound drive."""
    tables = voice_tables(voice, None, [], heard)
    return [1.0 + float(table.contested[0].values[0, 0]) for table in tables]


@pytest.mark.parametrize("said", [(4.0,), (3.0, 3.0, 3.0), (2.0, -2.0, 1.0), (-1.5, -1.5)])
def test_what_lasts_wholly_is_told_as_bayes_rule_has_it(hissing, monkeypatch, said):
    """Made in all recordings or in none, by the fault or else by something elsewhere."""
    monkeypatch.setattr(lasting, "LASTING", 1.0)
    every = float(np.exp(sum(said)))
    elsewhere = ROWS["hiss"].elsewhere
    sound = 1 - elsewhere + elsewhere * every
    exact = ((1 - CHANCE) * sound + CHANCE * every) / sound
    assert np.prod(ratios(hissing, priced(*said))) == pytest.approx(exact)


def test_heard_six_times_it_is_no_six_coincidences(hissing):
    """The first hearing says most; the later ones little, but never against it."""
    first, *later = ratios(hissing, priced(*[3.0] * 6))
    assert later == sorted(later, reverse=True)
    assert all(1.0 <= one < 1.0 + 0.5 * (first - 1.0) for one in later)


def test_missed_where_it_was_expected_it_tells_more_when_it_comes():
    """What nobody made before is less likely anybody's when the fault begins to make it."""
    alone = priced(3.0)[0].gain
    assert priced(-3.0, 3.0)[1].gain > alone > priced(3.0, 3.0)[1].gain


def test_what_the_sound_drive_showed_is_expected():
    """A hiss that was there before the complaint is nobody's fault."""
    assert priced(3.0, known={"hiss": 4.0})[0].gain < 0.2 * priced(3.0)[0].gain


def test_at_another_speed_other_things_make_noise():
    """What a sound drive accounts for there is not what was heard here."""
    idle, held, again = priced(3.0, 3.0, 3.0, speeds=[0, 1, 0])
    assert held.gain == pytest.approx(idle.gain)
    assert again.gain < 0.5 * idle.gain
