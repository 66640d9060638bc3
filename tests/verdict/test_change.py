"""Before and after on sounds made here: a line that falls, stays, comes new, and refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acoustic.errors import CaseError
from acoustic.evidence.comb import comb_levels
from acoustic.evidence.fixed_tones import spectrum_over_hz
from acoustic.evidence.order_spectrum import track_orders
from acoustic.evidence.tones import find_tones
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.recording.taken import Taken
from acoustic.verdict.change import compare
from acoustic.verdict.change_alike import codec_family, require_alike
from acoustic.verdict.change_values import Take, Target

RATE_HZ, SECONDS, SPEED_HZ = 8000.0, 20.0, 20.0
FIRING = (4, 6, 8, 10, 12)
PUMP = 10 * 150.0 / 130.0 * (1.0 - 0.015)  # ten vanes, 1.5 % of slip
FAN = 7 * 150.0 / 117.0 * (1.0 - 0.015)
TARGET = Target("pump", ("pumping",))


def take(bus, lines_db, number=1, *, seed=1, gain_db=0.0, rpm=60 * SPEED_HZ, **taken):
    """One recording with lines so many dB over the firing orders; takes differ by 1 dB."""
    rng = np.random.default_rng([seed, number])
    speed_hz = rpm / 60.0
    turns = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ * speed_hz
    sound = 0.02 * rng.standard_normal(turns.size)
    for order in FIRING:
        sound += 0.1 * np.sqrt(2) * np.sin(2 * np.pi * order * turns + order)
    for order, level_db in lines_db.items():
        rms = 0.1 * 10 ** ((level_db + rng.normal()) / 20)
        sound += rms * np.sqrt(2) * np.sin(2 * np.pi * order * turns + order)
    gain = 10 ** (gain_db * np.sin(np.pi * np.linspace(0, 1, turns.size)) / 20)
    codec = taken.pop("codec", "aac")
    name = f"{taken.get('stage', 'before')} {number}"
    samples = (0.3 * gain * sound).astype(np.float32)
    return Take(
        Taken(take=number, rpm=rpm, **taken),
        heard(bus, Recording(samples, RATE_HZ, name, codec=codec), speed_hz),
    )


def heard(bus, recording, speed_hz):
    """What the evidence makes of it."""
    from acoustic.verdict.suspects import Heard

    used = Stretches((Stretch(0.0, SECONDS),), ())
    speed = SpeedTrace(np.array([0.0]), np.array([speed_hz]), "given", 0.0)
    spectrum = track_orders(recording, used, speed, bus.engine, 3600.0)
    comb = comb_levels(spectrum, bus.engine)
    over_hz = spectrum_over_hz(recording, used, 2.0, 3600.0)
    tones = find_tones(spectrum, comb, over_hz, speed)
    return Heard(recording, speed, used, (), spectrum, tones)


@pytest.fixture(scope="module")
def before(bus):
    """Three takes of a pump that sings as loud as the firing orders, on a marked point."""
    return [take(bus, {PUMP: 0.0}, n, contact=True) for n in (1, 2, 3)]


def after(bus, lines_db, **options):
    """Three takes after."""
    taken = {"contact": True, "stage": "after", "seed": 2} | options
    return [take(bus, lines_db, n, **taken) for n in (1, 2, 3)]


def target_row(change):
    """The target's tones."""
    return next(row for row in change.families if row.is_target and row.shows_as == "tones")


@pytest.mark.parametrize(("fall_db", "verdict"), [(10.0, "cured"), (0.0, "unchanged")])
def test_a_planted_fall_lies_in_its_interval(bus, before, fall_db, verdict):
    """10 dB lower is a cure, 0 dB no change; the interval holds what was planted."""
    change = compare(bus, before, after(bus, {PUMP: -fall_db}), target=TARGET)
    row = target_row(change)
    assert row.low_db < -fall_db < row.high_db
    assert row.high_db - row.low_db < 6.0
    assert change.verdict == verdict
    assert change.headline
    assert change.reasons


def test_a_rise_is_worse(bus, before):
    """8 dB louder."""
    change = compare(bus, before, after(bus, {PUMP: 8.0}), target=TARGET)
    assert change.verdict == "worse"


@pytest.mark.parametrize("gain_db", [10.0, -10.0])
def test_automatic_gain_is_no_change(bus, before, gain_db):
    """A gain that creeps by 10 dB moves the answer by a tenth of a decibel at most."""
    plain = compare(bus, before, after(bus, {PUMP: 0.0}), target=TARGET)
    moved = compare(bus, before, after(bus, {PUMP: 0.0}, gain_db=gain_db), target=TARGET)
    assert target_row(moved).change_db == pytest.approx(target_row(plain).change_db, abs=0.1)
    assert moved.verdict == "unchanged"


