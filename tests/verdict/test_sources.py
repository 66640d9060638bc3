"""Voices of a part, and how they are held against a recording."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import ExpectedNoise
from acoustic.evidence.comb import CombLevels
from acoustic.verdict.claims import Listening, carrier_prior, voice_tables
from acoustic.verdict.clutter import clutter
from acoustic.verdict.comb_evidence import CombEvidence
from acoustic.verdict.hot_tones import hot_tones
from acoustic.verdict.line_likelihood import VOICE_LEVELS_DB, line_table
from acoustic.verdict.noise_prices import HeardNoise
from acoustic.verdict.sources import Realm, Voice, level_prior, part_voices
from acoustic.verdict.strangers import Strangers
from acoustic.verdict.unknowns import (
    OFFSET_STEP,
    belt_offset,
    group_key,
    shaft_group,
    shared_unknowns,
)


def _voices(families):
    return part_voices(families, 0, {group_key(f): n for n, f in enumerate(families)})


def test_the_song_holds_natural_lines_only(family) -> None:
    """A pump sings its vane passes; its bearing's and its shaft's lines are no song."""
    vanes = family("pump", [11.3, 22.6], mechanism="vanes", natural=True, weight=0.5)
    race = family("pump", [3.4, 6.9], mechanism="race", weight=0.5)
    song, *mechanisms = _voices([vanes, race])
    assert song.healthy and song.family is None
    assert [line.order for line in song.lines] == [11.3, 22.6]
    assert [m.family.mechanism for m in mechanisms] == ["vanes", "race"]
    assert [m.weight for m in mechanisms] == [0.5, 0.5]


def test_a_fault_in_the_songs_own_lines_replaces_it(family) -> None:
    """Worn vanes only make the vane pass louder; a worn race is heard beside the song."""
    vanes = family("pump", [11.3], mechanism="vanes", natural=True)
    race = family("pump", [3.4], mechanism="race")
    _, louder, beside = _voices([vanes, race])
    assert not louder.sings_when_faulty
    assert beside.sings_when_faulty


def test_a_part_without_natural_lines_has_no_song(family) -> None:
    """An idler with a bearing is silent when healthy."""
    voices = _voices([family("idler", [2.2])])
    assert len(voices) == 1
    assert not voices[0].healthy


def test_weights_of_the_mechanisms_sum_to_one(family) -> None:
    """Whatever the table's weights add up to."""
    voices = _voices([family("idler", [2.2], weight=0.2), family("idler", [6.6], weight=0.6)])
    assert [voice.weight for voice in voices] == pytest.approx([0.25, 0.75])


def test_one_line_is_not_counted_twice(family) -> None:
    """Two formulas for one order (within a thousandth) are one line, the likelier one."""
    twice = family("fan", [7.0, 7.0002, 14.0])
    twice = replace(twice, lines=(replace(twice.lines[0], probability=0.3), *twice.lines[1:]))
    (voice,) = _voices([twice])
    assert [line.order for line in voice.lines] == [7.0002, 14.0]


def test_lines_of_the_envelope_are_kept_apart(family) -> None:
    """Knocks at the same order as a tone are other evidence than the tone."""
    both = family("fan", [7.0, 14.0])
    knock = replace(both.lines[0], shows_as="impacts")
    (voice,) = _voices([replace(both, lines=(both.lines[1], knock))])
    assert [line.order for line in voice.lines] == [14.0]
    assert [line.order for line in voice.envelope_lines] == [7.0]


def test_lines_of_the_envelope_come_together_or_not_at_all(family) -> None:
    """What shows in tones too may show in no swelling; its chances count within that."""
    both = family("pump", [7.0, 14.0])
    knock = replace(both.lines[0], shows_as="impacts", probability=0.435)
    (voice,) = _voices([replace(both, lines=(both.lines[1], knock))])
    (alone,) = _voices([replace(both, lines=(knock,))])
    assert voice.shows_in(Realm.ENVELOPE) == pytest.approx(0.87)
    assert voice.envelope_lines[0].probability == pytest.approx(0.5)
    assert voice.shows_in(Realm.TONES) == 1.0
    assert alone.shows_in(Realm.ENVELOPE) == 1.0
    assert alone.envelope_lines[0].probability == 0.435


