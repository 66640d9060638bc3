"""Tones of a shaft nobody listed."""

from pathlib import Path

import numpy as np
import pytest

from acoustic.drive.layout_file import read_drive
from acoustic.recording.audio_file import read_recording
from acoustic.screening import screen
from acoustic.verdict.clutter import stray_rate
from acoustic.verdict.hidden_shafts import HiddenShaft
from acoustic.verdict.hot_tones import HotTone, hot_tones
from acoustic.verdict.line_likelihood import LineTable, line_table

TURN = 1.8305
MULTIPLES = (7, 10, 14, 16, 19, 20, 22, 25)
ROOT = Path(__file__).resolve().parents[2]
CLIP = ROOT.parent / "shared" / "data" / "engine_phone" / "rec117_t030.flac"


def _heard(spectrum_of, settings, orders) -> tuple[LineTable, tuple[HotTone, ...], HiddenShaft]:
    table = line_table(spectrum_of(dict.fromkeys(orders, 0.0)), settings.likelihood)
    hot = hot_tones(table)
    rates = stray_rate(table, hot, np.ones(len(hot)), (), ())
    return table, hot, HiddenShaft(table, hot, rates)


def _number(hot: tuple[HotTone, ...], order: float) -> int:
    return int(np.argmin([abs(np.exp(tone.ln_order) - order) for tone in hot]))


def test_one_more_multiple_of_a_hidden_shaft_is_no_news(spectrum_of, settings) -> None:
    """Seven tones at multiples of one turn: the eighth is ten times likelier that shaft's."""
    _, hot, hidden = _heard(spectrum_of, settings, [TURN * n for n in MULTIPLES])
    free = np.ones(len(hot))
    seventh = _number(hot, 7 * TURN)
    free[seventh] = 0.1
    odds = hidden.odds(free, ())
    assert odds[seventh] > 10.0
    others = np.array([tone.clear for tone in hot]) & (free > 0.9)
    assert others.sum() >= 7
    assert np.all(odds[others] == 0.0)


def test_tones_on_no_common_turn_tell_of_no_hidden_shaft(spectrum_of, settings) -> None:
    """As many tones strewn at random: the one in question is as good as a lone stranger's."""
    rng = np.random.default_rng(17)
    strewn = np.exp(rng.uniform(np.log(12.0), np.log(50.0), 7))
    _, hot, hidden = _heard(spectrum_of, settings, [7 * TURN, *strewn])
    free = np.ones(len(hot))
    free[_number(hot, 7 * TURN)] = 0.1
    assert hidden.odds(free, ()).max() < 2.0


def test_multiples_of_its_own_turn_do_not_clear_a_part(spectrum_of, settings) -> None:
    """What turns as the part's own shaft is no hidden one."""
    _, hot, hidden = _heard(spectrum_of, settings, [TURN * n for n in MULTIPLES])
    free = np.ones(len(hot))
    seventh = _number(hot, 7 * TURN)
    free[seventh] = 0.1
    own = float(np.log(TURN))
    assert hidden.odds(free, [(own - 0.01, own + 0.01)])[seventh] < 1.0


@pytest.mark.skipif(not CLIP.exists(), reason="needs the shared phone recordings")
def test_a_hidden_pump_is_not_taken_for_a_race() -> None:
    """An ordinary engine with ten tones at multiples of 1.8305: nothing is likely worn.

    Recording 117 of the shared phone recordings (taken as an ordinary engine).
    """
    drive = read_drive(ROOT / "samples" / "layouts" / "front_four.toml")
    answer = screen([read_recording(CLIP)], drive)
    assert max(suspect.probability for suspect in answer.suspects) < 0.8
