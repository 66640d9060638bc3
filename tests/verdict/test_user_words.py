"""The weight of a person's words in the match."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.expected import expected_families
from acoustic.tables.sound_words import Complaint, words_ratio
from acoustic.verdict.joint_match import match_drive


@pytest.fixture(scope="module")
def families(bus):
    """All families of the bus's drive."""
    return expected_families(bus)


def test_each_mechanism_gets_the_ratio_of_its_row(bus, families, heard_of, settings) -> None:
    """Weights against those without words are the rows' ratios, up to one common factor."""
    heard, complaint = [heard_of({})], Complaint(["growl"], ["wet"])
    plain = match_drive(bus, families, heard, settings)
    told = match_drive(bus, families, heard, settings, complaint=complaint)
    common = set()
    for before, after in zip(plain.voices, told.voices, strict=True):
        if before.family is None:
            assert after == before
            continue
        kind = bus.parts[before.family.part].kind
        row = bus.knowledge.mechanism(kind, before.family.mechanism)
        ratio = words_ratio(row, ["growl"], ["wet"])
        common.add(round(after.weight / before.weight / ratio, 9))
    assert len(common) == 1
    assert 0 < common.pop() <= 1
    assert plain.words is None
    assert told.words.highest / told.words.lowest < 15


def test_words_tell_which_part_not_whether(bus, families, heard_of, settings) -> None:
    """No word raises all parts together, and with every line out of sight none is possible."""
    heard = [heard_of({})]
    nothing = replace(
        heard[0].spectrum,
        bands=tuple(replace(b, visible=np.zeros_like(b.visible)) for b in heard[0].spectrum.bands),
    )
    heard = [replace(heard[0], spectrum=nothing)]
    for sound in ("growl", "chirp", "hiss", "whine"):
        complaint = Complaint([sound], ["always"])
        told = match_drive(bus, families, heard, settings, complaint=complaint)
        factors = [factor for _, factor in told.words.parts]
        assert sum(factors) <= len(factors) + 1e-9
        assert factors[0] > factors[-1]
        assert told.result.faulty.max() < 0.5


@pytest.mark.parametrize("word", ["growl", "squeal"])
def test_one_part_alone_stays_below_possible(bus, families, heard_of, settings, word) -> None:
    """A drive of one part: even the best word leaves it below one half where nothing is heard."""
    only = [f for f in families if f.part == families[0].part]
    complaint = Complaint([word], ["always", "load", "cold", "wet"])
    for seed in range(3):
        answer = match_drive(bus, only, [heard_of({}, seed=seed)], settings, complaint=complaint)
        assert answer.result.faulty.max() < 0.5
