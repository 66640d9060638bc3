"""How many healthy parts sing on an engine, and how loudly, told by the others."""

import numpy as np
import pytest

from acoustic.verdict.song_priors import (
    SongBeliefs,
    SongPrior,
    SongSettings,
    louder_than_song,
)
from acoustic.verdict.sources import VOICE_LEVELS_DB, level_prior


def _sung_at(level_db: float, ratio: float = 1e4) -> np.ndarray:
    """Likelihood of a song heard at one level, and against it elsewhere."""
    return 0.1 + ratio * np.exp(-0.5 * ((VOICE_LEVELS_DB - level_db) / 2.0) ** 2)


SILENT = np.where(VOICE_LEVELS_DB > -24.0, 0.02, 1.0)


def test_before_anything_is_heard() -> None:
    """The prior share and level, whatever the part."""
    settings = SongSettings()
    first = SongBeliefs(settings, [None, None]).first(0)
    assert first.share == pytest.approx(np.dot(settings.shares, settings.share_prior))
    assert first.level.sum() == pytest.approx(1.0)


def test_singing_neighbours_make_singing_likely() -> None:
    """Three others sing: this one is expected to; three others are silent: it is not."""
    beliefs = SongBeliefs(SongSettings(), [None] * 4)
    unheard = np.ones(VOICE_LEVELS_DB.size)
    singing = beliefs.told_by_others([unheard, *[_sung_at(-14.0)] * 3])[0]
    silent = beliefs.told_by_others([unheard, *[SILENT] * 3])[0]
    assert singing.share > beliefs.first(0).share > silent.share
    assert singing.share > 0.6


def test_the_others_tell_the_level() -> None:
    """Where they sing at -24 dB a song of -6 dB would be out of the ordinary."""
    beliefs = SongBeliefs(SongSettings(), [None] * 4)
    unheard = np.ones(VOICE_LEVELS_DB.size)
    for level_db in (-24.0, -9.0):
        told = beliefs.told_by_others([unheard, *[_sung_at(level_db)] * 3])[0]
        assert float(told.level @ VOICE_LEVELS_DB) == pytest.approx(level_db, abs=3.0)


def test_a_part_is_not_told_by_itself() -> None:
    """Its own song, loud or not, leaves its own prior alone."""
    beliefs = SongBeliefs(SongSettings(), [None] * 3)
    others = [SILENT, SILENT]
    quiet = beliefs.told_by_others([SILENT, *others])[0]
    loud = beliefs.told_by_others([_sung_at(-6.0), *others])[0]
    assert loud.share == pytest.approx(quiet.share)
    assert loud.level == pytest.approx(quiet.level)


def test_a_reference_overrules_the_others() -> None:
    """What is known from the part's own healthy recording stays, and tells the others nothing."""
    known = SongPrior(0.95, level_prior(-9.0, 3.0))
    beliefs = SongBeliefs(SongSettings(), [known, None, None])
    told = beliefs.told_by_others([_sung_at(-9.0), SILENT, SILENT])
    assert beliefs.first(0) is known
    assert told[0] is known
    alone = SongBeliefs(SongSettings(), [known, None, None]).told_by_others([None, SILENT, SILENT])
    assert told[1].share == pytest.approx(alone[1].share)


def test_parts_that_cannot_sing_tell_nothing() -> None:
    """None in the evidence: as if they were not there."""
    beliefs = SongBeliefs(SongSettings(), [None] * 3)
    sung = _sung_at(-14.0)
    told = beliefs.told_by_others([sung, None, sung])
    fewer = SongBeliefs(SongSettings(), [None] * 2).told_by_others([sung, sung])
    assert told[0].share == pytest.approx(fewer[0].share)


def test_a_fault_must_be_louder_than_the_song() -> None:
    """A song surely at -9 dB: hardly a fault below -6, unchanged shape above."""
    flat = np.full(VOICE_LEVELS_DB.size, 1.0 / VOICE_LEVELS_DB.size)
    level = louder_than_song(flat, (VOICE_LEVELS_DB == -9.0).astype(float), 3.0)
    assert level.sum() == pytest.approx(1.0)
    below, above = level[VOICE_LEVELS_DB < -6.0], level[VOICE_LEVELS_DB >= -6.0]
    assert below.sum() < 0.01
    assert above == pytest.approx(above[0])
