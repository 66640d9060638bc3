"""A rattle that runs on after the engine is switched off, from the scene to the answer."""

import numpy as np
import pytest

import acoustic
from acoustic.errors import SettingsError
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings

LENGTH_S, LEFT_S = 16.0, 6.0
OFF_S = LENGTH_S - LEFT_S


@pytest.fixture(scope="module")
def one_way(sample):
    """Give the diesel's drive and the name of its overrunning pulley."""
    drive = sample("two_belt_diesel.toml")
    (name,) = (p.name for p in drive.parts.values() if p.kind == "overrunning pulley")
    return drive, name


def made(one_way, seed, level_db=None):
    """Make an idling engine that is switched off, with a rattle that runs on or without."""
    drive, name = one_way
    fault = PlantedFault(name, "worn clutch", level_db or 0.0, "run-on rattle")
    settings = SceneSettings(
        conditions=(Condition("off", 820.0, duration_s=LENGTH_S, switch_off_s=LEFT_S),),
        faults=() if level_db is None else (fault,),
    )
    return make_scene(drive, settings, np.random.default_rng(seed)).recordings[0]


def part_of(screening, name):
    """Give the suspect of this name."""
    return next(s for s in screening.suspects if s.part == name)


@pytest.mark.parametrize("seed", range(2))
def test_a_rattle_that_runs_on_raises_the_one_way_pulley(screened, one_way, seed):
    """Against the same scene without it the odds of the pulley rise threefold and it leads.

    The same clip without the moment of switching off shows no such thing.
    """
    drive, name = one_way
    clean, rattling = (made(one_way, seed, level) for level in (None, 6.0))
    without, with_it = (
        screened([acoustic.Clip(recording, switched_off_s=OFF_S)], drive)
        for recording in (clean, rattling)
    )
    before, after = (part_of(one, name).probability for one in (without, with_it))
    assert after / (1 - after) > 3 * before / (1 - before)
    assert with_it.suspects[0].part == name
    assert "once the engine stands" in acoustic.render_text(with_it)
    assert "run-on rattle" in {told.noise for told in with_it.noises}
    (unasked,) = screened([rattling], drive).heard
    assert all(one.noise != "run-on rattle" for one in unasked.noises)


@pytest.mark.parametrize("seed", range(2))
def test_a_clean_run_down_accuses_nobody(screened, one_way, seed):
    """The finding speaks against a rattle, and the pulley stays unlikely."""
    drive, name = one_way
    clip = acoustic.Clip(made(one_way, seed), switched_off_s=OFF_S)
    screening = screened([clip], drive)
    (found,) = (n for n in screening.heard[0].noises if n.noise == "run-on rattle")
    assert found.ln_ratio < 0
    assert part_of(screening, name).probability < 0.2
    assert screening.verdict != "suspects"


def test_what_lies_after_it_enters_nothing_else(screened, one_way):
    """The spectra are those of the running part alone, to the last bit."""
    drive, _ = one_way
    whole = made(one_way, 0, 6.0)
    count = round(OFF_S * whole.sample_rate_hz)
    running = acoustic.Recording(whole.samples[:count], whole.sample_rate_hz)
    (off,) = screened([acoustic.Clip(whole, switched_off_s=OFF_S)], drive).heard
    (alone,) = screened([running], drive).heard
    for one, other in zip(off.spectrum.bands, alone.spectrum.bands, strict=True):
        assert np.array_equal(one.level_db, other.level_db)
    for one, other in zip(off.envelope.carriers, alone.envelope.carriers, strict=True):
        assert all(
            np.array_equal(a.level_db, b.level_db)
            for a, b in zip(one.bands, other.bands, strict=True)
        )
    assert off.noises[:-1] == alone.noises
    assert off.recording is whole
    assert (off.stretches.left_out[-1].end_s, off.switched_off_s) == (LENGTH_S, OFF_S)


def test_a_running_part_too_short_is_said_so(screened, one_way):
    """Switched off after 1.2 s: unfit, with how much is needed and what to do."""
    drive, _ = one_way
    screening = screened([acoustic.Clip(made(one_way, 0), switched_off_s=1.2)], drive)
    assert screening.verdict == "recording_unfit"
    assert "runs for only 1.2 s before it is switched off" in screening.headline
    assert "before switching off" in screening.next_steps[0]


def test_a_moment_outside_the_clip_is_refused(one_way):
    """One sentence with the length of the clip."""
    drive, _ = one_way
    with pytest.raises(SettingsError, match=r"switched off at 40 s.*to 16\.0 s"):
        acoustic.screen([acoustic.Clip(made(one_way, 0), switched_off_s=40.0)], drive)