def test_the_prior_over_bands_sums_to_one() -> None:
    """Three bands held alone with their own share, all as one with the rest."""
    levels = np.array([0.2, 0.5, 0.3])
    few, many = carrier_prior(levels, 2), carrier_prior(levels, 15)
    assert few == pytest.approx(np.tile(levels / 2, 2))
    assert many.sum() == pytest.approx(1.0)
    assert many[:3] == pytest.approx(levels / 15)
    assert many[-3:] == pytest.approx(levels * 12 / 15)


def test_a_noise_is_claimed_by_those_who_make_it(family, group) -> None:
    """The claim is the mechanism's chance times what the finding gains; others have none."""
    rattle = replace(family("fan", [7.0]), lines=(), noises=(ExpectedNoise("hiss", 0.8),))
    heard = [HeardNoise("hiss", 0, 3, 5.0), HeardNoise("squeal", 0, 4, 9.0)]
    (table,) = voice_tables(_voices([rattle])[0], group, [], heard)
    assert table.realm == Realm.NOISES
    (claim,) = table.contested
    assert claim.tone == 3
    assert claim.values == pytest.approx(4.0)


def test_level_prior() -> None:
    """Normal over the level grid: sums to 1, mean and spread as asked."""
    prior = level_prior(-12.0, 5.0)
    assert prior.sum() == pytest.approx(1.0)
    mean = float(prior @ VOICE_LEVELS_DB)
    assert mean == pytest.approx(-12.0, abs=0.05)
    assert np.sqrt(float(prior @ (VOICE_LEVELS_DB - mean) ** 2)) == pytest.approx(5.0, abs=0.15)


@pytest.fixture(scope="module")
def pump(family):
    """Two lines, the second 3 dB below the first."""
    return family("pump", [17.3, 29.27])


@pytest.fixture(scope="module")
def group(pump, drive_with):
    """The pump's shaft: no slip to speak of, pulley known to 0.3 %."""
    drive = drive_with(slip=1e-4, pump=0.003)
    shared = shared_unknowns([pump], "main")
    return shaft_group(drive, group_key(pump), (0, belt_offset(drive, "main", shared)), shared)


@pytest.fixture(scope="module")
def listening(spectrum_of, settings, silent_comb):
    """Hold a voice against {order: tone-to-noise ratio} at a speed."""

    def make(lines, speed_hz=13.5, seed=1, comb=silent_comb, first=0) -> Listening:
        table = line_table(spectrum_of(lines, speed_hz, seed), settings.likelihood)
        price = clutter(table, np.full(table.ln_order.size, Strangers().first_rate))
        hot = hot_tones(table)
        return Listening(Realm.TONES, 0, table, price, hot, first, CombEvidence(comb), 0.0)

    return make


def _voice(family) -> Voice:
    return Voice(0, family, family.lines, 1.0, 0, 0.0, True)


def _at(group, offset: float) -> int:
    return int(np.argmin(np.abs(group.offset - offset)))


def test_a_heard_line_is_contested_where_it_lies(pump, group, listening) -> None:
    """17.3 planted 0.2 % off: claimed at that offset of the shaft, not at the others."""
    (table,) = voice_tables(_voice(pump), group, [listening({17.3 * 1.002: -6.0})])
    (found,) = [one for one in table.contested if one.values.max() > 100.0]
    claim = np.zeros_like(table.steady)
    claim[found.rows] = found.values
    level = int(np.argmin(np.abs(VOICE_LEVELS_DB + 6.0)))
    best = group.offset[int(np.argmax(claim[:, level]))]
    assert best == pytest.approx(0.002, abs=2 * OFFSET_STEP)
    assert claim[_at(group, -0.012), level] <= 0.0