def test_gone_is_told_with_how_far_at_least(bus, before):
    """Nothing of it left: cured, and the open interval says at least how much."""
    change = compare(bus, before, after(bus, {}), target=TARGET)
    row = target_row(change)
    assert (row.outcome, row.change_db, row.after_db) == ("gone", None, None)
    assert row.low_db == -np.inf
    assert row.high_db < -10.0
    assert change.verdict == "cured"


def test_a_new_sound_forbids_to_say_cured(bus, before):
    """The pump is gone, the fan whines: the new family is named."""
    change = compare(bus, before, after(bus, {FAN: 0.0}), target=TARGET)
    assert change.verdict == "new_sound"
    assert "fan" in {row.part for row in change.families if row.outcome == "new"}


def test_a_new_tone_of_nobody_is_told(bus, before):
    """Order 5.23 belongs to no part; before it would have been seen far lower."""
    change = compare(bus, before, after(bus, {PUMP: 0.0, 5.23: 0.0}), target=TARGET)
    assert change.verdict == "new_sound"
    new = [tone for tone in change.new_tones if abs(tone.order - 5.23) < 0.02]
    assert len(new) == 1
    assert new[0].below_before_db < new[0].after_db - 10.0


def test_a_healthy_reference_turns_the_words(bus):
    """Against a sound drive a louder pump is a difference from normal, never a cure."""
    normal = [take(bus, {PUMP: 0.0}, n, contact=True, stage="healthy") for n in (1, 2, 3)]
    louder = compare(bus, normal, after(bus, {PUMP: 8.0}), target=TARGET)
    assert (louder.verdict, louder.against) == ("worse", "healthy")
    assert "normal" in louder.headline
    softer = compare(bus, normal, after(bus, {}), target=TARGET)
    assert softer.verdict == "clearly_lower"


def test_one_take_by_hand_cannot_tell_five_decibels(bus):
    """One take a side in the hand: ±6 dB, and the next step says to take three."""
    change = compare(
        bus,
        [take(bus, {PUMP: 0.0})],
        [take(bus, {PUMP: -5.0}, stage="after", seed=2)],
        target=TARGET,
    )
    assert change.verdict == "cannot_tell"
    assert any("three takes" in step for step in change.next_steps)


def test_a_part_that_is_heard_on_neither_side(bus, before):
    """No line of the idler sounds: nothing to compare, and that is said."""
    change = compare(bus, before, after(bus, {PUMP: 0.0}), target=Target("idler", ("cage",)))
    assert change.verdict == "cannot_tell"
    assert "nothing to compare" in change.reasons[0]


@pytest.mark.parametrize(
    ("other", "named"),
    [
        ({"codec": "opus"}, r"codec differs .*aac.*opus"),
        ({"point": "pump"}, r"point differs .*in front of the drive.*pump"),
        ({"contact": False}, "contact differs"),
        ({"loads": ("lights",)}, r"loads differs .*none on.*lights"),
        ({"rpm": 1300.0}, r"speed differs .*1200 rpm.*1300 rpm"),
        ({"stage": "healthy"}, "put it before"),
    ],
)
def test_what_differs_is_refused_by_name(bus, before, other, named):
    """Each difference by itself, with both values and what to record again."""
    options = {"contact": True, "stage": "after"} | other
    with pytest.raises(CaseError, match=named):
        compare(bus, before, [take(bus, {PUMP: 0.0}, **options)], target=TARGET)


def test_all_differences_are_named_at_once(bus, before):
    """Codec and loads in one message."""
    wrong = [take(bus, {PUMP: 0.0}, contact=True, stage="after", codec="opus", loads=("a/c",))]
    with pytest.raises(CaseError, match=r"(?s)loads differs.*codec differs"):
        compare(bus, before, wrong, target=TARGET)


def test_another_device_is_refused_and_an_unsaid_one_is_noted(bus, before):
    """Two names differ; no name is taken to be the same, and said so."""
    said = [replace(one, taken=replace(one.taken, device="old phone")) for one in before]
    new = after(bus, {PUMP: 0.0}, device="new phone")
    with pytest.raises(CaseError, match=r"device differs .*old phone.*new phone"):
        require_alike(said, new)
    notes = require_alike(before, after(bus, {PUMP: 0.0}))
    assert any("same phone" in note for note in notes)


def test_neither_side_may_be_empty(bus, before):
    """The message says which side is missing."""
    with pytest.raises(CaseError, match="from after the repair"):
        compare(bus, before, [])


def test_lossless_codecs_are_one_and_voice_modes_are_not_music():
    """DEPENDENCIES: PCM and FLAC keep every level; Opus in voice mode takes 1 to 22 dB."""
    assert codec_family("pcm_s24le") == codec_family("flac") == codec_family("")
    assert codec_family("opus") != codec_family("opus speech mode, wideband")