def test_a_missing_line_counts_only_as_far_as_it_should_be_heard(pump, group, listening) -> None:
    """Nothing planted: against a loud pump, not against a faint one, never below 0.02 a line."""
    (table,) = voice_tables(_voice(pump), group, [listening({}, seed=4)])
    here = table.steady[_at(group, 0.0)]
    assert here[VOICE_LEVELS_DB == 0.0] < 0.3
    assert here[0] == pytest.approx(1.0, abs=0.1)
    assert np.all(table.steady >= 0.02**2)


def test_hidden_lines_change_nothing(family, drive_with, listening) -> None:
    """Order 3.1 at 41 Hz is below the phone's range: all ones, no tone claimed."""
    low = family("pump", [3.1])
    drive = drive_with(slip=1e-4, pump=0.001)
    shared = shared_unknowns([low], "main")
    group = shaft_group(drive, group_key(low), (0, belt_offset(drive, "main", shared)), shared)
    (table,) = voice_tables(_voice(low), group, [listening({})])
    assert np.all(table.steady == 1.0)
    assert table.contested == ()


def test_a_line_heard_once_is_expected_again(pump, group, listening) -> None:
    """Missing in the second recording it weighs more after it was heard in the first."""
    heard = listening({17.3: -6.0, 29.27: -9.0})
    first = listening({}, seed=4)
    second = listening({}, seed=5)
    after_heard = voice_tables(_voice(pump), group, [heard, second])[1].steady
    after_missing = voice_tables(_voice(pump), group, [first, second])[1].steady
    level = VOICE_LEVELS_DB == -6.0
    here = _at(group, 0.0)
    assert after_heard[here, level] < after_missing[here, level] < 1.0


def test_tones_of_later_recordings_are_counted_on(pump, group, listening) -> None:
    """The second recording's tones follow the first's in one numbering."""
    first = listening({17.3: -6.0})
    second = listening({17.3: -6.0}, seed=2, first=len(first.hot))
    tables = voice_tables(_voice(pump), group, [first, second])
    assert {claim.tone for claim in tables[0].contested} <= set(range(len(first.hot)))
    assert min(claim.tone for claim in tables[1].contested) >= len(first.hot)


def test_only_locked_voices_hear_the_comb(family, drive_with, listening) -> None:
    """An extra line on order 19 speaks for a gear of 19 teeth, not for a belt-driven part."""
    comb = CombLevels(np.array([19.0]), np.array([15.0]), np.array([1.5]), np.array([-10.0]))
    factors = []
    for belt in (None, "main"):
        mesh = family("gear", [19.0], belt=belt)
        drive = drive_with(slip=1e-6, gear=1e-6)
        shared = shared_unknowns([mesh], belt)
        offset = belt_offset(drive, belt, shared)
        group = shaft_group(drive, group_key(mesh), (0, offset), shared)
        (table,) = voice_tables(_voice(mesh), group, [listening({}, comb=comb)])
        factors.append(table.steady[_at(group, 0.0)].max())
    assert factors[0] > 1.5
    assert factors[1] <= 1.0 + 1e-9


def test_the_engines_own_loud_line_counts_once_in_many_recordings(
    family, drive_with, listening
) -> None:
    """It stands out in each of four recordings of one engine: together no more than in one."""
    comb = CombLevels(np.array([19.0]), np.array([15.0]), np.array([1.5]), np.array([-10.0]))
    mesh = family("gear", [19.0], belt=None)
    drive = drive_with(slip=1e-6, gear=1e-6)
    group = shaft_group(drive, group_key(mesh), (0, belt_offset(drive, None, {})), {})
    one = listening({}, comb=comb)
    (alone,) = voice_tables(_voice(mesh), group, [one])
    four = voice_tables(_voice(mesh), group, [one] * 4)
    together = np.prod([table.steady for table in four], axis=0)
    assert alone.steady.max() > 1.5
    assert together == pytest.approx(alone.steady)
